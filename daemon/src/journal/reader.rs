//! Reading a journal, while it is written or when nobody writes it.
//!
//! A reader waits for nobody and keeps nobody waiting. What it reads in one call is of one moment. Between
//! calls, and between the pieces that its iterators fetch, it holds nothing: the write-ahead log can only be
//! begun anew when no reader is at work, so a reader that lingers would make it grow without end.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, params};

use super::chain::Head;
use super::fault::{OpenError, ReadError};
use super::folder::JOURNAL;
use super::number::{ChannelNumber, CommitNumber, RecordNumber, SourceNumber, WordNumber};
use super::schema::{self, Kind};
use super::writer::link;
use crate::intake::MessageMark;
use crate::time::Micros;

/// Makes readers of one journal, for whatever thread wants one.
#[derive(Debug, Clone)]
pub struct Readers {
    file: PathBuf,
}

impl Readers {
    pub(super) fn of(file: PathBuf) -> Readers {
        Readers { file }
    }

    /// Those of a data folder, or of a file such as a backup.
    ///
    /// # Errors
    /// When there is no journal.
    pub fn at(path: &Path) -> Result<Readers, OpenError> {
        let file = match path.is_dir() {
            true => path.join(JOURNAL),
            false => path.to_owned(),
        };
        match file.is_file() {
            true => Ok(Readers { file }),
            false => Err(OpenError::Missing { file }),
        }
    }

    /// The journal's file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// One reader more.
    ///
    /// # Errors
    /// When it cannot be opened, or is no journal of this version.
    pub fn reader(&self) -> Result<Reader, OpenError> {
        let file = || self.file.clone();
        let storage = |error| OpenError::Storage {
            file: file(),
            error,
        };
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(&self.file, flags).map_err(storage)?;
        connection.set_prepared_statement_cache_capacity(64);
        connection
            .busy_timeout(Duration::from_secs(5))
            .map_err(storage)?;
        let known = schema::version();
        match schema::kind(&connection) {
            Ok(Kind::Journal(found)) if found == known => Ok(Reader { connection }),
            Ok(Kind::Journal(found)) if found > known => Err(OpenError::Newer {
                file: file(),
                found,
                known,
            }),
            Ok(Kind::Journal(found)) => Err(OpenError::Older {
                file: file(),
                found,
                known,
            }),
            Ok(Kind::Empty | Kind::Foreign) => Err(OpenError::Foreign { file: file() }),
            Err(error) if error.sqlite_error_code() == Some(rusqlite::ErrorCode::NotADatabase) => {
                Err(OpenError::Foreign { file: file() })
            }
            Err(error) => Err(storage(error)),
        }
    }
}

/// Reads a journal; for one thread at a time.
#[derive(Debug)]
pub struct Reader {
    pub(super) connection: Connection,
}

/// The engine as it was put away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checkpoint {
    /// The commit after which it stood so.
    pub commit: CommitNumber,
    /// Its state.
    pub bytes: Vec<u8>,
}

/// A channel that has readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownChannel {
    /// Its number.
    pub number: ChannelNumber,
    /// Its source's id.
    pub source: String,
    /// Its name.
    pub name: String,
}

/// How much there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sizes {
    /// Readings that are kept.
    pub readings: u64,
    /// Those of them that are packed.
    pub packed_readings: u64,
    /// The bytes that these take.
    pub packed_bytes: u64,
    /// Readings that were forgotten.
    pub forgotten_readings: u64,
    /// Records of evidence.
    pub records: u64,
    /// Passes.
    pub passes: u64,
    /// The bytes of the whole file, room for more included.
    pub file_bytes: u64,
}

