//! Where the daemon is found: a file in its data folder, while it serves.
//!
//! Its first line is the address for those on the same machine, such as `http://127.0.0.1:7878`. Where that is
//! behind TLS, a second line names the certificate that they may trust besides the system's.

use std::io;
use std::path::{Path, PathBuf};

use super::private_file;

/// The file in the data folder.
pub const FILE: &str = "api.address";

/// What the file says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The address.
    pub url: String,
    /// The certificate, PEM.
    pub certificate: Option<PathBuf>,
}

/// Reads it; `None` where no daemon serves from this folder.
///
/// # Errors
/// When it is there and cannot be read.
pub fn read(folder: &Path) -> io::Result<Option<Found>> {
    let text = match std::fs::read_to_string(folder.join(FILE)) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    let mut lines = text.lines();
    Ok(lines.next().map(|url| Found {
        url: url.to_owned(),
        certificate: lines.next().map(PathBuf::from),
    }))
}

/// The file while it is there; it goes when this is dropped.
#[derive(Debug)]
pub(super) struct Published(PathBuf);

impl Published {
    pub(super) fn at(folder: &Path, found: &Found) -> io::Result<Published> {
        let file = folder.join(FILE);
        let certificate = found.certificate.iter();
        let certificate: String = certificate
            .map(|certificate| format!("{}\n", certificate.display()))
            .collect();
        private_file::write(&file, &format!("{}\n{certificate}", found.url))?;
        Ok(Published(file))
    }
}

impl Drop for Published {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_file(&self.0) {
            tracing::warn!("{}: cannot be removed ({error})", self.0.display());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_there_as_long_as_the_daemon_serves() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(read(folder.path()).unwrap(), None);
        for certificate in [None, Some(PathBuf::from("/etc/inkdwell/board.pem"))] {
            let found = Found {
                url: "https://192.0.2.7:8443".to_owned(),
                certificate,
            };
            let published = Published::at(folder.path(), &found).unwrap();
            assert_eq!(read(folder.path()).unwrap(), Some(found));
            drop(published);
            assert_eq!(read(folder.path()).unwrap(), None);
        }
    }
}
