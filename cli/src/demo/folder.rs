//! The folder of a demonstration: shop file, scenarios, traces with their truth, and the journal.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use inkdwell_config::shop::Shop;
use inkdwell_daemon::source::simulated;
use inkdwell_simulated_traces::record::TruthFile;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::write::texts;
use sha2::{Digest, Sha256};

use super::chapter::{Chapter, SHOP};
use crate::failure::Failure;

/// The source that is simulated.
pub(super) const SOURCE: &str = "dryer";

/// A folder that holds nothing else.
#[derive(Debug)]
pub(super) struct Folder(PathBuf);

/// What a shop file says, and the SHA-256 of its text.
pub(super) type ReadShop = (Shop, String);

impl Folder {
    /// The named one, which has to be empty or not there yet, or a new one among the temporary files, which
    /// nobody removes but the user: all that was recorded lies there.
    pub(super) fn open(named: Option<&Path>) -> Result<Folder, Failure> {
        let path = match named {
            Some(path) => made(path)?,
            None => {
                let made = tempfile::Builder::new()
                    .prefix("inkdwell-demo-")
                    .tempdir()
                    .map_err(|error| Failure::writing(&std::env::temp_dir(), &error))?;
                made.keep()
            }
        };
        // The daemon's paths do not depend on where the call was typed.
        let whole = path.canonicalize();
        Ok(Folder(
            whole.map_err(|error| Failure::writing(&path, &error))?,
        ))
    }

    pub(super) fn path(&self) -> &Path {
        &self.0
    }

    /// The data folder of the daemon.
    pub(super) fn data(&self) -> PathBuf {
        self.0.join("data")
    }

    /// Writes the shop file so that the dryer plays a chapter, and reads it.
    pub(super) fn shop(
        &self,
        chapter: &Chapter,
        seed: u64,
        speed: u32,
    ) -> Result<ReadShop, Failure> {
        let scenario = self.scenario_file(chapter);
        let text = set(SHOP, "scenario", &quoted(&scenario.to_string_lossy()));
        let text = set(&text, "seed", &seed.to_string());
        let text = set(&text, "faster", &speed.to_string());
        let path = self.0.join("shop.toml");
        write(&path, &text)?;
        let shop = Shop::load(&path).map_err(Failure::from)?;
        let digest = Sha256::digest(text.as_bytes());
        let digest = digest.iter().map(|byte| format!("{byte:02x}")).collect();
        Ok((shop, digest))
    }

    /// Writes the scenario of a chapter. The trace begins at `started` (RFC 3339).
    pub(super) fn scenario(
        &self,
        chapter: &Chapter,
        seed: u64,
        prints: u32,
        started: &str,
    ) -> Result<(), Failure> {
        let text = set(chapter.scenario, "seed", &seed.to_string());
        let text = set(&text, "prints", &prints.to_string());
        let text = set(&text, "started", &quoted(started));
        write(&self.scenario_file(chapter), &text)
    }

    /// Reads a chapter's scenario as the daemon will.
    pub(super) fn read(
        &self,
        chapter: &Chapter,
        shop: &Shop,
        seed: u64,
    ) -> Result<Scenario, Failure> {
        let file = self.scenario_file(chapter);
        simulated::scenario(shop, SOURCE, Some(&file), seed).map_err(Failure::from)
    }

    /// Simulates a chapter to its end, and writes what its probes will say and what every print truly gets.
    pub(super) fn truth(&self, scenario: &Scenario) -> Result<TruthFile, Failure> {
        // When the trace began is not known yet.
        let scenario = Scenario {
            started: None,
            ..scenario.clone()
        };
        let (trace, truth) = texts(&scenario).map_err(|error| Failure::new(error.to_string()))?;
        let path = self.0.join(format!("{}.truth.json", scenario.name));
        write(&self.0.join(format!("{}.csv", scenario.name)), &trace)?;
        write(&path, &truth)?;
        serde_json::from_str(&truth).map_err(|error| {
            Failure::of_file(
                path.display(),
                format_args!("is not understood ({error})"),
                "this is a fault of the program",
            )
        })
    }

    fn scenario_file(&self, chapter: &Chapter) -> PathBuf {
        self.0.join(format!("{}.scenario.toml", chapter.name))
    }
}

/// A folder that is there and empty, made where there was none.
fn made(path: &Path) -> Result<PathBuf, Failure> {
    let refused = |what: &str| {
        Failure::of_file(
            path.display(),
            what,
            "name a folder that is empty, or that is not there yet",
        )
    };
    match fs::read_dir(path) {
        Ok(mut entries) => match entries.next() {
            None => Ok(path.to_owned()),
            Some(_) => Err(refused("is not empty")),
        },
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            fs::create_dir_all(path).map_err(|error| Failure::writing(path, &error))?;
            Ok(path.to_owned())
        }
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => Err(refused("is no folder")),
        Err(error) => Err(Failure::of_file(
            path.display(),
            format_args!("cannot be read ({error})"),
            "check its rights",
        )),
    }
}

fn write(path: &Path, text: &str) -> Result<(), Failure> {
    fs::write(path, text).map_err(|error| Failure::writing(path, &error))
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// A TOML text whose first line for a key says something else.
fn set(text: &str, key: &str, value: &str) -> String {
    let lead = format!("{key} = ");
    let mut found = false;
    let lines = text.lines().map(|line| {
        let own = !found && line.starts_with(&lead);
        found |= own;
        match own {
            true => format!("{lead}{value}\n"),
            false => format!("{line}\n"),
        }
    });
    lines.collect()
}

#[cfg(test)]
mod tests {
    use super::super::chapter::CHAPTERS;
    use super::*;

    #[test]
    fn every_file_has_the_keys_that_are_set_at_its_top() {
        let top = |text: &str| {
            let end = text.find("\n[truth]").unwrap();
            text[..end].to_owned()
        };
        for chapter in CHAPTERS {
            for key in ["seed", "prints", "started"] {
                let top = top(chapter.scenario);
                assert!(
                    top.contains(&format!("\n{key} = ")),
                    "{}: {key}",
                    chapter.name
                );
            }
        }
        for key in ["scenario", "seed", "faster"] {
            assert_eq!(SHOP.matches(&format!("\n{key} = ")).count(), 1, "{key}");
        }
    }

    #[test]
    fn only_the_first_line_of_a_key_is_set() {
        let text = "seed = 1\n[truth]\nseed = 11\n";
        assert_eq!(set(text, "seed", "5"), "seed = 5\n[truth]\nseed = 11\n");
    }

    #[test]
    fn a_folder_with_something_in_it_and_a_file_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("there");
        fs::write(&file, "").unwrap();
        assert!(Folder::open(Some(folder.path())).is_err());
        assert!(Folder::open(Some(&file)).is_err());
        assert_eq!(fs::read(&file).unwrap(), b"");
        let deep = folder.path().join("new/one");
        assert!(
            Folder::open(Some(&deep))
                .unwrap()
                .path()
                .ends_with("new/one")
        );
    }
}
