//! Batches, holds and recipes.

use inkdwell_cure::live::exit::RecipeRide;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::time::Micros;

/// A batch was opened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BatchOpened {
    /// Its number in this journal, from 1.
    pub batch: u64,
    /// The station.
    pub station: String,
    /// The job's name.
    pub job: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// The ink and fabric as they were declared then, as TOML: a later change of the library changes no
    /// verdict.
    pub declared: String,
    /// Whether a flash unit is the last heat.
    pub last_heat: bool,
    /// How many prints it is to have.
    pub quantity: Option<u64>,
    /// What a blank costs, in the shop's money.
    pub blank_cost: Option<f64>,
    /// The screen's mesh, in threads an inch.
    pub mesh_per_inch: Option<f64>,
    /// When the ink was mixed.
    pub ink_mixed: Option<Micros>,
    /// The recipe that its prints are inferred through.
    pub recipe: Option<u64>,
    /// Who opened it.
    pub by: String,
}

/// A batch was closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BatchClosed {
    /// Its number.
    pub batch: u64,
    /// Who closed it.
    pub by: String,
}

/// A note to a batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BatchNoted {
    /// Its number.
    pub batch: u64,
    /// What was written.
    pub note: String,
    /// By whom.
    pub by: String,
}

/// A print of a batch was tested for what the customer will do to it: washed, rubbed, stretched, wiped.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SignedOff {
    /// The batch.
    pub batch: u64,
    /// The pass whose print was tested, where that is known.
    pub pass: Option<u64>,
    /// By which method, such as `ISO 105-C06`.
    pub method: String,
    /// Whether it was passed.
    pub passed: bool,
    /// What was found, such as a grade.
    pub result: String,
    /// By whom.
    pub by: String,
}

/// Prints are to be pulled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HoldOpened {
    /// Its number in this journal, from 1.
    pub hold: u64,
    /// The batch, where one was open.
    pub batch: Option<u64>,
    /// The station.
    pub station: String,
    /// The verdict of its prints, which is why they are held.
    pub verdict: String,
    /// How they were seen: `measured`, `inferred` or `none`.
    pub evidence: String,
    /// The harm, where they are overheated.
    pub harm: Option<String>,
}

/// One more print of a hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HoldJoined {
    /// The hold.
    pub hold: u64,
    /// The pass.
    pub pass: u64,
}

/// What was done with the prints of a hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Settled {
    /// Sent through the heat once more.
    ReRun,
    /// Thrown away.
    Scrapped,
    /// Found good by other means.
    Released,
}

/// Somebody has settled a hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HoldSettled {
    /// The hold.
    pub hold: u64,
    /// How.
    pub outcome: Settled,
    /// By whom.
    pub by: String,
    /// Why.
    pub why: String,
}

/// Settings and a reference ride, locked for one ink, fabric and station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecipeLocked {
    /// Its number in this journal, from 1.
    pub recipe: u64,
    /// The station.
    pub station: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// Ink and fabric as declared then, as TOML.
    pub declared: String,
    /// The reference ride: a pass of this journal.
    pub ride: u64,
    /// The belt's speed.
    pub belt_m_per_min: Option<f64>,
    /// What each zone probe showed during the ride, by its id, in °C.
    pub zones_c: Vec<(String, f64)>,
    /// What the exit probe showed of that print, in °C.
    pub exit_c: Option<f64>,
    /// By what share the belt may be off.
    pub belt_drift: f64,
    /// By how much a zone may be off, in °C.
    pub zone_drift_c: f64,
    /// By how much an exit temperature may be off, in °C.
    pub exit_drift_c: f64,
    /// After how many seconds another ride is due.
    pub ride_every_s: Option<f64>,
    /// Who locked it.
    pub by: String,
    /// What was read during the reference ride, where it went past an exit probe too: other prints are
    /// inferred from it.
    #[serde(default)]
    pub reference: Option<Box<RecipeRide>>,
}

/// A recipe holds no more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecipeRetired {
    /// Its number.
    pub recipe: u64,
    /// By whom.
    pub by: String,
    /// Why.
    pub why: String,
}
