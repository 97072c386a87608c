//! Keys and signatures as files.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use inkdwell_daemon::report::signing::{PublicKey, SigningKey};

use crate::command::report::write_new;
use crate::failure::Failure;

/// The file of a report's signature: the report's name and `.sig`.
pub(crate) fn beside(report: &Path) -> PathBuf {
    let mut name = report.as_os_str().to_owned();
    name.push(".sig");
    PathBuf::from(name)
}

/// Signs a report's bytes into a file beside it.
pub(crate) fn sign(key: &Path, report: &Path, bytes: &[u8], force: bool) -> Result<(), Failure> {
    let key_of = SigningKey::from_pem(&read(key)?).map_err(|error| wrong(key, error))?;
    write_new(&beside(report), &key_of.sign(bytes), force)
}

/// Whether the signature of a report's bytes is the shop's.
pub(crate) fn is_signed(public: &Path, signature: &Path, bytes: &[u8]) -> Result<bool, Failure> {
    let key = PublicKey::from_pem(&read(public)?).map_err(|error| wrong(public, error))?;
    let own = fs::read(signature).map_err(|error| unreadable(signature, &error))?;
    Ok(key.has_signed(bytes, &own))
}

/// Makes a key into a file that is not there yet, and its public key beside it.
pub(crate) fn make(file: &Path) -> Result<PathBuf, Failure> {
    let key = SigningKey::new().map_err(|error| Failure::new(error.to_string()))?;
    let mut public = file.as_os_str().to_owned();
    public.push(".pub");
    let public = PathBuf::from(public);
    for own in [file, &public] {
        if own.exists() {
            return Err(Failure::of_file(
                own.display(),
                "there is a file of this name",
                "name another",
            ));
        }
    }
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let written = options
        .open(file)
        .and_then(|mut own| own.write_all(key.to_pem().as_bytes()));
    written.map_err(|error| Failure::writing(file, &error))?;
    write_new(&public, key.public().to_pem().as_bytes(), false)?;
    Ok(public)
}

fn read(file: &Path) -> Result<String, Failure> {
    fs::read_to_string(file).map_err(|error| unreadable(file, &error))
}

fn unreadable(file: &Path, error: &std::io::Error) -> Failure {
    Failure::of_file(
        file.display(),
        format_args!("cannot be read ({error})"),
        "check its name and its rights",
    )
}

fn wrong(file: &Path, error: inkdwell_daemon::report::signing::NoKey) -> Failure {
    Failure::of_file(
        file.display(),
        error,
        "name the file that `inkdwell key` wrote",
    )
}
