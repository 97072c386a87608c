//! Passes.

use rusqlite::{Row, params_from_iter};

use super::super::fault::ReadError;
use super::super::number::RecordNumber;
use super::super::reader::Reader;
use super::{Where, odd};
use crate::record::{PassJudged, Record};
use crate::time::Micros;

/// A pass as it is known now.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptPass {
    /// What was recorded, with the batch, print and judgement that it was given later, if it was.
    pub pass: PassJudged,
    /// The record.
    pub record: RecordNumber,
    /// The record that gave it a batch later.
    pub assigned: Option<RecordNumber>,
    /// Whether the readings of its whole time are still there.
    pub readings_kept: bool,
}

/// Which passes; all that is named has to hold.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PassQuery {
    /// Begun then or later.
    pub from: Option<Micros>,
    /// Begun before this.
    pub before: Option<Micros>,
    /// At this station.
    pub station: Option<String>,
    /// Of this batch.
    pub batch: Option<u64>,
    /// Of this verdict.
    pub verdict: Option<String>,
    /// Those without a batch.
    pub without_batch: bool,
    /// The newest so many, newest first; else all, in the order in which they began.
    pub newest: Option<u64>,
}

/// So many passes have a verdict.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct VerdictCount {
    /// The verdict; absent where no batch was open.
    pub verdict: Option<String>,
    /// The harm, where it is `overheated`.
    pub harm: Option<String>,
    /// How many.
    pub passes: u64,
}

impl PassQuery {
    pub(super) fn condition(&self) -> Where {
        let mut condition = Where::default();
        if let Some(from) = self.from {
            condition.and("pass.start_at >= ?", from.0);
        }
        if let Some(before) = self.before {
            condition.and("pass.start_at < ?", before.0);
        }
        if let Some(station) = &self.station {
            condition.and("pass.station = ?", station.clone());
        }
        if let Some(batch) = self.batch {
            condition.number("pass.batch = ?", batch);
        }
        if let Some(verdict) = &self.verdict {
            condition.and("pass.verdict = ?", verdict.clone());
        }
        if self.without_batch {
            condition.sql.push("pass.batch IS NULL".to_owned());
        }
        condition
    }
}

impl Reader {
    /// Passes.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn passes(&self, query: &PassQuery) -> Result<Vec<KeptPass>, ReadError> {
        let condition = query.condition();
        let end = match query.newest {
            None => "ORDER BY pass.start_at, pass.number".to_owned(),
            Some(most) => format!("ORDER BY pass.start_at DESC, pass.number DESC LIMIT {most}"),
        };
        self.passes_where(&condition, &end)
    }

    /// One pass.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn pass(&self, number: u64) -> Result<Option<KeptPass>, ReadError> {
        let mut condition = Where::default();
        condition.number("pass.number = ?", number);
        Ok(self.passes_where(&condition, "")?.pop())
    }

    fn passes_where(&self, condition: &Where, end: &str) -> Result<Vec<KeptPass>, ReadError> {
        let sql = format!(
            "SELECT judged.number, judged.body, assigned.number, assigned.body
             FROM pass
             JOIN record AS judged ON judged.number = pass.record
             LEFT JOIN record AS assigned ON assigned.number = pass.assigned
             WHERE {} {end}",
            condition.written()
        );
        let moment = self.moment()?;
        let forgotten_to = self.readings_forgotten_to()?;
        let mut statement = moment.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(&condition.values))?;
        let mut passes = Vec::new();
        while let Some(row) = rows.next()? {
            passes.push(kept_pass(row, forgotten_to)?);
        }
        Ok(passes)
    }

    /// How many passes have which verdict; `newest` counts for nothing here.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn verdict_counts(&self, query: &PassQuery) -> Result<Vec<VerdictCount>, ReadError> {
        let condition = query.condition();
        let sql = format!(
            "SELECT verdict, harm, count(*) FROM pass WHERE {} GROUP BY verdict, harm
             ORDER BY verdict, harm",
            condition.written()
        );
        let mut counts = self.connection.prepare_cached(&sql)?;
        let rows = counts.query_map(params_from_iter(&condition.values), |row| {
            Ok(VerdictCount {
                verdict: row.get(0)?,
                harm: row.get(1)?,
                passes: row.get(2)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

fn kept_pass(row: &Row<'_>, forgotten_to: Option<Micros>) -> Result<KeptPass, ReadError> {
    let record: RecordNumber = row.get(0)?;
    let mut pass = judged(row, 1, record)?;
    let assigned: Option<RecordNumber> = row.get(2)?;
    if let Some(number) = assigned {
        let Record::PassAssigned(later) = body(row, 3, number)? else {
            return Err(odd(number));
        };
        pass.batch = Some(later.batch);
        pass.print = Some(later.print);
        pass.judged = Some(later.judged);
    }
    let readings_kept = forgotten_to.is_none_or(|to| pass.start > to);
    Ok(KeptPass {
        pass,
        record,
        assigned,
        readings_kept,
    })
}

/// A pass from a record's body. There are far more of these than of all other records: what begins as a pass does is
/// read as one straight away, and not gone over first to find out what it is.
pub(super) fn judged(
    row: &Row<'_>,
    column: usize,
    number: RecordNumber,
) -> Result<PassJudged, ReadError> {
    const LEAD: &str = "{\"kind\":\"pass-judged\",";
    let text = row
        .get_ref(column)?
        .as_str()
        .map_err(rusqlite::Error::from)?;
    if text.starts_with(LEAD) {
        return serde_json::from_str(text).map_err(|error| ReadError::Record {
            number: number.0,
            error,
        });
    }
    match body(row, column, number)? {
        Record::PassJudged(pass) => Ok(pass),
        _ => Err(odd(number)),
    }
}

/// A record's body from a column.
pub(super) fn body(
    row: &Row<'_>,
    column: usize,
    number: RecordNumber,
) -> Result<Record, ReadError> {
    let text = row
        .get_ref(column)?
        .as_str()
        .map_err(rusqlite::Error::from)?;
    serde_json::from_str(text).map_err(|error| ReadError::Record {
        number: number.0,
        error,
    })
}
