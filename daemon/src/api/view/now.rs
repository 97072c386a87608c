//! A station as people look at it: its state in a few large words, what is in its heat, what has left it, and
//! what is to be done.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::Moment;
use crate::record::{Dose, HarmSeen};

/// The state of a station in a few large words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SaysView {
    /// Its mark; each tone has a shape of its own.
    pub mark: String,
    /// `good`, `under`, `over`, `unproven`, `idle` or `none`: a colour that a mark always goes with.
    pub tone: String,
    /// What is to be read from three metres.
    pub large: String,
    /// What follows from it.
    pub small: String,
}

/// What a temperature is held against.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LevelView {
    /// `threshold`, or the word of a harm.
    pub name: String,
    /// In °C: where the time above counts from, or where the harm begins.
    pub celsius: f64,
    /// Whether it is a limit, and not what is needed.
    pub is_limit: bool,
}

/// A print's trip through the heat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TripView {
    /// When it began.
    pub since: Moment,
    /// For how many seconds it has been in the heat, where it still is.
    pub running_s: Option<f64>,
    /// Its number in its batch, where it has left.
    pub print: Option<u64>,
    /// Seconds from its beginning, and °C.
    pub points: Vec<(f64, f64)>,
    /// What it is held against.
    pub levels: Vec<LevelView>,
    /// The cure dose, so far; null where nobody knows what the ink needs, or where it is gelled only.
    pub cure: Option<Dose>,
    /// The harm doses, so far.
    pub harms: Vec<HarmSeen>,
}

/// A zone of the chamber, or a platen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneNowView {
    /// What people call it.
    pub name: String,
    /// What its probe shows, in °C; null where it is silent.
    pub shows_c: Option<f64>,
    /// What is set, in °C: the recipe's, else what the shop file declares.
    pub set_c: Option<f64>,
}

/// A print that has left the heat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeftView {
    /// Its pass.
    pub pass: u64,
    /// What it is called: `Print 12`, or `Pass 40` where it has no number.
    pub name: String,
    /// Its number in its batch.
    pub print: Option<u64>,
    /// When it left.
    pub out: Moment,
    /// The mark of its verdict.
    pub mark: String,
    /// The tone of its verdict.
    pub tone: String,
    /// Its verdict in a word; a harm's own word for `overheated`.
    pub word: String,
    /// `measured`, `inferred` or `none`; null where it was not judged.
    pub evidence: Option<String>,
    /// Its peak, in °C; null where no probe saw it.
    pub peak_c: Option<f64>,
}

/// Something to be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToDoView {
    /// The mark of what it is about; null where it has none.
    pub mark: Option<String>,
    /// Its tone.
    pub tone: String,
    /// What to do, in a few words.
    pub what: String,
    /// What else is to be known of it.
    pub more: String,
    /// The hold that it is about.
    pub hold: Option<u64>,
    /// The alarm that it is about, as `NAME@ID`.
    pub alarm: Option<String>,
    /// Whether it cannot wait; of an alarm, whether nobody has acknowledged it.
    pub urgent: bool,
}

/// How far a batch is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProgressView {
    /// Its number.
    pub batch: u64,
    /// The job's name.
    pub job: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// Prints that have left the heat.
    pub done: u64,
    /// Those that are proved good.
    pub good: u64,
    /// Those that are held.
    pub to_pull: u64,
    /// How many it is to have.
    pub of: Option<u64>,
}

/// A station as people look at it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StationNowView {
    /// Its id.
    pub station: String,
    /// Its name.
    pub name: String,
    /// `belt-dryer` or `flash-unit`.
    pub kind: String,
    /// Its state.
    pub says: SaysView,
    /// The print in the heat, else the last one that a probe saw.
    pub trip: Option<TripView>,
    /// The belt's speed; null where nobody knows it.
    pub belt_m_per_min: Option<f64>,
    /// Whether a signal tells it; else it is the nominal one.
    pub belt_is_live: bool,
    /// Its zones and platens.
    pub zones: Vec<ZoneNowView>,
    /// The last prints, the newest first.
    pub last: Vec<LeftView>,
    /// The open batch.
    pub batch: Option<ProgressView>,
    /// What to do, the most urgent first.
    pub to_do: Vec<ToDoView>,
}

/// The shop as people look at it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NowView {
    /// The shop's name.
    pub shop: String,
    /// Whether people are shown °F and ft/min.
    pub us_units: bool,
    /// Now.
    pub now: Moment,
    /// The stations, in the order of the shop file.
    pub stations: Vec<StationNowView>,
    /// The last record of evidence: what a stream goes on from.
    pub last_record: u64,
    /// For how many seconds an alarm may be put aside at most.
    pub shelve_longest_s: f64,
    /// What to keep in mind.
    pub caution: String,
}
