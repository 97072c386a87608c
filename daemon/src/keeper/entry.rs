//! What is to be committed in one go.

use std::sync::Arc;

use inkdwell_cure::live::FloorEvent;

use crate::intake::{MessageMark, Receipt, SourceId, Value};
use crate::record::Record;
use crate::time::Micros;

/// The source of ticks, which stand among the readings of an entry; their value is how far the wall clock was
/// ahead of the steady time, in microseconds.
pub const TICKS: SourceId = SourceId(u16::MAX);

/// Their channel.
pub const TICK: &str = "tick";

/// A reading as it is journaled.
#[derive(Debug, Clone, PartialEq)]
pub struct Taking {
    /// Its source's number in the shop file.
    pub source: SourceId,
    /// Its channel.
    pub channel: Arc<str>,
    /// When it was taken.
    pub at: Micros,
    /// What it reads.
    pub value: Value,
    /// Whether it went into the engine; not where it came too late.
    pub fed: bool,
}

/// What is to be committed in one go.
#[derive(Debug, Default)]
pub struct Entry {
    /// Readings, in the order in which they were fed.
    pub readings: Vec<Taking>,
    /// What was found and decided.
    pub records: Vec<(Micros, Record)>,
    /// Marks of messages whose readings these are.
    pub marks: Vec<(SourceId, MessageMark)>,
    /// To be called after the commit.
    pub receipts: Vec<Receipt>,
    /// Passes that have begun, for those who watch.
    pub began: Vec<FloorEvent>,
}

impl Entry {
    /// Whether there is nothing to commit or to acknowledge.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
            && self.records.is_empty()
            && self.marks.is_empty()
            && self.receipts.is_empty()
            && self.began.is_empty()
    }
}
