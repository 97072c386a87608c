//! What was committed after a checkpoint, as it was committed: what the engine catches up with after a
//! crash.

use std::collections::VecDeque;

use rusqlite::params;

use super::fault::ReadError;
use super::number::CommitNumber;
use super::reader::Reader;
use super::reading::{JournaledReading, Written};
use super::records::{KeptRecord, record_of};

/// So many commits are fetched at a time.
const AT_A_TIME: u64 = 64;

/// A commit as it was.
#[derive(Debug, Clone, PartialEq)]
pub struct ReplayedCommit {
    /// Its number.
    pub number: CommitNumber,
    /// Its readings, in the order in which the engine was fed.
    pub readings: Vec<JournaledReading>,
    /// Its records, in their order.
    pub records: Vec<KeptRecord>,
}

/// Commits in their order, those left out that have neither readings nor records.
#[derive(Debug)]
pub struct Replay<'a> {
    reader: &'a Reader,
    after: CommitNumber,
    ended: bool,
    fetched: VecDeque<ReplayedCommit>,
}

impl Reader {
    /// Everything that was committed after a commit. Readings are there for all commits after the last
    /// checkpoint; those of earlier ones only as far back as [`Reader::replayable_after`].
    pub fn replay_after(&self, commit: CommitNumber) -> Replay<'_> {
        Replay {
            reader: self,
            after: commit,
            ended: false,
            fetched: VecDeque::new(),
        }
    }

    /// The earliest commit after which everything can be replayed; it is no later than the last checkpoint.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn replayable_after(&self) -> Result<CommitNumber, ReadError> {
        let sql = "SELECT coalesce(max(last_commit), 0) FROM stretch";
        Ok(self.connection.query_row(sql, [], |row| row.get(0))?)
    }
}

impl Replay<'_> {
    fn fetch(&mut self) -> Result<(), ReadError> {
        let moment = self.reader.moment()?;
        let mut numbers = moment.prepare_cached(
            "SELECT * FROM (SELECT number FROM recent WHERE number > ?1 ORDER BY number LIMIT ?2)
             UNION
             SELECT * FROM (SELECT DISTINCT commit_number FROM record WHERE commit_number > ?1
                            ORDER BY commit_number LIMIT ?2)
             ORDER BY 1 LIMIT ?2",
        )?;
        let rows = numbers.query_map(params![self.after, AT_A_TIME], |row| row.get(0))?;
        for number in rows {
            let number = number?;
            self.fetched.push_back(ReplayedCommit {
                number,
                readings: Vec::new(),
                records: Vec::new(),
            });
        }
        let Some(last) = self.fetched.back() else {
            self.ended = true;
            return Ok(());
        };
        let (from, to) = (self.after, last.number);
        self.after = to;
        self.fetch_readings(from, to)?;
        self.fetch_records(from, to)
    }

    fn fetch_readings(&mut self, from: CommitNumber, to: CommitNumber) -> Result<(), ReadError> {
        let reader = self.reader;
        let mut commits = reader.connection.prepare_cached(
            "SELECT number, bytes FROM recent WHERE number > ?1 AND number <= ?2 ORDER BY number",
        )?;
        let mut rows = commits.query(params![from, to])?;
        let mut into = self.fetched.iter_mut();
        while let Some(row) = rows.next()? {
            let number: CommitNumber = row.get(0)?;
            let bytes = row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?;
            if let Some(commit) = into.find(|commit| commit.number == number) {
                commit.readings = Written::new(bytes).collect::<Result<_, _>>()?;
            }
        }
        Ok(())
    }

    fn fetch_records(&mut self, from: CommitNumber, to: CommitNumber) -> Result<(), ReadError> {
        let reader = self.reader;
        let mut records = reader.connection.prepare_cached(
            "SELECT number, at, body, commit_number FROM record
             WHERE commit_number > ?1 AND commit_number <= ?2 ORDER BY number",
        )?;
        let mut rows = records.query(params![from, to])?;
        while let Some(row) = rows.next()? {
            let commit: CommitNumber = row.get(3)?;
            let record = record_of(row)?;
            let place = self.fetched.binary_search_by_key(&commit, |own| own.number);
            if let Ok(place) = place {
                self.fetched[place].records.push(record);
            }
        }
        Ok(())
    }
}

impl Iterator for Replay<'_> {
    type Item = Result<ReplayedCommit, ReadError>;

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
