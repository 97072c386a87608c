//! What a report says, as data: `inkdwell.report/1`.
//!
//! Temperatures are in °C, differences too, durations in seconds, belt speeds in metres a minute; shares lie
//! between 0 and 1, and money is the shop's own. A figure that cannot be known is `{"unknown": why}` where it would
//! have stood: no figure is left out in silence. Members are only ever added.

mod batch;
mod figures;
mod shop;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::api::view::Moment;

pub use batch::{
    Batch, Cost, Departure, Fabric, Hold, Ink, LimitOf, NoteOf, Print, Recipe, Ride, Settings,
    SettledHow, SignOff, SignOffs,
};
pub use figures::{
    Capability, Chart, Figures, HarmFigures, Pattern, Proof, Span, Spread, Trend, VerdictCount,
};
pub use shop::{CalibrationOf, Chamber, Happening, Probe, Totals};

/// The schema's name.
pub const SCHEMA: &str = "inkdwell.report/1";

/// A figure, or why it is not known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Known<T> {
    /// It is not known.
    Not {
        /// Why.
        unknown: String,
    },
    /// It is.
    Is(T),
}

impl<T> Known<T> {
    /// Not known, and why.
    pub fn not(why: impl Into<String>) -> Known<T> {
        Known::Not {
            unknown: why.into(),
        }
    }

    /// The figure, where it is known.
    pub fn known(&self) -> Option<&T> {
        match self {
            Known::Is(figure) => Some(figure),
            Known::Not { .. } => None,
        }
    }
}

/// A report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// `inkdwell.report/1`.
    pub schema: String,
    /// The program's version.
    pub program: String,
    /// When it was made.
    pub made: Moment,
    /// The shop.
    pub shop: Shop,
    /// What it is about.
    pub period: Period,
    /// The journal that it rests on.
    pub journal: Journal,
    /// The answer in one sentence.
    pub answer: Answer,
    /// All its prints by verdict.
    pub counts: Vec<VerdictCount>,
    /// How many prints there were.
    pub prints: u64,
    /// Prints that belong to no batch, so that nobody knows what their ink needed.
    pub without_batch: u64,
    /// What to do tomorrow, what helps most first.
    pub tomorrow: Vec<Advice>,
    /// The batches, by their numbers.
    pub batches: Vec<Batch>,
    /// The holds that nobody has settled.
    pub holds_open: u64,
    /// What was scrapped, in all.
    pub scrapped: Cost,
    /// The alarms.
    pub alarms: Known<Vec<Alarm>>,
    /// Belt and chamber through the day.
    pub chamber: Known<Vec<Chamber>>,
    /// The probes that saw these prints.
    pub probes: Vec<Probe>,
    /// Gaps, faults, clock steps and outages, counted.
    pub totals: Totals,
    /// What happened, in the order of time.
    pub happenings: Vec<Happening>,
    /// What a reader of this report has to know about it.
    pub remarks: Vec<String>,
    /// What comes before any figure here.
    pub caution: String,
}

/// The shop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Shop {
    /// Its name.
    pub name: Known<String>,
    /// Its time zone, of the IANA list.
    pub timezone: String,
    /// Whether people there read °F and feet.
    pub us_units: bool,
    /// SHA-256 of the shop file that was used, in hexadecimal.
    pub file_sha256: Option<String>,
    /// The journal's record that holds its text; null where somebody named another one.
    #[serde(default)]
    pub file_record: Option<u64>,
}

/// What a report is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Period {
    /// `day`, `range` or `batch`.
    pub kind: String,
    /// In words, such as `Monday 2 March 2026`.
    pub title: String,
    /// The first moment, by the clock on the wall, as RFC 3339; null of a batch.
    pub from: Option<String>,
    /// The first moment after it.
    pub before: Option<String>,
    /// The one batch that it is about.
    pub batch: Option<u64>,
    /// The one station.
    pub station: Option<String>,
    /// The one job.
    pub job: Option<String>,
}

/// The journal as it was.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Journal {
    /// The head of its chain: `inkdwell verify --head` holds the journal against it.
    pub head: String,
    /// The last record that counts here.
    pub record: u64,
    /// SHA-256 of everything in this report but the moment it was made and this figure, in hexadecimal: the same on
    /// every form of it.
    pub fingerprint: String,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    /// In one sentence.
    pub sentence: String,
    /// Whether every print is proved good, or was settled by a person.
    pub all_good: bool,
}

/// Something that would help.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Advice {
    /// A word for its kind: `holds`, `settings`, `drift`, `evidence`, `probe`, `room-to-spare`.
    pub kind: String,
    /// What to do, with its figure.
    pub what: String,
    /// The batch that it is about.
    pub batch: Option<u64>,
    /// The figure.
    pub figure: Option<f64>,
    /// Its unit.
    pub unit: Option<String>,
}

/// An alarm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Alarm {
    /// What.
    pub what: String,
    /// Where.
    pub station: Option<String>,
    /// When it came.
    pub at: Moment,
    /// Seconds until somebody acknowledged it.
    pub acknowledged_after_s: Option<f64>,
    /// Seconds until it was normal again.
    pub normal_after_s: Option<f64>,
}
