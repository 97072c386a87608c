//! Records of evidence, as they were written.

use std::collections::VecDeque;

use rusqlite::{Row, params, params_from_iter, types::Value};

use super::fault::ReadError;
use super::number::RecordNumber;
use super::reader::Reader;
use crate::record::Record;
use crate::time::Micros;

/// So many records are fetched at a time.
const AT_A_TIME: usize = 256;

/// A record of evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptRecord {
    /// Its number.
    pub number: RecordNumber,
    /// When it was made.
    pub at: Micros,
    /// What it says.
    pub record: Record,
}

/// From a row that begins with number, at, body.
pub(super) fn record_of(row: &Row<'_>) -> Result<KeptRecord, ReadError> {
    let number: RecordNumber = row.get(0)?;
    let body = row.get_ref(2)?.as_str().map_err(rusqlite::Error::from)?;
    let record = serde_json::from_str(body).map_err(|error| ReadError::Record {
        number: number.0,
        error,
    })?;
    Ok(KeptRecord {
        number,
        at: Micros(row.get(1)?),
        record,
    })
}

/// Which records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordQuery {
    /// Made then or later, …
    pub from: Micros,
    /// … but before this.
    pub before: Micros,
    /// Of these kinds ([`Record::kind`]); of all, where none is named.
    pub kinds: Vec<&'static str>,
}

impl Default for RecordQuery {
    fn default() -> RecordQuery {
        RecordQuery {
            from: Micros(i64::MIN),
            before: Micros(i64::MAX),
            kinds: Vec::new(),
        }
    }
}

/// Records in the order of their times; some are fetched at a time.
#[derive(Debug)]
pub struct Records<'a> {
    reader: &'a Reader,
    query: RecordQuery,
    /// The one that was fetched last.
    last: (Micros, RecordNumber),
    ended: bool,
    fetched: VecDeque<KeptRecord>,
}

impl Reader {
    /// Records, in the order of their times.
    pub fn records(&self, query: RecordQuery) -> Records<'_> {
        Records {
            reader: self,
            last: (query.from, RecordNumber(0)),
            query,
            ended: false,
            fetched: VecDeque::new(),
        }
    }

    /// The newest records, newest first.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn newest_records(&self, most: u64) -> Result<Vec<KeptRecord>, ReadError> {
        let mut records = self
            .connection
            .prepare_cached("SELECT number, at, body FROM record ORDER BY number DESC LIMIT ?1")?;
        let mut rows = records.query(params![most])?;
        let mut newest = Vec::new();
        while let Some(row) = rows.next()? {
            newest.push(record_of(row)?);
        }
        Ok(newest)
    }

    /// One record.
    ///
    /// # Errors
    /// When the journal cannot be read, or has no such record.
    pub fn record(&self, number: RecordNumber) -> Result<KeptRecord, ReadError> {
        let mut one = self
            .connection
            .prepare_cached("SELECT number, at, body FROM record WHERE number = ?1")?;
        let mut rows = one.query([number])?;
        match rows.next()? {
            Some(row) => record_of(row),
            None => Err(ReadError::Storage(rusqlite::Error::QueryReturnedNoRows)),
        }
    }
}

impl Records<'_> {
    fn fetch(&mut self) -> Result<(), ReadError> {
        // One kind has an index of its own; of several, sorting them for each fetch would take longer
        // than going over all.
        let kinds = &self.query.kinds;
        let kind = match kinds.len() {
            0 => String::new(),
            1 => "AND kind = ?".to_owned(),
            _ => format!("AND +kind IN ({})", vec!["?"; kinds.len()].join(", ")),
        };
        let sql = format!(
            "SELECT number, at, body FROM record
             WHERE (at, number) > (?, ?) AND at < ? {kind} ORDER BY at, number LIMIT {AT_A_TIME}"
        );
        let (at, number) = self.last;
        let number = i64::try_from(number.0).unwrap_or(i64::MAX);
        let numbers = [at.0, number, self.query.before.0].map(Value::Integer);
        let kinds = kinds.iter().map(|kind| Value::Text((*kind).to_owned()));
        let mut records = self.reader.connection.prepare_cached(&sql)?;
        let mut rows = records.query(params_from_iter(numbers.into_iter().chain(kinds)))?;
        while let Some(row) = rows.next()? {
            self.fetched.push_back(record_of(row)?);
        }
        match self.fetched.back() {
            Some(last) if self.fetched.len() == AT_A_TIME => {
                self.last = (last.at, last.number);
            }
            _ => self.ended = true,
        }
        Ok(())
    }
}

impl Iterator for Records<'_> {
    type Item = Result<KeptRecord, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.fetched.is_empty()
            && !self.ended
            && let Err(error) = self.fetch()
        {
            self.ended = true;
            self.fetched.clear();
            return Some(Err(error));
        }
        self.fetched.pop_front().map(Ok)
    }
}
