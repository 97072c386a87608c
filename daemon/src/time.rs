//! The daemon's own time.
//!
//! A wall clock may be set back or forward at any moment, and a duration reckoned with it would be wrong.
//! So the daemon counts its own steady time: it begins where the wall clock, or the journal's last entry if
//! that is later, stands at the start, and goes on by the machine's monotonic clock. Everything in the
//! journal is in that time; how far the wall clock is away from it is journaled whenever it changes, so that
//! people are shown the time on their wall.

use serde::{Deserialize, Serialize};

/// A moment of the daemon's steady time, in microseconds since 1970-01-01 00:00 UTC.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Micros(pub i64);

impl Micros {
    /// Seconds from another moment to this one.
    pub fn seconds_since(self, earlier: Micros) -> f64 {
        (self.0 - earlier.0) as f64 / 1e6
    }

    /// So many seconds later.
    pub fn plus_seconds(self, seconds: f64) -> Micros {
        Micros(self.0 + (seconds * 1e6).round() as i64)
    }
}
