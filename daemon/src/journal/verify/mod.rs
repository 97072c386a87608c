//! Whether the journal is as it was written.

mod readings;
mod records;
mod tables;

use std::fmt;

use rusqlite::ErrorCode;

use super::chain::Head;
use super::fault::ReadError;
use super::reader::Reader;
use crate::time::Micros;

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Verification {
    /// The last link of the chain of records, as the journal has it.
    pub head: Head,
    /// Records that were gone over.
    pub records: u64,
    /// Stretches of packed readings that were gone over.
    pub stretches: u64,
    /// Readings in them, and those that are not packed yet.
    pub readings: u64,
    /// Readings that were forgotten by age.
    pub forgotten_readings: u64,
    /// What is wrong: the first broken link of each chain.
    pub broken: Vec<Broken>,
}

impl Verification {
    /// Whether nothing is wrong.
    pub fn is_sound(&self) -> bool {
        self.broken.is_empty()
    }
}

/// Something that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Broken {
    /// A record's text, time or hash was changed.
    Changed {
        /// The record.
        record: u64,
        /// The time that stands in it.
        at: Micros,
    },
    /// Records are missing.
    Missing {
        /// The first.
        first: u64,
        /// The last.
        last: u64,
    },
    /// A record was taken out before this one, and the later ones were numbered anew.
    ClosedUp {
        /// The record behind the gap.
        record: u64,
        /// The time that stands in it.
        at: Micros,
    },
    /// A record stands where it does not belong.
    Reordered {
        /// Where.
        record: u64,
        /// The time that stands in it.
        at: Micros,
        /// Where the one stands that belongs there.
        belongs: u64,
    },
    /// A record was added among the others.
    Inserted {
        /// The record.
        record: u64,
        /// The time that stands in it.
        at: Micros,
    },
    /// Records are missing at the end.
    CutOff {
        /// The first.
        first: u64,
        /// The last.
        last: u64,
    },
    /// Records were added behind the end.
    Added {
        /// The first.
        record: u64,
        /// The time that stands in it.
        at: Micros,
    },
    /// The end of the chain is another than the one that stands apart.
    OtherEnd {
        /// The last record.
        record: u64,
    },
    /// The chain is not the one that a head belongs to which somebody wrote down.
    OtherHead {
        /// That head.
        expected: Head,
    },
    /// Packed readings.
    Readings {
        /// The stretch.
        stretch: u64,
        /// Its times.
        from: Micros,
        /// Its times.
        to: Micros,
        /// What is wrong.
        what: &'static str,
    },
    /// Stretches are missing at the end, or were added there.
    StretchEnd {
        /// The last one that is there.
        stretch: u64,
    },
    /// The readings of a commit that are not packed yet.
    Recent {
        /// The commit.
        commit: u64,
    },
    /// A table that is made from the records says something else.
    Table {
        /// The table.
        table: String,
        /// What is wrong.
        what: String,
    },
    /// The file itself is damaged.
    Damaged {
        /// What SQLite says.
        what: String,
    },
}

impl Broken {
    /// The record at which the chain breaks.
    pub fn record(&self) -> Option<u64> {
        match self {
            Broken::Changed { record, .. }
            | Broken::ClosedUp { record, .. }
            | Broken::Reordered { record, .. }
            | Broken::Inserted { record, .. }
            | Broken::Added { record, .. }
            | Broken::OtherEnd { record } => Some(*record),
            Broken::Missing { first, .. } | Broken::CutOff { first, .. } => Some(*first),
            Broken::OtherHead { expected } => Some(expected.number.0),
            _ => None,
        }
    }

    /// A word for what is broken: `records`, `readings`, `tables` or `file`.
    pub fn part(&self) -> &'static str {
        match self {
            Broken::Readings { .. } | Broken::StretchEnd { .. } | Broken::Recent { .. } => {
                "readings"
            }
            Broken::Table { .. } => "tables",
            Broken::Damaged { .. } => "file",
            _ => "records",
        }
    }

    /// The time at which it is.
    pub fn at(&self) -> Option<Micros> {
        match self {
            Broken::Changed { at, .. }
            | Broken::ClosedUp { at, .. }
            | Broken::Reordered { at, .. }
            | Broken::Inserted { at, .. }
            | Broken::Added { at, .. } => Some(*at),
            Broken::Readings { from, .. } => Some(*from),
            _ => None,
        }
    }
}

/// A time in UTC.
struct Utc(Micros);

