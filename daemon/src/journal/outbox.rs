//! How far each way out has come in what is committed, and what was refused for good.
//!
//! An outbox holds nothing of its own: what waits is what the journal has after the place where a sink stands.
//! So an outage of a week costs no room, and what was not sent before a crash is sent after it.

use rusqlite::{OptionalExtension, TransactionBehavior, params};

use super::chain::Hash;
use super::fault::{CommitError, ReadError};
use super::number::{ChannelNumber, CommitNumber, RecordNumber};
use super::reader::Reader;
use super::reading::{JournaledReading, Written};
use super::readings::unpack;
use super::records::{KeptRecord, record_of};
use super::writer::Writer;
use crate::time::Micros;

/// No sink keeps more refusals than this; the oldest go first.
const MOST_SET_ASIDE: u64 = 10_000;
/// So many commits are looked through at a time for readings.
const COMMITS_AT_A_TIME: u64 = 1024;

/// Where a sink stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// Its id.
    pub sink: String,
    /// Its kind; one of another kind under the same id begins anew.
    pub kind: String,
    /// The last record that is settled: taken by the other side, or set aside.
    pub record: RecordNumber,
    /// The last commit whose readings are settled.
    pub commit: CommitNumber,
}

/// Something that was refused for good.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// The sink's id.
    pub sink: String,
    /// When.
    pub at: Micros,
    /// The record; `None` for readings.
    pub record: Option<RecordNumber>,
    /// Why, in a sentence.
    pub why: String,
}

/// A record with the hash by which the whole world may know it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChainedRecord {
    /// The record.
    pub kept: KeptRecord,
    /// Its link in the chain of records.
    pub hash: Hash,
}

impl Writer {
    /// Keeps where sinks stand and what was set aside, all or nothing, on the disk when it returns.
    ///
    /// # Errors
    /// Then nothing has changed.
    pub fn keep_standings(
        &mut self,
        standings: &[Standing],
        aside: &[SetAside],
    ) -> Result<(), CommitError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        for standing in standings {
            transaction
                .prepare_cached(
                    "INSERT OR REPLACE INTO outbox (sink, kind, record, commit_number)
                     VALUES (?1, ?2, ?3, ?4)",
                )?
                .execute(params![
                    standing.sink,
                    standing.kind,
                    standing.record,
                    standing.commit
                ])?;
        }
        for refused in aside {
            transaction
                .prepare_cached(
                    "INSERT INTO set_aside (sink, at, record, why) VALUES (?1, ?2, ?3, ?4)",
                )?
                .execute(params![
                    refused.sink,
                    refused.at.0,
                    refused.record,
                    refused.why
                ])?;
            transaction
                .prepare_cached(
                    "DELETE FROM set_aside WHERE sink = ?1 AND number <=
                       (SELECT number FROM set_aside WHERE sink = ?1
                        ORDER BY number DESC LIMIT 1 OFFSET ?2)",
                )?
                .execute(params![refused.sink, MOST_SET_ASIDE])?;
        }
        transaction.commit()?;
        self.log_pages += 2;
        Ok(())
    }
}

