//! What the shop declares.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// A shop file holds from now on.
///
/// Its text stands in the journal, so that a report knows the time zone, the units and what each channel meant, from the
/// journal alone. It holds no secret: a shop file that has one is refused, and names the file or the variable of the
/// environment where it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShopDeclared {
    /// SHA-256 of the text, in hexadecimal.
    pub sha256: String,
    /// The text; absent where it is told on.
    #[serde(default)]
    pub text: String,
}

impl ShopDeclared {
    /// A file of this text.
    pub fn of(text: &str) -> ShopDeclared {
        ShopDeclared {
            sha256: sha256_of(text.as_bytes()),
            text: text.to_owned(),
        }
    }
}

/// SHA-256 in hexadecimal.
pub(crate) fn sha256_of(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}
