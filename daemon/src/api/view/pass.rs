//! Passes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::{Clock, Moment};
use crate::journal::KeptPass;
use crate::record::{Judged, Place};

/// One print's trip through the heat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PassView {
    /// Its number.
    pub pass: u64,
    /// The station's id.
    pub station: String,
    /// The id of the probe that saw it; null where none did.
    pub probe: Option<String>,
    /// How it was seen.
    pub place: Place,
    /// When it began, or when it passed the eye that counted it.
    pub start: Moment,
    /// When it ended.
    pub end: Moment,
    /// The batch; null where none was open and it was given to none since.
    pub batch: Option<u64>,
    /// Its number in that batch.
    pub print: Option<u64>,
    /// The belt's speed while it was in the heat.
    pub belt_m_per_min: Option<f64>,
    /// What is said of it; null without a batch, since then nobody knows what its ink needed.
    pub judged: Option<Judged>,
    /// Whether it was given its batch afterwards.
    pub assigned: bool,
    /// Whether the readings of its whole time are still there.
    pub readings_kept: bool,
}

/// A pass with everything that is known of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PassInFull {
    /// The pass.
    #[serde(flatten)]
    pub pass: PassView,
    /// The holds that its print is in.
    pub holds: Vec<u64>,
    /// What to keep in mind.
    pub caution: String,
}

/// Passes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Passes {
    /// The newest first.
    pub passes: Vec<PassView>,
    /// What to keep in mind.
    pub caution: String,
}

impl PassView {
    /// What the journal keeps, told.
    pub fn new(kept: KeptPass, clock: &Clock) -> PassView {
        let pass = kept.pass;
        PassView {
            pass: pass.pass,
            station: pass.station,
            probe: pass.probe,
            place: pass.place,
            start: clock.moment(pass.start),
            end: clock.moment(pass.end),
            batch: pass.batch,
            // A batch that the engine had forgotten numbers no more prints.
            print: pass.print.filter(|print| *print > 0),
            belt_m_per_min: pass.belt_m_per_min,
            judged: pass.judged,
            assigned: kept.assigned.is_some(),
            readings_kept: kept.readings_kept,
        }
    }
}