impl Reader {
    /// Where a sink stands, if it was ever there.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn standing(&self, sink: &str) -> Result<Option<Standing>, ReadError> {
        let row = self
            .connection
            .prepare_cached("SELECT kind, record, commit_number FROM outbox WHERE sink = ?1")?
            .query_row([sink], |row| {
                Ok(Standing {
                    sink: sink.to_owned(),
                    kind: row.get(0)?,
                    record: row.get(1)?,
                    commit: row.get(2)?,
                })
            })
            .optional()?;
        Ok(row)
    }

    /// How much a sink has set aside, and the newest of it, newest first.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn set_aside(&self, sink: &str, newest: u64) -> Result<(u64, Vec<SetAside>), ReadError> {
        let moment = self.moment()?;
        let sql = "SELECT count(*) FROM set_aside WHERE sink = ?1";
        let count = moment
            .prepare_cached(sql)?
            .query_row([sink], |row| row.get(0))?;
        let mut statement = moment.prepare_cached(
            "SELECT at, record, why FROM set_aside WHERE sink = ?1 ORDER BY number DESC LIMIT ?2",
        )?;
        let rows = statement.query_map(params![sink, newest], |row| {
            Ok(SetAside {
                sink: sink.to_owned(),
                at: Micros(row.get(0)?),
                record: row.get(1)?,
                why: row.get(2)?,
            })
        })?;
        Ok((count, rows.collect::<Result<_, _>>()?))
    }

    /// The last change of an alarm between two times, both included.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn last_of_alarm(
        &self,
        alarm: &str,
        from: Micros,
        to: Micros,
    ) -> Result<Option<KeptRecord>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT number, at, body FROM record
             WHERE kind = 'alarm-changed' AND at BETWEEN ?1 AND ?2 AND body ->> 'alarm' = ?3
             ORDER BY at DESC, number DESC LIMIT 1",
        )?;
        let mut rows = statement.query(params![from.0, to.0, alarm])?;
        rows.next()?.map(record_of).transpose()
    }

    /// The records after one, in the order of their numbers, each with its hash.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn records_after(
        &self,
        number: RecordNumber,
        most: u64,
    ) -> Result<Vec<ChainedRecord>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT number, at, body, hash FROM record WHERE number > ?1 ORDER BY number LIMIT ?2",
        )?;
        let mut rows = statement.query(params![number, most])?;
        let mut records = Vec::new();
        while let Some(row) = rows.next()? {
            let hash = row.get_ref(3)?.as_blob().map_err(rusqlite::Error::from)?;
            records.push(ChainedRecord {
                kept: record_of(row)?,
                hash: Hash::of_column(hash).unwrap_or_default(),
            });
        }
        Ok(records)
    }

    /// Goes over readings that were committed after a commit and up to another, a piece at a time: a stretch of packed readings
    /// channel by channel, or the next thousand commits or so. Within a piece the readings of a channel come in
    /// their order. Gives back the last commit that was gone over; `None` where there is nothing more. What
    /// retention has forgotten is missing.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn readings_after(
        &self,
        commit: CommitNumber,
        to: CommitNumber,
        each: &mut dyn FnMut(JournaledReading),
    ) -> Result<Option<CommitNumber>, ReadError> {
        let moment = self.moment()?;
        let packed = moment
            .prepare_cached(
                "SELECT number, last_commit FROM stretch WHERE last_commit > ?1
                 ORDER BY number LIMIT 1",
            )?
            .query_row([commit], |row| Ok((row.get::<_, u64>(0)?, row.get(1)?)))
            .optional()?;
        if let Some((stretch, last)) = packed {
            self.packed_readings(stretch, each)?;
            return Ok(Some(last));
        }
        let mut statement = moment.prepare_cached(
            "SELECT number, bytes FROM recent WHERE number > ?1 AND number <= ?2
             ORDER BY number LIMIT ?3",
        )?;
        let mut rows = statement.query(params![commit, to, COMMITS_AT_A_TIME])?;
        let mut last = None;
        while let Some(row) = rows.next()? {
            last = Some(row.get(0)?);
            for reading in Written::new(row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?) {
                each(reading?);
            }
        }
        Ok(last)
    }

    fn packed_readings(
        &self,
        stretch: u64,
        each: &mut dyn FnMut(JournaledReading),
    ) -> Result<(), ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT block.channel, stamps.bytes, block.bytes
             FROM block JOIN stamps ON stamps.number = block.stamps
             WHERE block.stretch = ?1 ORDER BY block.number",
        )?;
        let mut rows = statement.query([stretch])?;
        while let Some(row) = rows.next()? {
            let channel: ChannelNumber = row.get(0)?;
            let blob = |place| {
                let bytes = row.get_ref(place)?.as_blob();
                Ok::<_, ReadError>(bytes.map_err(rusqlite::Error::from)?)
            };
            for reading in unpack(blob(1)?, blob(2)?)? {
                each(JournaledReading {
                    channel,
                    at: reading.at,
                    shown: reading.shown,
                    fed: reading.fed,
                });
            }
        }
        Ok(())
    }
}