impl fmt::Display for Utc {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match chrono::DateTime::from_timestamp_micros(self.0.0) {
            Some(time) => write!(formatter, "{}", time.format("%Y-%m-%d %H:%M:%S UTC")),
            None => write!(formatter, "{} us", self.0.0),
        }
    }
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Broken::Changed { record, at } => write!(
                f,
                "record {record} ({}): it was changed after it was written",
                Utc(*at)
            ),
            Broken::Missing { first, last } if first == last => {
                write!(f, "record {first} is missing")
            }
            Broken::Missing { first, last } => {
                write!(f, "records {first} to {last} are missing")
            }
            Broken::ClosedUp { record, at } => write!(
                f,
                "before record {record} ({}) something was taken out, and the rest was numbered anew",
                Utc(*at)
            ),
            Broken::Reordered {
                record,
                at,
                belongs,
            } => write!(
                f,
                "record {record} ({}) stands in a wrong place: the one that belongs here stands as {belongs}",
                Utc(*at)
            ),
            Broken::Inserted { record, at } => write!(
                f,
                "record {record} ({}) was put in among the others afterwards",
                Utc(*at)
            ),
            Broken::CutOff { first, last } if first == last => {
                write!(f, "record {first}, the last one, is missing")
            }
            Broken::CutOff { first, last } => {
                write!(f, "records {first} to {last}, the last ones, are missing")
            }
            Broken::Added { record, at } => {
                write!(f, "record {record} ({}) was added behind the end", Utc(*at))
            }
            Broken::OtherEnd { record } => write!(
                f,
                "record {record}, the last one, is another than the one that the journal ended with"
            ),
            Broken::OtherHead { expected } => write!(
                f,
                "the chain is another than the one that was written down as {expected}"
            ),
            Broken::Readings {
                stretch,
                from,
                to,
                what,
            } => write!(
                f,
                "the readings from {} to {} (stretch {stretch}): {what}",
                Utc(*from),
                Utc(*to)
            ),
            Broken::StretchEnd { stretch } => write!(
                f,
                "packed readings were taken out or added after stretch {stretch}"
            ),
            Broken::Recent { commit } => {
                write!(f, "the readings of commit {commit} cannot be understood")
            }
            Broken::Table { table, what } => write!(
                f,
                "the table {table} says something else than the records: {what}"
            ),
            Broken::Damaged { what } => write!(f, "the file is damaged: {what}"),
        }
    }
}

/// How far it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VerifyProgress {
    /// Done, …
    pub done: u64,
    /// … of so much.
    pub total: u64,
}

/// Counts what is done.
struct Watch<'a> {
    progress: VerifyProgress,
    tell: &'a mut dyn FnMut(VerifyProgress),
}

/// A stretch takes about as long as so many records.
const STRETCH_WEIGHT: u64 = 200;

impl Watch<'_> {
    fn done(&mut self, steps: u64) {
        let before = self.progress.done;
        self.progress.done = (before + steps).min(self.progress.total);
        if before / 1024 != self.progress.done / 1024 {
            (self.tell)(self.progress);
        }
    }
}

impl Reader {
    /// Goes over the file, both chains, and the tables that are made from the records, all as they are at one
    /// moment. `expected` is a head that was once written down: the chain has to contain it.
    ///
    /// # Errors
    /// When the journal cannot be read at all. What is broken in it is no error but the answer.
    pub fn verify(
        &self,
        expected: Option<Head>,
        mut progress: impl FnMut(VerifyProgress),
    ) -> Result<Verification, ReadError> {
        let mut found = Verification::default();
        match self.go_over(expected, &mut progress, &mut found) {
            Err(ReadError::Storage(error))
                if error.sqlite_error_code() == Some(ErrorCode::DatabaseCorrupt) =>
            {
                found.broken.push(Broken::Damaged {
                    what: error.to_string(),
                });
                Ok(found)
            }
            Err(error) => Err(error),
            Ok(()) => Ok(found),
        }
    }

    fn go_over(
        &self,
        expected: Option<Head>,
        tell: &mut dyn FnMut(VerifyProgress),
        found: &mut Verification,
    ) -> Result<(), ReadError> {
        let moment = self.moment()?;
        let count = |sql: &str| moment.query_row(sql, [], |row| row.get::<_, u64>(0));
        let records = count("SELECT count(*) FROM record")?;
        let stretches = count("SELECT count(*) FROM stretch")?;
        let mut watch = Watch {
            progress: VerifyProgress {
                done: 0,
                total: 3 * records + STRETCH_WEIGHT * stretches,
            },
            tell,
        };
        found.head = self.head()?;
        let sound: String = moment.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
        if sound != "ok" {
            found.broken.push(Broken::Damaged { what: sound });
        }
        let broken = records::go_over(&moment, expected, found, &mut watch)?;
        let chain_is_sound = broken.is_none();
        found.broken.extend(broken);
        let broken = readings::go_over(&moment, found, &mut watch)?;
        found.broken.extend(broken);
        // Where a record was changed, the tables differ as a consequence.
        if chain_is_sound {
            let broken = tables::go_over(&moment, &mut watch)?;
            found.broken.extend(broken);
        }
        Ok(())
    }
}
