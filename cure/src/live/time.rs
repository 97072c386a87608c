//! Moments of a steady time.

use serde::{Deserialize, Serialize};

/// A moment of a time that never steps, in microseconds since 1970-01-01 00:00 UTC.
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
    #[must_use]
    pub fn plus_seconds(self, seconds: f64) -> Micros {
        Micros(self.0.saturating_add((seconds * 1e6).round() as i64))
    }
}
