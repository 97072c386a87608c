//! What the records say, as typed answers.

mod alarms;
mod as_of;
mod batches;
mod holds;
mod passes;
mod recipes;
mod shop;

pub use batches::{Batches, KeptBatch};
pub use holds::{Holds, KeptHold};
pub use passes::{KeptPass, PassQuery, VerdictCount};
pub use recipes::{KeptCalibration, KeptEvent, KeptRecipe};
pub use shop::KeptShop;

use rusqlite::types::Value;

/// A condition that grows.
#[derive(Debug, Default)]
struct Where {
    sql: Vec<String>,
    values: Vec<Value>,
}

impl Where {
    fn and(&mut self, sql: &str, value: impl Into<Value>) {
        self.sql.push(sql.to_owned());
        self.values.push(value.into());
    }

    fn number(&mut self, sql: &str, number: u64) {
        self.and(sql, i64::try_from(number).unwrap_or(i64::MAX));
    }

    fn written(&self) -> String {
        match self.sql.is_empty() {
            true => "1".to_owned(),
            false => self.sql.join(" AND "),
        }
    }
}

/// The record that a query expected is of another kind.
fn odd(number: super::number::RecordNumber) -> super::fault::ReadError {
    use serde::de::Error;
    super::fault::ReadError::Record {
        number: number.0,
        error: serde_json::Error::custom("it is of another kind than the tables say"),
    }
}
