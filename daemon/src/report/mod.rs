//! The report: what was run, how each print was proved, what was wrong and what was done about it.
//!
//! [`gather`](fn@gather) reads it from the journal alone, whether a daemon runs or not, as it stood at the chain's head
//! then: [`Report`] is that as data (`inkdwell.report/1`), and every other form of it is made from the data.
//!
//! ```
//! use inkdwell_daemon::journal;
//! use inkdwell_daemon::report::{Asked, gather};
//! use inkdwell_daemon::time::Micros;
//! # let folder = tempfile::tempdir()?;
//! # let settings = journal::Settings { keep_free: Some(0), ..journal::Settings::default() };
//! # let (_writer, readers) = journal::open(folder.path(), settings)?;
//! let report = gather(&readers.reader()?, None, &Asked::default(), None, Micros(0))?;
//! assert_eq!(report.answer.sentence, "Nothing was printed.");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! [`check`](fn@check) gathers a report anew at the head that it names, and tells the first figure that the journal does not
//! support.

mod check;
mod data;
mod gather;
pub mod html;
pub mod pdf;
mod period;
mod picture;
pub mod signing;
mod words;

use schemars::{Schema, schema_for};

use inkdwell_config::shop::Shop as DeclaredShop;
use sha2::{Digest, Sha256};

use crate::journal::ReadError;

pub use check::{Unsupported, check};
pub use data::*;
pub use gather::gather;
pub use period::{Asked, When, day_of};
pub use words::verdict_words;

/// A shop file that was read.
#[derive(Debug, Clone)]
pub struct ShopFile {
    /// What it declares.
    pub shop: DeclaredShop,
    /// SHA-256 of its text, in hexadecimal.
    pub sha256: String,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The journal cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// There is no such batch.
    #[error("there is no batch {0}; `inkdwell batch list` names the newest ones")]
    NoBatch(u64),
    /// The head is not one of this journal.
    #[error("the journal has no record {0}, and the report names it as the last one it rests on")]
    NoHead(u64),
    /// The data could not be written.
    #[error("the report's data cannot be written ({0})")]
    Data(#[from] serde_json::Error),
}

/// The schema of a report's JSON.
pub fn schema() -> Schema {
    schema_for!(Report)
}

impl Report {
    /// SHA-256 of the report's JSON without the moment at which it was made, the version that made it, and without
    /// this figure itself.
    ///
    /// # Errors
    /// When it cannot be written as JSON.
    pub fn reckon_fingerprint(&self) -> Result<String, serde_json::Error> {
        let mut value = serde_json::to_value(self)?;
        if let Some(report) = value.as_object_mut() {
            report.remove("made");
            report.remove("program");
        }
        if let Some(journal) = value.get_mut("journal").and_then(|own| own.as_object_mut()) {
            journal.remove("fingerprint");
        }
        let mut text = String::new();
        write_sorted(&value, &mut text);
        let digest = Sha256::digest(text);
        Ok(digest.iter().map(|byte| format!("{byte:02x}")).collect())
    }
}

/// JSON without a space, the members of each object in the order of their names, by bytes.
fn write_sorted(value: &serde_json::Value, text: &mut String) {
    use serde_json::Value;
    match value {
        Value::Object(members) => {
            let mut names: Vec<&String> = members.keys().collect();
            names.sort_unstable();
            text.push('{');
            for (place, name) in names.into_iter().enumerate() {
                if place > 0 {
                    text.push(',');
                }
                text.push_str(&Value::from(name.as_str()).to_string());
                text.push(':');
                write_sorted(&members[name], text);
            }
            text.push('}');
        }
        Value::Array(items) => {
            text.push('[');
            for (place, item) in items.iter().enumerate() {
                if place > 0 {
                    text.push(',');
                }
                write_sorted(item, text);
            }
            text.push(']');
        }
        other => text.push_str(&other.to_string()),
    }
}
