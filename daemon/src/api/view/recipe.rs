//! Recipes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::batch::Decided;
use super::moment::{Clock, Moment};
use crate::journal::KeptRecipe;

/// A recipe to be locked from a ride.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRecipe {
    /// The ride: a measured pass of a batch.
    pub ride: u64,
    /// By what share the belt may be off; 0.05 where nothing is said.
    #[serde(default)]
    pub belt_drift: Option<f64>,
    /// By how many °C a zone may be off; 8 where nothing is said.
    #[serde(default)]
    pub zone_drift_c: Option<f64>,
    /// By how many °C an exit temperature may be off; 6 where nothing is said.
    #[serde(default)]
    pub exit_drift_c: Option<f64>,
    /// After how many seconds another ride is due; never where nothing is said.
    #[serde(default)]
    pub ride_every_s: Option<f64>,
    /// Who locks it.
    pub by: String,
}

/// A recipe to be retired.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToRetire {
    /// Who retires it.
    pub by: String,
    /// Why.
    pub why: String,
}

/// What a zone's probe showed during the ride.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ZoneView {
    /// The probe's id.
    pub probe: String,
    /// The mean of its readings, in °C.
    pub mean_c: f64,
}

/// How a recipe was retired.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RetiredView {
    /// When.
    pub at: Moment,
    /// By whom.
    pub by: String,
    /// Why.
    pub why: String,
}

/// Settings and a reference ride, locked for one ink, fabric and station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecipeView {
    /// Its number.
    pub recipe: u64,
    /// The station's id.
    pub station: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// The reference ride: a pass.
    pub ride: u64,
    /// When and by whom it was locked.
    pub locked: Decided,
    /// The belt's speed.
    pub belt_m_per_min: Option<f64>,
    /// The zones' probes.
    pub zones: Vec<ZoneView>,
    /// What the exit probe showed of the ride's print, in °C.
    pub exit_c: Option<f64>,
    /// The exit probes through which prints under it are inferred.
    pub inferred_by: Vec<String>,
    /// By what share the belt may be off.
    pub belt_drift: f64,
    /// By how many °C a zone may be off.
    pub zone_drift_c: f64,
    /// By how many °C an exit temperature may be off.
    pub exit_drift_c: f64,
    /// After how many seconds another ride is due.
    pub ride_every_s: Option<f64>,
    /// How it was retired; null while it is in force.
    pub retired: Option<RetiredView>,
}

/// A recipe that was locked just now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LockedNow {
    /// The recipe.
    #[serde(flatten)]
    pub recipe: RecipeView,
    /// What it lacks, and what that means.
    pub remarks: Vec<String>,
    /// What to keep in mind.
    pub caution: String,
}

/// Recipes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Recipes {
    /// By their numbers.
    pub recipes: Vec<RecipeView>,
    /// What to keep in mind.
    pub caution: String,
}

impl RecipeView {
    /// What the journal keeps, told.
    pub fn new(kept: &KeptRecipe, clock: &Clock) -> RecipeView {
        let recipe = kept.recipe.clone();
        let zones = recipe.zones_c.into_iter();
        RecipeView {
            recipe: recipe.recipe,
            station: recipe.station,
            ink: recipe.ink,
            fabric: recipe.fabric,
            ride: recipe.ride,
            locked: Decided {
                at: clock.moment(kept.locked),
                by: recipe.by,
            },
            belt_m_per_min: recipe.belt_m_per_min,
            zones: zones
                .map(|(probe, mean_c)| ZoneView { probe, mean_c })
                .collect(),
            exit_c: recipe.exit_c,
            inferred_by: recipe.reference.map_or_else(Vec::new, |ride| {
                ride.exits.into_iter().map(|exit| exit.probe).collect()
            }),
            belt_drift: recipe.belt_drift,
            zone_drift_c: recipe.zone_drift_c,
            exit_drift_c: recipe.exit_drift_c,
            ride_every_s: recipe.ride_every_s,
            retired: kept.retired.as_ref().map(|(at, retired)| RetiredView {
                at: clock.moment(*at),
                by: retired.by.clone(),
                why: retired.why.clone(),
            }),
        }
    }
}
