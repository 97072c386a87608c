//! One batch.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Figures, Known, Proof, Span, VerdictCount};
use crate::api::view::{Decided, Moment};
use crate::record::{Dose, HarmSeen, Place, Settled};

/// A batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Batch {
    /// Its number.
    pub batch: u64,
    /// The job.
    pub job: String,
    /// The station's id.
    pub station: String,
    /// When it was opened, and by whom.
    pub opened: Decided,
    /// When it was closed; null while it is open.
    pub closed: Option<Decided>,
    /// The ink as it was declared then.
    pub ink: Ink,
    /// The fabric as it was declared then.
    pub fabric: Fabric,
    /// Whether a flash unit is the last heat.
    pub last_heat: bool,
    /// How many prints it was to have.
    pub quantity: Option<u64>,
    /// The screen's mesh, in threads an inch.
    pub mesh_per_inch: Option<f64>,
    /// When the ink was mixed.
    pub ink_mixed: Option<Moment>,
    /// Settings against recipe.
    pub settings: Settings,
    /// Its prints by verdict.
    pub counts: Vec<VerdictCount>,
    /// How the evidence stands.
    pub proof: Proof,
    /// What its prints got, by how they were seen.
    pub figures: Vec<Figures>,
    /// Rides as curves; the first, the last and those that are worst.
    pub rides: Known<Vec<Ride>>,
    /// Its holds.
    pub holds: Vec<Hold>,
    /// What was scrapped, and what it cost.
    pub scrapped: Cost,
    /// Sign-off tests.
    pub sign_offs: SignOffs,
    /// Notes.
    pub notes: Vec<NoteOf>,
    /// Every print, in order; where there are too many for one report, none, and a remark that says so.
    pub prints: Vec<Print>,
}

/// An ink.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ink {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What it needs, in words.
    pub law: String,
    /// The temperature above which time counts.
    pub threshold_c: Option<f64>,
    /// Where its figures come from.
    pub source: String,
}

/// A fabric.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fabric {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// What it can take.
    pub limits: Vec<LimitOf>,
    /// Where its figures come from.
    pub source: String,
}

/// What a fabric can take of one harm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitOf {
    /// The harm's word.
    pub harm: String,
    /// Its law, in words.
    pub law: String,
    /// The coolest temperature at which it begins.
    pub from_c: f64,
}

/// How the station was set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Settings {
    /// The belt while prints were in the heat.
    pub belt_m_per_min: Known<Span>,
    /// The recipe that the station was held against.
    pub recipe: Known<Recipe>,
}

/// A recipe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Recipe {
    /// Its number.
    pub recipe: u64,
    /// The belt's speed in it.
    pub belt_m_per_min: Option<f64>,
    /// The zones in it, by probe.
    pub zones_c: Vec<(String, f64)>,
    /// When the station left it.
    pub departures: Vec<Departure>,
}

/// A time out of the recipe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Departure {
    /// When it began.
    pub at: Moment,
    /// What was off.
    pub what: String,
    /// For how many seconds; null where it was not back when the batch ended.
    pub lasted_s: Option<f64>,
}

/// A ride's curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ride {
    /// The pass.
    pub pass: u64,
    /// Its number in the batch.
    pub print: Option<u64>,
    /// Its verdict.
    pub verdict: String,
    /// The harm, where it is overheated.
    pub harm: Option<String>,
    /// Seconds from its start, and °C.
    pub curve: Vec<(f64, f64)>,
}

/// A hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hold {
    /// Its number.
    pub hold: u64,
    /// Why: the verdict.
    pub verdict: String,
    /// The harm.
    pub harm: Option<String>,
    /// When it was opened.
    pub opened: Moment,
    /// Its passes.
    pub passes: Vec<u64>,
    /// How it was settled; null while it is open.
    pub settled: Option<SettledHow>,
}

/// How a hold was settled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SettledHow {
    /// How.
    pub outcome: Settled,
    /// Why.
    pub why: String,
    /// When, and by whom.
    pub decided: Decided,
}

/// What was scrapped.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cost {
    /// How many prints.
    pub prints: u64,
    /// What their blanks cost, in the shop's money.
    pub money: Known<f64>,
}

/// A note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NoteOf {
    /// When, and by whom.
    pub written: Decided,
    /// What.
    pub note: String,
}

/// Sign-off tests of a batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SignOffs {
    /// Them, in the order in which they were recorded.
    pub tests: Vec<SignOff>,
    /// Where tests and verdicts disagree: by how much, and what wants review.
    pub review: Vec<String>,
}

/// A sign-off test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SignOff {
    /// Which test.
    pub method: String,
    /// Whether it was passed.
    pub passed: bool,
    /// What was found.
    pub result: String,
    /// The pass whose print was tested, where that is known.
    pub pass: Option<u64>,
    /// The verdict of that print.
    pub verdict: Option<String>,
    /// The cure dose that was predicted of it.
    pub cure: Option<Dose>,
    /// When it was recorded, and by whom.
    pub recorded: Decided,
}

/// A print.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Print {
    /// The pass, which `inkdwell` knows it by.
    pub pass: u64,
    /// Its number in the batch.
    pub print: Option<u64>,
    /// The record of its verdict.
    pub record: u64,
    /// When it went into the heat.
    pub at: Moment,
    /// How it was seen.
    pub place: Place,
    /// `measured`, `inferred` or `none`.
    pub evidence: String,
    /// The verdict.
    pub verdict: String,
    /// The worst harm.
    pub harm: Option<String>,
    /// The hottest temperature; null where no probe saw it, as with the four that follow.
    pub peak_c: Option<f64>,
    /// Time at or above the threshold.
    pub time_above_s: Option<f64>,
    /// U, k = 2.
    pub uncertainty_c: Option<f64>,
    /// The cure dose.
    pub cure: Option<Dose>,
    /// The harms.
    pub harms: Vec<HarmSeen>,
    /// The belt's speed.
    pub belt_m_per_min: Option<f64>,
    /// Bad samples.
    pub faults: u64,
    /// Gaps.
    pub gaps: u64,
    /// The holds that it is in.
    pub holds: Vec<u64>,
    /// Why it is no better.
    pub reasons: Vec<String>,
}
