//! Times as people and programs read them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::time::Micros;
use crate::wall::WallTimes;

/// A moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Moment {
    /// What the clock on the wall showed, as RFC 3339 in the shop's time zone.
    pub at: String,
    /// The daemon's own time in seconds since 1970, which no setting of a clock makes jump: what durations are
    /// reckoned with.
    pub steady_s: f64,
}

/// Tells times as the shop's wall clock showed them.
#[derive(Debug, Clone)]
pub struct Clock {
    /// How the wall clock went.
    pub walls: WallTimes,
    /// The shop's time zone.
    pub zone: chrono_tz::Tz,
}

impl Clock {
    /// The day on the wall calendar, as 2026-01-31.
    pub fn day(&self, at: Micros) -> String {
        let written = self.walls.written(at, self.zone);
        written.split('T').next().unwrap_or_default().to_owned()
    }

    /// A moment, told.
    pub fn moment(&self, at: Micros) -> Moment {
        Moment {
            at: self.walls.written(at, self.zone),
            steady_s: at.0 as f64 / 1e6,
        }
    }
}
