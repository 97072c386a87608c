//! Files in the data folder that are nobody else's business.

use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

/// Writes a file that its owner alone may read, in one step: nobody sees half of it.
pub(super) fn write(path: &Path, text: &str) -> io::Result<()> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".new");
    // One that a crash left may have other rights.
    match fs::remove_file(&beside) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&beside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    drop(file);
    fs::rename(&beside, path)
}

/// Whether anybody but the owner may read or change it.
#[cfg(unix)]
pub(super) fn is_open_to_others(path: &Path) -> io::Result<bool> {
    let permissions = fs::metadata(path)?.permissions();
    Ok(std::os::unix::fs::PermissionsExt::mode(&permissions) & 0o077 != 0)
}

/// Where rights are told otherwise, the data folder's own decide.
#[cfg(not(unix))]
pub(super) fn is_open_to_others(path: &Path) -> io::Result<bool> {
    fs::metadata(path).map(|_| false)
}
