//! The one writer of a journal.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension};

use super::chain::{Hash, Head, StretchHead};
use super::fault::OpenError;
use super::folder::Folder;
use super::names::Names;
use super::number::{ChannelNumber, CommitNumber, SourceNumber, WordNumber};
use super::reader::Readers;
use super::schema::{self, Kind};
use super::upkeep::Sealing;

/// What can be set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Bytes that are to stay free on the disk; else 64 MB, but no more than a fiftieth of the disk.
    pub keep_free: Option<u64>,
    /// Readings are packed once the oldest is older than this, …
    pub pack_after: Duration,
    /// … or there are so many.
    pub pack_readings: u64,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            keep_free: None,
            pack_after: Duration::from_secs(3600),
            pack_readings: 200_000,
        }
    }
}

/// The numbers that come next, counted from what is committed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NextNumbers {
    /// Of a pass.
    pub pass: u64,
    /// Of a batch.
    pub batch: u64,
    /// Of a hold.
    pub hold: u64,
    /// Of a recipe.
    pub recipe: u64,
}

/// Writes the journal. There is one in a data folder; the folder is free again when it is dropped. Dropping
/// it loses nothing that was committed, and needs no farewell.
#[derive(Debug)]
pub struct Writer {
    pub(super) connection: Connection,
    pub(super) folder: Folder,
    pub(super) settings: Settings,
    pub(super) names: Names,
    pub(super) head: Head,
    pub(super) stretches: StretchHead,
    /// The last commit.
    pub(super) last: CommitNumber,
    /// The last commit that an engine snapshot belongs to.
    pub(super) checkpoint: CommitNumber,
    pub(super) sealing: Sealing,
    /// Pages that commits have put into the write-ahead log since it was last moved, as a guess.
    pub(super) log_pages: u64,
}

/// Opens the journal of a folder, with a folder and a journal made where there are none.
///
/// # Errors
/// When the folder cannot be used or another daemon has it, and when what lies there is no journal or one of
/// a later program.
pub fn open(folder: &Path, settings: Settings) -> Result<(Writer, Readers), OpenError> {
    let folder = Folder::take(folder, settings.keep_free)?;
    let file = folder.journal();
    let storage = |error| OpenError::Storage {
        file: file.clone(),
        error,
    };
    let mut connection = connect(&file).map_err(storage)?;
    let known = schema::version();
    let from = match schema::kind(&connection).map_err(storage)? {
        Kind::Empty => 0,
        Kind::Journal(version) if version <= known => version,
        Kind::Journal(found) => return Err(OpenError::Newer { file, found, known }),
        Kind::Foreign => return Err(OpenError::Foreign { file }),
    };
    make_durable(&connection).map_err(storage)?;
    schema::migrate(&mut connection, from).map_err(storage)?;
    let readers = Readers::of(file.clone());
    let writer = Writer::take_up(connection, folder, settings).map_err(storage)?;
    Ok((writer, readers))
}

fn connect(file: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(file, flags)?;
    connection.set_prepared_statement_cache_capacity(64);
    connection.busy_timeout(Duration::from_secs(5))?;
    Ok(connection)
}

/// A commit is on the disk when it returns. Readers are never waited for. The log is moved into the file by
/// [`Writer::tidy`]; should nobody call that, SQLite does it at 32 MB.
fn make_durable(connection: &Connection) -> rusqlite::Result<()> {
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "wal_autocheckpoint", 8192)?;
    connection.pragma_update(None, "journal_size_limit", 64 << 20)?;
    connection.pragma_update(None, "temp_store", "MEMORY")?;
    connection.pragma_update(None, "cache_size", -16_384)
}

impl Writer {
    fn take_up(
        connection: Connection,
        folder: Folder,
        settings: Settings,
    ) -> rusqlite::Result<Writer> {
        let (number, hash) = link(&connection, "record")?;
        let head = Head {
            number: super::number::RecordNumber(number),
            hash,
        };
        let (number, hash) = link(&connection, "stretch")?;
        let stretches = StretchHead {
            number: super::number::StretchNumber(number),
            hash,
        };
        Ok(Writer {
            names: Names::read(&connection)?,
            last: last_commit(&connection)?,
            checkpoint: checkpoint(&connection)?,
            sealing: Sealing::take_up(&connection)?,
            head,
            stretches,
            connection,
            folder,
            settings,
            log_pages: 0,
        })
    }

    /// The number of a source. It holds over restarts once something with it is committed.
    pub fn source(&mut self, id: &str) -> SourceNumber {
        self.names.source(id)
    }

    /// The number of a source's channel. It holds over restarts once something with it is committed.
    pub fn channel(&mut self, source_id: &str, channel: &str) -> ChannelNumber {
        self.names.channel(source_id, channel)
    }

    /// The number of something that a device said in place of a number. The first 32 characters count.
    /// It holds over restarts once something with it is committed.
    pub fn word(&mut self, word: &str) -> WordNumber {
        self.names.word(word)
    }

    /// The last commit; 0 before the first.
    pub fn last_commit(&self) -> CommitNumber {
        self.last
    }

    /// The last link of the chain of records.
    pub fn head(&self) -> Head {
        self.head
    }

    /// The numbers that come next.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn next_numbers(&self) -> Result<NextNumbers, super::ReadError> {
        let next = |table: &str| {
            let sql = format!("SELECT coalesce(max(number), 0) + 1 FROM {table}");
            self.connection.query_row(&sql, [], |row| row.get(0))
        };
        Ok(NextNumbers {
            pass: next("pass")?,
            batch: next("batch")?,
            hold: next("hold")?,
            recipe: next("recipe")?,
        })
    }
}

/// The last link of a chain, from where it stands apart.
pub(super) fn link(connection: &Connection, chain: &str) -> rusqlite::Result<(u64, Hash)> {
    let sql = "SELECT number, hash FROM head WHERE chain = ?1";
    let link = connection
        .query_row(sql, [chain], |row| {
            Ok((row.get(0)?, row.get::<_, Vec<u8>>(1)?))
        })
        .optional()?;
    Ok(link.map_or((0, Hash::default()), |(number, hash)| {
        (number, Hash::of_column(&hash).unwrap_or_default())
    }))
}

pub(super) fn last_commit(connection: &Connection) -> rusqlite::Result<CommitNumber> {
    let sql = "SELECT max(
        (SELECT coalesce(max(number), 0) FROM recent),
        (SELECT coalesce(max(commit_number), 0) FROM record),
        (SELECT coalesce(max(last_commit), 0) FROM stretch),
        (SELECT coalesce(max(commit_number), 0) FROM checkpoint),
        (SELECT coalesce(max(commit_number), 0) FROM mark))";
    connection.query_row(sql, [], |row| row.get(0))
}

fn checkpoint(connection: &Connection) -> rusqlite::Result<CommitNumber> {
    let sql = "SELECT coalesce(max(commit_number), 0) FROM checkpoint";
    connection.query_row(sql, [], |row| row.get(0))
}
