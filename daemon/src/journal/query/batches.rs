//! Batches.

use rusqlite::{Row, params_from_iter};

use super::super::fault::ReadError;
use super::super::number::RecordNumber;
use super::super::reader::Reader;
use super::passes::{PassQuery, VerdictCount, body};
use super::{Where, odd};
use crate::record::{BatchClosed, BatchNoted, BatchOpened, Record};
use crate::time::Micros;

/// A batch as it is known now.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptBatch {
    /// How it was opened.
    pub batch: BatchOpened,
    /// When.
    pub opened: Micros,
    /// How and when it was closed, if it was.
    pub closed: Option<(Micros, BatchClosed)>,
    /// What was noted, and when.
    pub notes: Vec<(Micros, BatchNoted)>,
    /// How many of its passes have which verdict.
    pub counts: Vec<VerdictCount>,
}

/// Which batches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Batches {
    /// Those that are open.
    Open,
    /// All.
    All,
    /// This one.
    One(u64),
    /// The newest so many.
    Newest(u64),
    /// Those that were open at some time between two, the second excluded.
    Between(Micros, Micros),
}

impl Reader {
    /// Batches by their number, [`Batches::Newest`] the other way round.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn batches(&self, which: Batches) -> Result<Vec<KeptBatch>, ReadError> {
        let mut condition = Where::default();
        let mut order = "batch.number".to_owned();
        match which {
            Batches::Open => condition.sql.push("batch.closed IS NULL".to_owned()),
            Batches::All => {}
            Batches::One(number) => condition.number("batch.number = ?", number),
            Batches::Newest(most) => order = format!("batch.number DESC LIMIT {most}"),
            Batches::Between(from, before) => {
                condition.and("batch.opened < ?", before.0);
                condition.and("(batch.closed IS NULL OR closed.at >= ?)", from.0);
            }
        }
        let sql = format!(
            "SELECT opened.number, opened.at, opened.body, closed.number, closed.at, closed.body
             FROM batch
             JOIN record AS opened ON opened.number = batch.record
             LEFT JOIN record AS closed ON closed.number = batch.closed
             WHERE {} ORDER BY {order}",
            condition.written()
        );
        let moment = self.moment()?;
        let mut statement = moment.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(&condition.values))?;
        let mut batches = Vec::new();
        while let Some(row) = rows.next()? {
            let mut batch = kept_batch(row)?;
            batch.notes = self.notes(batch.batch.batch)?;
            batch.counts = self.verdict_counts(&PassQuery {
                batch: Some(batch.batch.batch),
                ..PassQuery::default()
            })?;
            batches.push(batch);
        }
        Ok(batches)
    }

    /// One batch.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn batch(&self, number: u64) -> Result<Option<KeptBatch>, ReadError> {
        Ok(self.batches(Batches::One(number))?.pop())
    }

    fn notes(&self, batch: u64) -> Result<Vec<(Micros, BatchNoted)>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT record.number, record.at, record.body
             FROM batch_note JOIN record ON record.number = batch_note.record
             WHERE batch_note.batch = ?1 ORDER BY record.number",
        )?;
        let mut rows = statement.query([batch])?;
        let mut notes = Vec::new();
        while let Some(row) = rows.next()? {
            let number: RecordNumber = row.get(0)?;
            let Record::BatchNoted(note) = body(row, 2, number)? else {
                return Err(odd(number));
            };
            notes.push((Micros(row.get(1)?), note));
        }
        Ok(notes)
    }
}

fn kept_batch(row: &Row<'_>) -> Result<KeptBatch, ReadError> {
    let number: RecordNumber = row.get(0)?;
    let Record::BatchOpened(batch) = body(row, 2, number)? else {
        return Err(odd(number));
    };
    let closed = match row.get::<_, Option<RecordNumber>>(3)? {
        None => None,
        Some(number) => {
            let Record::BatchClosed(closed) = body(row, 5, number)? else {
                return Err(odd(number));
            };
            Some((Micros(row.get(4)?), closed))
        }
    };
    Ok(KeptBatch {
        batch,
        opened: Micros(row.get(1)?),
        closed,
        notes: Vec::new(),
        counts: Vec::new(),
    })
}
