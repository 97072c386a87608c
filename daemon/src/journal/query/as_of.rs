//! What the records said at a head of the chain: a report that was made then is held against the journal later.
//!
//! The tables that are made from the records tell how things are now. Here every record after the head is passed
//! over: a hold that was settled since is open, a pass that was given a batch since has none.

use rusqlite::{Row, params, params_from_iter};

use super::super::fault::ReadError;
use super::super::number::RecordNumber;
use super::super::reader::Reader;
use super::passes::{PassQuery, body, judged};
use super::{KeptBatch, KeptHold, KeptPass, Where, odd};
use crate::record::Record;
use crate::time::Micros;

/// So many passes are fetched at a time.
const AT_A_TIME: usize = 1000;

impl Reader {
    /// Hands out passes in the order in which they began, some at a time, as they were known at a record; `newest`
    /// counts for nothing here.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn each_pass_as_of(
        &self,
        query: &PassQuery,
        as_of: RecordNumber,
        mut each: impl FnMut(KeptPass),
    ) -> Result<(), ReadError> {
        let forgotten_to = self.readings_forgotten_to()?;
        let mut after: Option<(i64, u64)> = None;
        loop {
            let mut condition = query.condition();
            condition.number("pass.record <= ?", as_of.0);
            if query.without_batch {
                // One that was given a batch later had none then.
                condition.sql.retain(|own| own != "pass.batch IS NULL");
                condition.number("(pass.batch IS NULL OR pass.assigned > ?)", as_of.0);
            }
            if let Some((start, number)) = after {
                condition.after(start, number);
            }
            let sql = format!(
                "SELECT pass.start_at, pass.number, judged.number, judged.body, assigned.number,
                        assigned.body
                 FROM pass
                 JOIN record AS judged ON judged.number = pass.record
                 LEFT JOIN record AS assigned ON assigned.number = pass.assigned
                 WHERE {} ORDER BY pass.start_at, pass.number LIMIT {AT_A_TIME}",
                condition.written()
            );
            let mut statement = self.connection.prepare_cached(&sql)?;
            let mut rows = statement.query(params_from_iter(&condition.values))?;
            let mut fetched = 0;
            while let Some(row) = rows.next()? {
                fetched += 1;
                after = Some((row.get(0)?, row.get(1)?));
                if let Some(pass) = pass_as_of(row, as_of, forgotten_to, query)? {
                    each(pass);
                }
            }
            if fetched < AT_A_TIME {
                return Ok(());
            }
        }
    }

    /// The batches that passes between two times belong to, the second excluded, each with how many these are, as
    /// they were known at a record.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn batches_of_passes(
        &self,
        from: Micros,
        before: Micros,
        station: Option<&str>,
        as_of: RecordNumber,
    ) -> Result<Vec<(u64, u64)>, ReadError> {
        // The plus keeps to the index by time: few passes of many are wanted.
        let mut batches = self.connection.prepare_cached(
            "SELECT batch, count(*) FROM pass
             WHERE start_at >= ?1 AND start_at < ?2 AND +batch IS NOT NULL
               AND record <= ?3 AND (assigned IS NULL OR assigned <= ?3)
               AND (?4 IS NULL OR +station = ?4)
             GROUP BY +batch ORDER BY 1",
        )?;
        let rows = batches.query_map(params![from.0, before.0, as_of, station], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// A batch as it was known at a record, without counts; `None` where it was not opened by then.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn batch_as_of(
        &self,
        number: u64,
        as_of: RecordNumber,
    ) -> Result<Option<KeptBatch>, ReadError> {
        let Some(mut kept) = self.batch(number)? else {
            return Ok(None);
        };
        let mut records = self
            .connection
            .prepare_cached("SELECT record, closed FROM batch WHERE number = ?1")?;
        let (opened, closed): (RecordNumber, Option<RecordNumber>) =
            records.query_row(params![number], |row| Ok((row.get(0)?, row.get(1)?)))?;
        if opened > as_of {
            return Ok(None);
        }
        if closed.is_some_and(|closed| closed > as_of) {
            kept.closed = None;
        }
        let mut notes = self
            .connection
            .prepare_cached("SELECT count(*) FROM batch_note WHERE batch = ?1 AND record <= ?2")?;
        let known: u64 = notes.query_row(params![number, as_of], |row| row.get(0))?;
        // They are in the order in which they were written.
        kept.notes
            .truncate(usize::try_from(known).unwrap_or(usize::MAX));
        kept.counts.clear();
        Ok(Some(kept))
    }

    /// The numbers of the batches that were opened, or closed, between two times, the second excluded.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn batches_touched(&self, from: Micros, before: Micros) -> Result<Vec<u64>, ReadError> {
        let mut touched = self.connection.prepare_cached(
            "SELECT batch.number FROM batch LEFT JOIN record ON record.number = batch.closed
             WHERE (batch.opened >= ?1 AND batch.opened < ?2)
                OR (record.at >= ?1 AND record.at < ?2)
             ORDER BY batch.number",
        )?;
        let rows = touched.query_map(params![from.0, before.0], |row| row.get(0))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// The holds of a batch as they were known at a record.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn holds_as_of(&self, batch: u64, as_of: RecordNumber) -> Result<Vec<KeptHold>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT opened.number, opened.at, opened.body, settled.number, settled.at, settled.body
             FROM hold
             JOIN record AS opened ON opened.number = hold.record
             LEFT JOIN record AS settled ON settled.number = hold.settled
             WHERE hold.batch = ?1 AND hold.record <= ?2 ORDER BY hold.number",
        )?;
        let mut rows = statement.query(params![batch, as_of])?;
        let mut holds = Vec::new();
        while let Some(row) = rows.next()? {
            holds.push(self.hold_as_of(row, as_of)?);
        }
        Ok(holds)
    }

    fn hold_as_of(&self, row: &Row<'_>, as_of: RecordNumber) -> Result<KeptHold, ReadError> {
        let number: RecordNumber = row.get(0)?;
        let Record::HoldOpened(hold) = body(row, 2, number)? else {
            return Err(odd(number));
        };
        let settled = match row.get::<_, Option<RecordNumber>>(3)? {
            Some(number) if number <= as_of => {
                let Record::HoldSettled(settled) = body(row, 5, number)? else {
                    return Err(odd(number));
                };
                Some((Micros(row.get(4)?), settled))
            }
            _ => None,
        };
        let mut members = self.connection.prepare_cached(
            "SELECT pass FROM hold_member WHERE hold = ?1 AND record <= ?2 ORDER BY record",
        )?;
        let passes = members.query_map(params![hold.hold, as_of], |row| row.get(0))?;
        Ok(KeptHold {
            opened: Micros(row.get(1)?),
            settled,
            passes: passes.collect::<Result<_, _>>()?,
            hold,
        })
    }
}

