//! Committing: readings, what was found in them, and the engine's state, together or not at all.

use rusqlite::{Connection, TransactionBehavior, params};

use super::chain::{Hash, Head, record_hash};
use super::fault::CommitError;
use super::number::{CommitNumber, RecordNumber, SourceNumber};
use super::project;
use super::reading::{self, JournaledReading};
use super::writer::Writer;
use crate::intake::MessageMark;
use crate::record::Record;
use crate::time::Micros;

/// What is committed in one go.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Batch {
    /// Readings, in the order in which the engine was fed.
    pub readings: Vec<JournaledReading>,
    /// What was found and decided, in order.
    pub records: Vec<(Micros, Record)>,
    /// The marks of the messages whose readings these are.
    pub marks: Vec<(SourceNumber, MessageMark)>,
    /// The engine's state after all this.
    pub checkpoint: Option<Vec<u8>>,
}

impl Batch {
    /// Whether there is nothing to commit.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
            && self.records.is_empty()
            && self.marks.is_empty()
            && self.checkpoint.is_none()
    }
}

/// A commit that is on the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Committed {
    /// Its number.
    pub number: CommitNumber,
    /// The number of its first record; further ones follow it. The next record's, where it has none.
    pub first_record: RecordNumber,
    /// The last link of the chain of records.
    pub head: Head,
}

/// As much of the write-ahead log as a commit uses beside its readings, in pages, as a guess.
const PAGES_BESIDE: u64 = 3;

impl Writer {
    /// Commits a batch. When it returns, a pulled plug does not undo it. An empty batch changes nothing, and
    /// its number is that of the commit before.
    ///
    /// # Errors
    /// Then nothing has changed; [`CommitError::passes`] tells whether the same batch can be taken later.
    pub fn commit(&mut self, batch: &Batch) -> Result<Committed, CommitError> {
        if batch.is_empty() {
            return Ok(Committed {
                number: self.last,
                first_record: RecordNumber(self.head.number.0 + 1),
                head: self.head,
            });
        }
        let done = self.check_room().and_then(|()| self.write(batch));
        if let Err(CommitError::Full { .. }) = done {
            self.shorten_log();
        }
        done
    }

    /// Whether there is room for more.
    ///
    /// # Errors
    /// [`CommitError::Full`] where too little is free.
    pub fn check_room(&self) -> Result<(), CommitError> {
        match self.folder.too_little_room() {
            None => Ok(()),
            free => Err(CommitError::Full {
                free,
                floor: self.folder.floor(),
            }),
        }
    }

    fn write(&mut self, batch: &Batch) -> Result<Committed, CommitError> {
        let number = CommitNumber(self.last.0 + 1);
        let readings = encode(&batch.readings)?;
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        self.names.write(&transaction)?;
        if let Some(readings) = &readings {
            readings.write(&transaction, number)?;
        }
        let head = write_records(&transaction, self.head, number, &batch.records)?;
        write_marks(&transaction, number, &batch.marks)?;
        if let Some(checkpoint) = &batch.checkpoint {
            transaction
                .prepare_cached(
                    "INSERT OR REPLACE INTO checkpoint (id, commit_number, bytes)
                     VALUES (1, ?1, ?2)",
                )?
                .execute(params![number, checkpoint])?;
        }
        transaction.commit()?;

        let first_record = RecordNumber(self.head.number.0 + 1);
        self.names.written();
        self.last = number;
        self.head = head;
        if let Some(readings) = &readings {
            self.sealing.note(readings.count, readings.last_at);
            self.log_pages += pages(readings.bytes.len());
        }
        if let Some(checkpoint) = &batch.checkpoint {
            self.checkpoint = number;
            self.sealing.note_checkpoint();
            self.log_pages += pages(checkpoint.len());
        }
        self.log_pages += PAGES_BESIDE + batch.records.len() as u64;
        Ok(Committed {
            number,
            first_record,
            head,
        })
    }
}

fn pages(bytes: usize) -> u64 {
    bytes as u64 / 4096
}

/// The readings of a commit as they are written.
struct Encoded {
    first_at: Micros,
    last_at: Micros,
    count: u64,
    bytes: Vec<u8>,
}

fn encode(readings: &[JournaledReading]) -> Result<Option<Encoded>, CommitError> {
    let times = || readings.iter().map(|reading| reading.at);
    let (Some(first_at), Some(last_at)) = (times().min(), times().max()) else {
        return Ok(None);
    };
    // A header, a time and a float take eleven bytes as a rule.
    let room = Vec::with_capacity(12 * readings.len());
    let bytes = reading::write(readings, room)
        .map_err(|error| CommitError::Unwritable(error.to_string()))?;
    Ok(Some(Encoded {
        first_at,
        last_at,
        count: readings.len() as u64,
        bytes,
    }))
}

impl Encoded {
    fn write(&self, connection: &Connection, number: CommitNumber) -> rusqlite::Result<()> {
        connection
            .prepare_cached(
                "INSERT INTO recent (number, first_at, last_at, readings, bytes)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![
                number,
                self.first_at.0,
                self.last_at.0,
                self.count,
                self.bytes
            ])?;
        Ok(())
    }
}

/// Adds records to the chain; its new head.
fn write_records(
    connection: &Connection,
    mut head: Head,
    commit: CommitNumber,
    records: &[(Micros, Record)],
) -> Result<Head, CommitError> {
    for (at, record) in records {
        let body = written(record)?;
        let number = RecordNumber(head.number.0 + 1);
        let hash = record_hash(head.hash, number, *at, &body);
        connection
            .prepare_cached(
                "INSERT INTO record (number, commit_number, at, kind, body, hash)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                number,
                commit,
                at.0,
                record.kind(),
                body,
                hash.0.as_slice()
            ])?;
        project::apply(connection, number, *at, record)?;
        head = Head { number, hash };
    }
    if !records.is_empty() {
        write_link(connection, "record", head.number.0, head.hash)?;
    }
    Ok(head)
}

/// A record's JSON, if it is read back as the same record. One with a number that is none, for example,
/// is not.
fn written(record: &Record) -> Result<String, CommitError> {
    let unwritable = |error: serde_json::Error| CommitError::Unwritable(error.to_string());
    let body = serde_json::to_string(record).map_err(unwritable)?;
    let back: Record = serde_json::from_str(&body).map_err(unwritable)?;
    if back == *record {
        Ok(body)
    } else {
        Err(CommitError::Unwritable(format!(
            "a record of the kind {} is not read back as it was",
            record.kind()
        )))
    }
}

/// Writes where a chain ends.
pub(super) fn write_link(
    connection: &Connection,
    chain: &str,
    number: u64,
    hash: Hash,
) -> rusqlite::Result<()> {
    connection
        .prepare_cached("INSERT OR REPLACE INTO head (chain, number, hash) VALUES (?1, ?2, ?3)")?
        .execute(params![chain, number, hash.0.as_slice()])?;
    Ok(())
}

fn write_marks(
    connection: &Connection,
    commit: CommitNumber,
    marks: &[(SourceNumber, MessageMark)],
) -> rusqlite::Result<()> {
    for (source, mark) in marks {
        connection
            .prepare_cached(
                "INSERT OR REPLACE INTO mark (source, packet, digest, commit_number)
                 VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![source, mark.packet, mark.digest.as_slice(), commit])?;
    }
    Ok(())
}
