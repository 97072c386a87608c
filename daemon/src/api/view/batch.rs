//! Batches.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::hold::HoldView;
use super::moment::{Clock, Moment};
use super::pass::PassView;
use crate::journal::{KeptBatch, VerdictCount};

/// A batch to be opened; the one that is open at the station is closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewBatch {
    /// The station's id.
    pub station: String,
    /// The job's name.
    pub job: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// Whether a flash unit is the last heat, so that the ink's cure law decides.
    #[serde(default)]
    pub last_heat: bool,
    /// How many prints it is to have.
    #[serde(default)]
    pub quantity: Option<u64>,
    /// What a blank costs, in the shop's money.
    #[serde(default)]
    pub blank_cost: Option<f64>,
    /// The screen's mesh, in threads an inch.
    #[serde(default)]
    pub mesh_per_inch: Option<f64>,
    /// When the ink was mixed, by the clock on the wall, as RFC 3339.
    #[serde(default)]
    pub ink_mixed: Option<String>,
    /// The recipe that the station is held against.
    #[serde(default)]
    pub recipe: Option<u64>,
    /// Who opens it.
    pub by: String,
}

/// Who does something.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct By {
    /// A name.
    pub by: String,
}

/// What a test of a print found: washed, rubbed, stretched or wiped as the customer will.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSignOff {
    /// By which method, such as `ISO 105-C06`, or the shop's own in words.
    pub method: String,
    /// Whether it was passed.
    pub passed: bool,
    /// What was found, such as a grade.
    pub result: String,
    /// The pass whose print was tested, where that is known.
    #[serde(default)]
    pub pass: Option<u64>,
    /// Who tested it.
    pub by: String,
}

/// A note to be written to a batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewNote {
    /// What is worth knowing.
    pub note: String,
    /// Who writes it.
    pub by: String,
}

/// Passes that are given to a batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToAssign {
    /// Their numbers.
    pub passes: Vec<u64>,
    /// Who says so.
    pub by: String,
}

/// Passes as they are judged now that they have a batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Assigned {
    /// In the order of the call.
    pub passes: Vec<PassView>,
    /// What to keep in mind.
    pub caution: String,
}

/// A decision of a person.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Decided {
    /// When.
    pub at: Moment,
    /// By whom.
    pub by: String,
}

/// A note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NoteView {
    /// When it was written.
    pub at: Moment,
    /// By whom.
    pub by: String,
    /// What.
    pub note: String,
}

/// So many prints have a verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Count {
    /// The verdict.
    pub verdict: Option<String>,
    /// The harm, where it is `overheated`.
    pub harm: Option<String>,
    /// How many prints.
    pub prints: u64,
}

impl From<&VerdictCount> for Count {
    fn from(count: &VerdictCount) -> Count {
        Count {
            verdict: count.verdict.clone(),
            harm: count.harm.clone(),
            prints: count.passes,
        }
    }
}

/// A batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BatchView {
    /// Its number.
    pub batch: u64,
    /// The station's id.
    pub station: String,
    /// The job's name.
    pub job: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// Whether a flash unit is the last heat.
    pub last_heat: bool,
    /// How many prints it is to have.
    pub quantity: Option<u64>,
    /// What a blank costs, in the shop's money.
    pub blank_cost: Option<f64>,
    /// The screen's mesh, in threads an inch.
    pub mesh_per_inch: Option<f64>,
    /// When the ink was mixed.
    pub ink_mixed: Option<Moment>,
    /// The recipe that the station is held against.
    pub recipe: Option<u64>,
    /// When and by whom it was opened.
    pub opened: Decided,
    /// When and by whom it was closed; null while it is open.
    pub closed: Option<Decided>,
    /// How many prints of it have left the heat.
    pub prints: u64,
    /// How many of them have which verdict.
    pub verdicts: Vec<Count>,
    /// What was noted.
    pub notes: Vec<NoteView>,
}

/// A batch with everything that is known of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BatchInFull {
    /// The batch.
    #[serde(flatten)]
    pub batch: BatchView,
    /// Its ink and fabric as they were declared when it was opened, as TOML.
    pub declared: String,
    /// Its holds, the settled ones among them.
    pub holds: Vec<HoldView>,
    /// What to keep in mind.
    pub caution: String,
}

/// Batches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Batches {
    /// By their numbers, the newest first.
    pub batches: Vec<BatchView>,
    /// How many prints have no batch.
    pub unassigned: u64,
}

impl BatchView {
    /// What the journal keeps, told.
    pub fn new(kept: &KeptBatch, clock: &Clock) -> BatchView {
        let batch = kept.batch.clone();
        BatchView {
            batch: batch.batch,
            station: batch.station,
            job: batch.job,
            ink: batch.ink,
            fabric: batch.fabric,
            last_heat: batch.last_heat,
            quantity: batch.quantity,
            blank_cost: batch.blank_cost,
            mesh_per_inch: batch.mesh_per_inch,
            ink_mixed: batch.ink_mixed.map(|mixed| clock.moment(mixed)),
            recipe: batch.recipe,
            opened: Decided {
                at: clock.moment(kept.opened),
                by: batch.by,
            },
            closed: kept.closed.as_ref().map(|(at, closed)| Decided {
                at: clock.moment(*at),
                by: closed.by.clone(),
            }),
            prints: kept.counts.iter().map(|count| count.passes).sum(),
            verdicts: kept.counts.iter().map(Count::from).collect(),
            notes: kept
                .notes
                .iter()
                .map(|(at, noted)| NoteView {
                    at: clock.moment(*at),
                    by: noted.by.clone(),
                    note: noted.note.clone(),
                })
                .collect(),
        }
    }
}
