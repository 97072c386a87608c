//! The token: who may change something.
//!
//! It is 256 random bits in a file of the data folder that its owner alone may read, made at the first start. Whoever
//! can read the file is trusted; whoever cannot, such as a page of another site in the same browser, is not.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use rand::Rng;
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;

use super::private_file;

/// The file in the data folder.
pub const FILE: &str = "api.token";
/// Bytes of it.
const BYTES: usize = 32;

/// A token. It is never shown.
pub struct Token([u8; 32]);

impl fmt::Debug for Token {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Token")
    }
}

/// A token that can be neither read nor made.
#[derive(Debug, thiserror::Error)]
#[error("{}: the token cannot be read or made ({error}); check the data folder's rights and its disk", file.display())]
pub struct TokenError {
    /// Its file.
    pub file: PathBuf,
    /// Why.
    pub error: io::Error,
}

impl Token {
    /// The token of a data folder. A new one is made where there is none, and in place of one that others could have
    /// read, or that is none.
    ///
    /// # Errors
    /// When the file can be neither read nor made.
    pub fn of(folder: &Path) -> Result<Token, TokenError> {
        let file = folder.join(FILE);
        kept(&file)
            .and_then(|kept| kept.map_or_else(|| made(&file), Ok))
            .map_err(|error| TokenError { file, error })
    }

    /// Whether this is it. How long that takes tells nothing of it.
    pub fn is(&self, offered: &str) -> bool {
        let offered: [u8; 32] = Sha256::digest(offered.as_bytes()).into();
        self.0.ct_eq(&offered).into()
    }

    fn from_text(text: &str) -> Token {
        Token(Sha256::digest(text.as_bytes()).into())
    }
}

fn kept(file: &Path) -> io::Result<Option<Token>> {
    let text = match std::fs::read_to_string(file) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) if error.kind() == io::ErrorKind::InvalidData => String::new(),
        Err(error) => return Err(error),
    };
    let text = text.trim();
    let why = if private_file::is_open_to_others(file)? {
        "others could read it"
    } else if text.len() != 2 * BYTES || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        "it is no token"
    } else {
        return Ok(Some(Token::from_text(text)));
    };
    tracing::warn!("{}: a new token is made: {why}", file.display());
    Ok(None)
}

fn made(file: &Path) -> io::Result<Token> {
    let mut bytes = [0; BYTES];
    // Seeded by the operating system, and made for secrets.
    rand::rng().fill_bytes(&mut bytes);
    let text: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    private_file::write(file, &format!("{text}\n"))?;
    Ok(Token::from_text(&text))
}

#[cfg(all(test, unix))]
mod tests {
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    fn text(folder: &Path) -> String {
        fs::read_to_string(folder.join(FILE)).unwrap()
    }

    #[test]
    fn it_is_made_once_and_for_its_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let token = Token::of(folder.path()).unwrap();
        let written = text(folder.path());
        let mode = fs::metadata(folder.path().join(FILE)).unwrap();
        assert_eq!(mode.permissions().mode() & 0o777, 0o600);
        assert_eq!(written.trim().len(), 64, "256 bits in hexadecimal");
        assert!(token.is(written.trim()));
        for other in ["", "0", &"0".repeat(64), &written.trim()[1..]] {
            assert!(!token.is(other));
        }
        assert!(Token::of(folder.path()).unwrap().is(written.trim()));
        let elsewhere = tempfile::tempdir().unwrap();
        Token::of(elsewhere.path()).unwrap();
        assert_ne!(written, text(elsewhere.path()));
        assert_eq!(format!("{token:?}"), "Token");
    }

    #[test]
    fn one_that_others_could_read_or_that_is_none_is_made_anew() {
        let folder = tempfile::tempdir().unwrap();
        Token::of(folder.path()).unwrap();
        let seen = text(folder.path());
        let file = folder.path().join(FILE);
        fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).unwrap();
        assert!(!Token::of(folder.path()).unwrap().is(seen.trim()));
        for damaged in [&b"hello"[..], b"", b"\xff\xfe"] {
            fs::write(&file, damaged).unwrap();
            let token = Token::of(folder.path()).unwrap();
            assert!(token.is(text(folder.path()).trim()));
        }
    }

    #[test]
    fn a_folder_that_cannot_be_written_is_a_sentence() {
        let sentence = Token::of(Path::new("/nowhere")).unwrap_err().to_string();
        assert!(
            sentence.starts_with("/nowhere/api.token: the token cannot be read or made"),
            "{sentence}"
        );
    }
}
