//! How far each way out has come in what is committed, and what was refused for good.
//!
//! An outbox holds nothing of its own: what waits is what the journal has after the place where a sink stands
//! (`after.rs` reads it).
//! So an outage of a week costs no room, and what was not sent before a crash is sent after it.

use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::fault::{CommitError, ReadError};
use super::number::{AsideNumber, CommitNumber, RecordNumber};
use super::reader::Reader;
use super::records::{KeptRecord, record_of};
use super::writer::Writer;
use crate::time::Micros;

/// No sink keeps more refusals than this; the oldest go first.
const MOST_SET_ASIDE: u64 = 10_000;

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
    /// Readings: those of commits after the first and up to the second; `None` for a record, and for readings that
    /// the journal had forgotten.
    pub readings: Option<(CommitNumber, CommitNumber)>,
    /// Why, in a sentence.
    pub why: String,
}

/// The same as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptAside {
    /// Its number; one that is gone may be another's some day.
    pub number: AsideNumber,
    /// When it was refused.
    pub at: Micros,
    /// The record; `None` for readings.
    pub record: Option<RecordNumber>,
    /// The commits of the readings, as [`SetAside::readings`].
    pub readings: Option<(CommitNumber, CommitNumber)>,
    /// Why, in a sentence.
    pub why: String,
    /// Whether somebody has asked for it to be sent again.
    pub again: bool,
}

/// What changes among the things that were set aside.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Asides {
    /// Sinks that are to send again what they have set aside until now.
    pub again: Vec<String>,
    /// Those that are settled: taken after all, or refused once more.
    pub settled: Vec<AsideNumber>,
    /// New ones.
    pub new: Vec<SetAside>,
}

/// How much a sink has set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AsideCounts {
    /// So much is kept.
    pub kept: u64,
    /// So much is not kept any more, since there was too much.
    pub dropped: u64,
}

/// Readings that the journal has forgotten.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ForgottenReadings {
    /// How many.
    pub readings: u64,
    /// The first.
    pub first: Micros,
    /// The last.
    pub last: Micros,
}

impl Writer {
    /// Keeps where sinks stand and what was set aside, all or nothing, on the disk when it returns.
    ///
    /// # Errors
    /// Then nothing has changed.
    pub fn keep_standings(
        &mut self,
        standings: &[Standing],
        asides: &Asides,
    ) -> Result<(), CommitError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        for standing in standings {
            transaction
                .prepare_cached(
                    "INSERT INTO outbox (sink, kind, record, commit_number) VALUES (?1, ?2, ?3, ?4)
                     ON CONFLICT (sink) DO UPDATE SET kind = excluded.kind, record = excluded.record,
                       commit_number = excluded.commit_number",
                )?
                .execute(params![
                    standing.sink,
                    standing.kind,
                    standing.record,
                    standing.commit
                ])?;
        }
        // What is asked for again is what was there when somebody asked: not what is refused only now.
        for sink in &asides.again {
            transaction
                .prepare_cached(
                    "UPDATE set_aside SET again = 1
                     WHERE sink = ?1 AND (record IS NOT NULL OR to_commit IS NOT NULL)",
                )?
                .execute([sink])?;
        }
        for settled in &asides.settled {
            transaction
                .prepare_cached("DELETE FROM set_aside WHERE number = ?1")?
                .execute([settled])?;
        }
        for refused in &asides.new {
            keep_aside(&transaction, refused)?;
        }
        transaction.commit()?;
        self.log_pages += 2;
        Ok(())
    }
}

fn keep_aside(connection: &Connection, refused: &SetAside) -> rusqlite::Result<()> {
    let (after, to) = refused.readings.unzip();
    connection
        .prepare_cached(
            "INSERT INTO set_aside (sink, at, record, why, after_commit, to_commit)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            refused.sink,
            refused.at.0,
            refused.record,
            refused.why,
            after,
            to
        ])?;
    let dropped = connection
        .prepare_cached(
            "DELETE FROM set_aside WHERE sink = ?1 AND number <=
               (SELECT number FROM set_aside WHERE sink = ?1
                ORDER BY number DESC LIMIT 1 OFFSET ?2)",
        )?
        .execute(params![refused.sink, MOST_SET_ASIDE])?;
    if dropped > 0 {
        tracing::warn!(
            sink = refused.sink,
            "more than {MOST_SET_ASIDE} messages are set aside: the oldest are not kept"
        );
        connection
            .prepare_cached("UPDATE outbox SET dropped = dropped + ?2 WHERE sink = ?1")?
            .execute(params![refused.sink, dropped])?;
    }
    Ok(())
}

fn aside_of(row: &Row<'_>) -> rusqlite::Result<KeptAside> {
    let (after, to): (Option<CommitNumber>, Option<CommitNumber>) = (row.get(4)?, row.get(5)?);
    Ok(KeptAside {
        number: row.get(0)?,
        at: Micros(row.get(1)?),
        record: row.get(2)?,
        readings: after.zip(to),
        why: row.get(3)?,
        again: row.get(6)?,
    })
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
    pub fn set_aside(
        &self,
        sink: &str,
        newest: u64,
    ) -> Result<(AsideCounts, Vec<KeptAside>), ReadError> {
        let moment = self.moment()?;
        let sql = "SELECT count(*), (SELECT coalesce(sum(dropped), 0) FROM outbox WHERE sink = ?1)
                   FROM set_aside WHERE sink = ?1";
        let counts = moment.prepare_cached(sql)?.query_row([sink], |row| {
            Ok(AsideCounts {
                kept: row.get(0)?,
                dropped: row.get(1)?,
            })
        })?;
        let mut statement = moment.prepare_cached(
            "SELECT number, at, record, why, after_commit, to_commit, again FROM set_aside
             WHERE sink = ?1 ORDER BY number DESC LIMIT ?2",
        )?;
        let rows = statement.query_map(params![sink, newest], aside_of)?;
        Ok((counts, rows.collect::<Result<_, _>>()?))
    }

    /// What a sink has set aside and somebody wants to be sent again, in the order in which it was refused: records,
    /// or else readings.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn asked_again(
        &self,
        sink: &str,
        records: bool,
        most: u64,
    ) -> Result<Vec<KeptAside>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT number, at, record, why, after_commit, to_commit, again FROM set_aside
             WHERE sink = ?1 AND again = 1 AND (record IS NOT NULL) = ?2 ORDER BY number LIMIT ?3",
        )?;
        let rows = statement.query_map(params![sink, records, most], aside_of)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// What retention has forgotten of the readings after a commit and up to another; `None` where it is nothing.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn forgotten_readings(
        &self,
        after: CommitNumber,
        to: CommitNumber,
    ) -> Result<Option<ForgottenReadings>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT coalesce(sum(readings), 0), coalesce(min(first_at), 0), coalesce(max(last_at), 0)
             FROM stretch WHERE forgotten = 1 AND last_commit > ?1 AND first_commit <= ?2",
        )?;
        let found = statement.query_row(params![after, to], |row| {
            Ok(ForgottenReadings {
                readings: row.get(0)?,
                first: Micros(row.get(1)?),
                last: Micros(row.get(2)?),
            })
        })?;
        Ok((found.readings > 0).then_some(found))
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
}