/// A pass with what was said of it by then; `None` where the batch that the query names was given to it later.
fn pass_as_of(
    row: &Row<'_>,
    as_of: RecordNumber,
    forgotten_to: Option<Micros>,
    query: &PassQuery,
) -> Result<Option<KeptPass>, ReadError> {
    let record: RecordNumber = row.get(2)?;
    let mut pass = judged(row, 3, record)?;
    let assigned = match row.get::<_, Option<RecordNumber>>(4)? {
        Some(number) if number <= as_of => {
            let Record::PassAssigned(later) = body(row, 5, number)? else {
                return Err(odd(number));
            };
            pass.batch = Some(later.batch);
            pass.print = Some(later.print);
            pass.judged = Some(later.judged);
            Some(number)
        }
        _ => None,
    };
    if query.batch.is_some() && pass.batch != query.batch {
        return Ok(None);
    }
    let readings_kept = forgotten_to.is_none_or(|to| pass.start > to);
    Ok(Some(KeptPass {
        pass,
        record,
        assigned,
        readings_kept,
    }))
}

impl Where {
    fn after(&mut self, start: i64, number: u64) {
        self.and("(pass.start_at, pass.number) > (?, ?)", start);
        let number = i64::try_from(number).unwrap_or(i64::MAX);
        self.values.push(number.into());
    }
}
