//! How the daemon and everything that it watches are.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::Moment;

/// A source's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SourceState {
    /// Not yet heard.
    Starting,
    /// Its device or broker is heard.
    Up,
    /// It is not.
    Down,
    /// A replay or scenario has come to its end.
    Ended,
}

/// A source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceView {
    /// Its id.
    pub source: String,
    /// Its state.
    pub state: SourceState,
    /// Why it is down.
    pub why: Option<String>,
    /// Lines, answers or messages since the start.
    pub messages: u64,
    /// Readings in them.
    pub readings: u64,
    /// Lines, answers or messages that could not be understood.
    pub garbled: u64,
    /// Messages that came a second time.
    pub repeated: u64,
    /// How often the wire was lost.
    pub losses: u64,
}

/// A print that is in the heat now, as a probe sees it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunningPass {
    /// The probe's id.
    pub probe: String,
    /// When it entered.
    pub since: Moment,
}

/// A station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StationView {
    /// Its id.
    pub station: String,
    /// Its name.
    pub name: String,
    /// `belt-dryer` or `flash-unit`.
    pub kind: String,
    /// The open batch.
    pub batch: Option<u64>,
    /// The belt's speed now; null where nobody knows it.
    pub belt_m_per_min: Option<f64>,
    /// Whether a signal tells it; else it is the nominal one.
    pub belt_is_live: bool,
    /// Prints in the heat now.
    pub running: Vec<RunningPass>,
}

/// How everything is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// The shop's name.
    pub shop: String,
    /// The daemon's version.
    pub version: String,
    /// Now.
    pub now: Moment,
    /// The shop's time zone, by its IANA name.
    pub timezone: String,
    /// Whether people are shown °F and ft/min.
    pub us_units: bool,
    /// Whether nothing is accepted because the disk is full.
    pub disk_full: bool,
    /// The stations, in the order of the shop file.
    pub stations: Vec<StationView>,
    /// The sources, in the order of the shop file.
    pub sources: Vec<SourceView>,
    /// How many holds nobody has settled.
    pub open_holds: u64,
    /// How many prints have no batch.
    pub unassigned: u64,
    /// The last record of evidence: what a stream goes on from.
    pub last_record: u64,
    /// What to keep in mind.
    pub caution: String,
}
