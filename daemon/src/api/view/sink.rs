//! Ways out.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::Moment;

/// A way out's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SinkState {
    /// Nothing was sent yet.
    Starting,
    /// What was sent last was taken.
    Open,
    /// The other side takes nothing.
    Blocked,
}

/// Something that was refused for good.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AsideView {
    /// When.
    pub at: Moment,
    /// The record's number; null for readings.
    pub record: Option<u64>,
    /// Whether somebody has asked for it to be sent again, and it was not yet.
    pub again: bool,
    /// Why.
    pub why: String,
}

/// A way out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SinkView {
    /// Its id.
    pub sink: String,
    /// `mqtt`, `influxdb`, `webhook` or `command`.
    pub kind: String,
    /// Its state.
    pub state: SinkState,
    /// Why nothing is taken, and what to do.
    pub why: Option<String>,
    /// Records that are committed and not settled, also those that this sink will pass over.
    pub waiting: u64,
    /// Messages and points that were taken since the start.
    pub sent: u64,
    /// When something was taken last; null where nothing was since the start.
    pub last_taken: Option<Moment>,
    /// Attempts since the start that failed and are made again.
    pub failed: u64,
    /// How much is set aside, refused for good.
    pub set_aside: u64,
    /// How much more was, and is not kept any more.
    pub dropped: u64,
    /// The newest of it, newest first.
    pub newest_aside: Vec<AsideView>,
}

/// Ways out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sinks {
    /// In the order of the shop file.
    pub sinks: Vec<SinkView>,
}