impl Reader {
    /// What is read through this is of one moment. To be dropped soon.
    pub(super) fn moment(&self) -> rusqlite::Result<Transaction<'_>> {
        self.connection.unchecked_transaction()
    }

    /// The last commit; 0 before the first.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn last_commit(&self) -> Result<CommitNumber, ReadError> {
        Ok(super::writer::last_commit(&self.connection)?)
    }

    /// The latest time that a reading or a record has.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn last_time(&self) -> Result<Option<Micros>, ReadError> {
        let sql = "SELECT max(at) FROM
            (SELECT max(at) AS at FROM record
             UNION ALL SELECT max(last_at) FROM recent
             UNION ALL SELECT max(last_at) FROM stretch)";
        let time: Option<i64> = self.connection.query_row(sql, [], |row| row.get(0))?;
        Ok(time.map(Micros))
    }

    /// The last link of the chain of records.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn head(&self) -> Result<Head, ReadError> {
        let (number, hash) = link(&self.connection, "record")?;
        Ok(Head {
            number: RecordNumber(number),
            hash,
        })
    }

    /// The engine as it was last put away.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn last_checkpoint(&self) -> Result<Option<Checkpoint>, ReadError> {
        let sql = "SELECT commit_number, bytes FROM checkpoint";
        let row = self.connection.query_row(sql, [], |row| {
            Ok(Checkpoint {
                commit: row.get(0)?,
                bytes: row.get(1)?,
            })
        });
        Ok(row.optional()?)
    }

    /// The marks of a source's messages, each packet's last, in the order of their commits.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn marks(&self, source: SourceNumber) -> Result<Vec<MessageMark>, ReadError> {
        let mut marks = self.connection.prepare_cached(
            "SELECT packet, digest FROM mark WHERE source = ?1 ORDER BY commit_number, packet",
        )?;
        let rows = marks.query_map([source], |row| {
            Ok(MessageMark {
                packet: row.get(0)?,
                digest: row.get(1)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// The number of a source, if the journal knows it.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn source(&self, id: &str) -> Result<Option<SourceNumber>, ReadError> {
        let sql = "SELECT number FROM source WHERE id = ?1";
        let number = self.connection.query_row(sql, [id], |row| row.get(0));
        Ok(number.optional()?)
    }

    /// The number of a source's channel, if the journal knows it.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn channel(&self, source: &str, name: &str) -> Result<Option<ChannelNumber>, ReadError> {
        let number = self
            .connection
            .prepare_cached(
                "SELECT channel.number FROM channel JOIN source ON source.number = channel.source
                 WHERE source.id = ?1 AND channel.name = ?2",
            )?
            .query_row(params![source, name], |row| row.get(0));
        Ok(number.optional()?)
    }

    /// All channels.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn channels(&self) -> Result<Vec<KnownChannel>, ReadError> {
        let mut channels = self.connection.prepare_cached(
            "SELECT channel.number, source.id, channel.name
             FROM channel JOIN source ON source.number = channel.source ORDER BY channel.number",
        )?;
        let rows = channels.query_map([], |row| {
            Ok(KnownChannel {
                number: row.get(0)?,
                source: row.get(1)?,
                name: row.get(2)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// A word by its number.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn word(&self, number: WordNumber) -> Result<Option<String>, ReadError> {
        let word = self
            .connection
            .prepare_cached("SELECT word FROM word WHERE number = ?1")?
            .query_row([number], |row| row.get(0));
        Ok(word.optional()?)
    }

    /// Up to this time readings may have been forgotten; what was later is there.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn readings_forgotten_to(&self) -> Result<Option<Micros>, ReadError> {
        let sql = "SELECT max(last_at) FROM stretch WHERE forgotten = 1";
        let time: Option<i64> = self
            .connection
            .prepare_cached(sql)?
            .query_row([], |row| row.get(0))?;
        Ok(time.map(Micros))
    }

    /// How much there is.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn sizes(&self) -> Result<Sizes, ReadError> {
        let moment = self.moment()?;
        let sql = "SELECT
            (SELECT coalesce(sum(readings), 0) FROM stretch WHERE forgotten = 0),
            (SELECT coalesce(sum(packed), 0) FROM stretch WHERE forgotten = 0),
            (SELECT coalesce(sum(readings), 0) FROM stretch WHERE forgotten = 1),
            (SELECT coalesce(sum(readings), 0) FROM recent
             WHERE number > (SELECT coalesce(max(last_commit), 0) FROM stretch)),
            (SELECT coalesce(max(number), 0) FROM record),
            (SELECT count(*) FROM pass),
            (SELECT page_count * page_size FROM pragma_page_count, pragma_page_size)";
        let sizes = moment.query_row(sql, [], |row| {
            let (packed, recent): (u64, u64) = (row.get(0)?, row.get(3)?);
            Ok(Sizes {
                readings: packed + recent,
                packed_readings: packed,
                packed_bytes: row.get(1)?,
                forgotten_readings: row.get(2)?,
                records: row.get(4)?,
                passes: row.get(5)?,
                file_bytes: row.get(6)?,
            })
        })?;
        Ok(sizes)
    }
}
