//! What can go wrong with a journal.

use std::io;
use std::path::PathBuf;

use rusqlite::ErrorCode;
use rusqlite::ffi;

use super::pack::PackError;
use super::reading::Garbled;

/// A journal that cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The data folder cannot be made or used.
    #[error(
        "{}: the data folder cannot be used ({error}); check that it is there and its rights", folder.display()
    )]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why.
        error: io::Error,
    },
    /// Another daemon has it.
    #[error(
        "{}: another daemon{} works in this data folder; stop that one first, or give this one a folder of \
         its own", folder.display(), process.map(|id| format!(" (process {id})")).unwrap_or_default()
    )]
    Locked {
        /// The folder.
        folder: PathBuf,
        /// The process that has it, where it said so.
        process: Option<u32>,
    },
    /// There is none.
    #[error("{}: there is no journal here; check the folder's name", file.display())]
    Missing {
        /// The file.
        file: PathBuf,
    },
    /// It is something else.
    #[error(
        "{}: this is no journal of Inkdwell; check the name, or move the file away", file.display()
    )]
    Foreign {
        /// The file.
        file: PathBuf,
    },
    /// A later program wrote it.
    #[error(
        "{}: this journal is of version {found}, this program knows versions to {known}; install the later \
         program again, or take a backup from before its first start", file.display()
    )]
    Newer {
        /// The file.
        file: PathBuf,
        /// Its version.
        found: i32,
        /// The program's.
        known: i32,
    },
    /// An earlier program wrote it, and it is only to be read.
    #[error(
        "{}: this journal is of version {found}, this program reads version {known}; start the daemon once, \
         which brings it up to date", file.display()
    )]
    Older {
        /// The file.
        file: PathBuf,
        /// Its version.
        found: i32,
        /// The program's.
        known: i32,
    },
    /// The file system or the database says no.
    #[error("{}: the journal cannot be opened ({error}); check its rights and its disk", file.display())]
    Storage {
        /// The file.
        file: PathBuf,
        /// Why.
        error: rusqlite::Error,
    },
}

/// A commit, or upkeep, that did not happen. Everything is as it was before.
#[derive(Debug, thiserror::Error)]
pub enum CommitError {
    /// There is no room on the disk. The same batch can be committed once there is.
    #[error(
        "the disk of the data folder is full ({}); make room: nothing is accepted until then",
        room(*free, *floor)
    )]
    Full {
        /// Bytes that are free, where that is known.
        free: Option<u64>,
        /// Bytes that are to stay free.
        floor: u64,
    },
    /// A record contradicts what is in the journal. To commit it again is no use.
    #[error("a record of the kind {kind} contradicts the journal: {why}")]
    Contradiction {
        /// The record's kind.
        kind: &'static str,
        /// What is wrong.
        why: String,
    },
    /// Something cannot be written so that it is read back the same. To commit it again is no use.
    #[error("something cannot be written down ({0})")]
    Unwritable(String),
    /// The database says no. To commit again may be.
    #[error("the journal cannot be written ({0}); check the data folder and its disk")]
    Storage(#[source] rusqlite::Error),
}

fn room(free: Option<u64>, floor: u64) -> String {
    let megabytes = |bytes: u64| format!("{:.1} MB", bytes as f64 / 1e6);
    match free {
        Some(free) => format!(
            "{} are free, {} stay in reserve",
            megabytes(free),
            megabytes(floor)
        ),
        None => "the last write found no room".to_owned(),
    }
}

impl CommitError {
    /// Whether the same batch may be taken later.
    pub fn passes(&self) -> bool {
        matches!(self, CommitError::Full { .. } | CommitError::Storage(_))
    }
}

impl From<rusqlite::Error> for CommitError {
    fn from(error: rusqlite::Error) -> CommitError {
        if is_no_room(&error) {
            CommitError::Full {
                free: None,
                floor: 0,
            }
        } else {
            CommitError::Storage(error)
        }
    }
}

impl From<PackError> for CommitError {
    fn from(error: PackError) -> CommitError {
        CommitError::Unwritable(error.to_string())
    }
}

impl From<Garbled> for CommitError {
    fn from(error: Garbled) -> CommitError {
        CommitError::Unwritable(error.to_string())
    }
}

/// A file that cannot grow, as the file system tells SQLite in several ways.
fn is_no_room(error: &rusqlite::Error) -> bool {
    let Some(failure) = error.sqlite_error() else {
        return false;
    };
    let while_writing = [
        ffi::SQLITE_IOERR_WRITE,
        ffi::SQLITE_IOERR_FSYNC,
        ffi::SQLITE_IOERR_SHMSIZE,
        ffi::SQLITE_IOERR_TRUNCATE,
    ];
    failure.code == ErrorCode::DiskFull || while_writing.contains(&failure.extended_code)
}

/// Something in the journal that cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The database says no.
    #[error("the journal cannot be read ({0}); `inkdwell verify` tells whether it is damaged")]
    Storage(#[from] rusqlite::Error),
    /// A record's text is not one.
    #[error("record {number} cannot be understood ({error}); `inkdwell verify` tells more")]
    Record {
        /// Its number.
        number: u64,
        /// Why.
        error: serde_json::Error,
    },
    /// A block of readings.
    #[error(transparent)]
    Pack(#[from] PackError),
    /// The readings of a commit.
    #[error(transparent)]
    Garbled(#[from] Garbled),
}
