//! The sample files that ship: one invented shop, its scenarios, and what they make.

use std::fs;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::scenario::Scenario;
use crate::write::{WriteError, generate};

/// What the names of scenario files end on.
pub const SCENARIO_ENDING: &str = ".scenario.toml";

/// Why the samples were not made.
#[derive(Debug, Error)]
pub enum SampleError {
    /// The folder cannot be read.
    #[error("{path} cannot be read ({source})")]
    Folder {
        /// The folder.
        path: String,
        /// Why.
        source: std::io::Error,
    },
    /// A scenario is wrong.
    #[error("{0}")]
    Scenario(String),
    /// A trace was not written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The folder of the samples in the sources.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("samples")
}

/// The scenario files of a folder, in the order of their names.
///
/// # Errors
/// When the folder cannot be read.
pub fn scenarios(folder: &Path) -> Result<Vec<PathBuf>, SampleError> {
    let failed = |source| SampleError::Folder {
        path: folder.display().to_string(),
        source,
    };
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned());
        if name.is_some_and(|name| name.ends_with(SCENARIO_ENDING)) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// Makes every trace of a folder from its scenario, with its truth; gives the names of the traces.
///
/// # Errors
/// When a scenario is wrong or a file cannot be written.
pub fn make(folder: &Path) -> Result<Vec<String>, SampleError> {
    let mut written = Vec::new();
    for path in scenarios(folder)? {
        let scenario = Scenario::load(&path).map_err(|problems| {
            let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
            SampleError::Scenario(lines.join("\n"))
        })?;
        generate(&scenario, folder)?;
        written.push(format!("{}.csv", scenario.name));
    }
    Ok(written)
}
