//! Events and calibrations.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A probe was calibrated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibrated {
    /// The probe.
    pub probe: String,
    /// What it showed and what it should have shown, in °C, rising.
    pub points_c: Vec<(f64, f64)>,
    /// Expanded uncertainty (k = 2) of the calibration, in °C.
    pub uncertainty_c: Option<f64>,
    /// The day, as YYYY-MM-DD.
    pub date: String,
    /// The day by which it is to be made again.
    pub due: Option<String>,
    /// Who made it.
    pub by: String,
}

/// Something happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Occurred {
    /// The station that it concerns.
    pub station: Option<String>,
    /// What.
    pub what: Occurrence,
}

/// What can happen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Occurrence {
    /// The daemon began.
    Started {
        /// Its version.
        version: String,
    },
    /// The daemon ended of its own accord.
    Stopped,
    /// A shop file holds from now on.
    ShopLoaded {
        /// SHA-256 of its text, in hexadecimal.
        digest: String,
    },
    /// A source hears its device.
    SourceUp {
        /// Its id.
        source: String,
    },
    /// A source does not.
    SourceDown {
        /// Its id.
        source: String,
        /// Why.
        why: String,
    },
    /// A source has come to its end.
    SourceEnded {
        /// Its id.
        source: String,
    },
    /// The wall clock was set.
    ClockStepped {
        /// How far it is ahead of the daemon's own time now, in microseconds.
        ahead_us: i64,
    },
    /// Readings found the queue full.
    TurnedAway {
        /// The source.
        source: String,
        /// How many.
        readings: u64,
    },
    /// Readings came too late to be judged; they are kept.
    Late {
        /// The probe or signal.
        of: String,
        /// How many.
        readings: u64,
    },
    /// The disk is full: nothing is accepted.
    DiskFull,
    /// It is not any more.
    DiskFree {
        /// For how many seconds nothing was accepted.
        after_s: f64,
    },
    /// There is little room on the journal's disk.
    DiskLow {
        /// So many bytes are left.
        free_bytes: u64,
    },
    /// There is room enough again.
    DiskRoomAgain,
    /// What is to go out by a way piles up.
    OutboxGrowing {
        /// The way out's id.
        sink: String,
        /// So many messages wait.
        waiting: u64,
    },
    /// It does not any more.
    OutboxClear {
        /// The way out's id.
        sink: String,
    },
    /// The station has left its recipe.
    RecipeLeft {
        /// The recipe.
        recipe: u64,
        /// What is off, in a sentence.
        what: String,
    },
    /// The station is back in its recipe.
    RecipeMet {
        /// The recipe.
        recipe: u64,
    },
    /// Prints were counted that no probe saw.
    Unseen {
        /// How many.
        prints: u64,
    },
}
