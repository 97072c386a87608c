//! Holds.

use rusqlite::{Row, params_from_iter};

use super::super::fault::ReadError;
use super::super::number::RecordNumber;
use super::super::reader::Reader;
use super::passes::body;
use super::{Where, odd};
use crate::record::{HoldOpened, HoldSettled, Record};
use crate::time::Micros;

/// A hold as it is known now.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptHold {
    /// How it was opened.
    pub hold: HoldOpened,
    /// When.
    pub opened: Micros,
    /// How and when it was settled, if it was.
    pub settled: Option<(Micros, HoldSettled)>,
    /// Its passes, in the order in which they joined.
    pub passes: Vec<u64>,
}

/// Which holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// Those that nobody has settled.
    Open,
    /// Those that somebody has.
    Settled,
    /// All.
    All,
    /// This one.
    One(u64),
    /// Those of this batch.
    OfBatch(u64),
    /// Those that this pass is in.
    OfPass(u64),
    /// Those that were opened between two times, the second excluded.
    Opened(Micros, Micros),
}

impl Reader {
    /// Holds by their number.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn holds(&self, which: Holds) -> Result<Vec<KeptHold>, ReadError> {
        let mut condition = Where::default();
        match which {
            Holds::Open => condition.sql.push("hold.settled IS NULL".to_owned()),
            Holds::Settled => condition.sql.push("hold.settled IS NOT NULL".to_owned()),
            Holds::All => {}
            Holds::One(number) => condition.number("hold.number = ?", number),
            Holds::OfBatch(batch) => condition.number("hold.batch = ?", batch),
            Holds::OfPass(pass) => condition.number(
                "hold.number IN (SELECT hold FROM hold_member WHERE pass = ?)",
                pass,
            ),
            Holds::Opened(from, before) => {
                condition.and("hold.opened >= ?", from.0);
                condition.and("hold.opened < ?", before.0);
            }
        }
        let sql = format!(
            "SELECT opened.number, opened.at, opened.body, settled.number, settled.at, settled.body
             FROM hold
             JOIN record AS opened ON opened.number = hold.record
             LEFT JOIN record AS settled ON settled.number = hold.settled
             WHERE {} ORDER BY hold.number",
            condition.written()
        );
        let moment = self.moment()?;
        let mut statement = moment.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(&condition.values))?;
        let mut holds = Vec::new();
        while let Some(row) = rows.next()? {
            let mut hold = kept_hold(row)?;
            hold.passes = self.members(hold.hold.hold)?;
            holds.push(hold);
        }
        Ok(holds)
    }

    /// One hold.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn hold(&self, number: u64) -> Result<Option<KeptHold>, ReadError> {
        Ok(self.holds(Holds::One(number))?.pop())
    }

    fn members(&self, hold: u64) -> Result<Vec<u64>, ReadError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT pass FROM hold_member WHERE hold = ?1 ORDER BY record")?;
        let rows = statement.query_map([hold], |row| row.get(0))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

fn kept_hold(row: &Row<'_>) -> Result<KeptHold, ReadError> {
    let number: RecordNumber = row.get(0)?;
    let Record::HoldOpened(hold) = body(row, 2, number)? else {
        return Err(odd(number));
    };
    let settled = match row.get::<_, Option<RecordNumber>>(3)? {
        None => None,
        Some(number) => {
            let Record::HoldSettled(settled) = body(row, 5, number)? else {
                return Err(odd(number));
            };
            Some((Micros(row.get(4)?), settled))
        }
    };
    Ok(KeptHold {
        hold,
        opened: Micros(row.get(1)?),
        settled,
        passes: Vec::new(),
    })
}
