//! Writing the shop file: whole or not at all, and never over one that is there.

use std::fs::Permissions;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use inkdwell_config::shop::Shop;

use crate::failure::Failure;

/// Whether there is a folder for it, before anything is asked.
///
/// # Errors
/// When there is none.
pub(super) fn there(path: &Path) -> Result<(), Failure> {
    match folder_of(path).is_dir() {
        true => Ok(()),
        false => Err(Failure::of_file(
            path.display(),
            "its folder is not there",
            "make the folder, or name a file in another with --shop",
        )),
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Writes a text that the shop file's own checker takes.
///
/// # Errors
/// What the checker says, or why it cannot be written.
pub(super) fn write(path: &Path, text: &str) -> Result<(), Failure> {
    let problems = Shop::parse(&path.display().to_string(), text).problems;
    if !problems.is_empty() {
        return Err(Failure::from(problems));
    }
    // Beside it, so that putting it in its place is one step; readable by whose daemon it is.
    let mut beside = tempfile::Builder::new()
        .prefix(".inkdwell-start-")
        .permissions(Permissions::from_mode(0o644))
        .tempfile_in(folder_of(path))
        .map_err(|error| Failure::writing(path, &error))?;
    let written = beside
        .write_all(text.as_bytes())
        .and_then(|()| beside.as_file().sync_all());
    written.map_err(|error| Failure::writing(path, &error))?;
    match beside.persist_noclobber(path) {
        Ok(_) => Ok(()),
        Err(refused) if refused.error.kind() == std::io::ErrorKind::AlreadyExists => {
            Err(Failure::of_file(
                path.display(),
                "is there by now, and is not written over",
                "begin again, and it will be checked and used; or name another with --shop",
            ))
        }
        Err(refused) => Err(Failure::writing(path, &refused.error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUND: &str = "[shop]\nname = \"Our shop\"\n";

    #[test]
    fn nothing_that_is_there_is_written_over_and_nothing_unsound_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shop.toml");
        let refused = write(&path, "[shop]\nname = 3\n").unwrap_err().to_string();
        assert!(refused.contains("shop.toml:2: shop.name"), "{refused}");
        assert!(!path.exists());
        write(&path, SOUND).unwrap();
        let refused = write(&path, "[shop]\nname = \"Another\"\n")
            .unwrap_err()
            .to_string();
        assert!(refused.contains("is not written over"), "{refused}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), SOUND);
        // Nothing is left beside it.
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_folder_that_is_not_there_is_a_sentence() {
        let path = Path::new("/nowhere/shop.toml");
        let refused = there(path).unwrap_err().to_string();
        assert!(refused.contains("its folder is not there"), "{refused}");
        assert!(there(Path::new("shop.toml")).is_ok());
        let refused = write(path, SOUND).unwrap_err().to_string();
        assert!(
            refused.contains("/nowhere/shop.toml: cannot be written"),
            "{refused}"
        );
    }
}
