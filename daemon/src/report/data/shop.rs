//! What concerns the whole shop.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Known;
use crate::api::view::Moment;

/// What a probe or a belt signal showed through the day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Chamber {
    /// The probe or signal.
    pub id: String,
    /// The station.
    pub station: Option<String>,
    /// `zone`, `platen`, `room` or `belt`.
    pub place: String,
    /// `°C` or `m/min`.
    pub unit: String,
    /// Seconds that each of the pieces lasts.
    pub piece_s: f64,
    /// For each piece with readings: seconds from the first, the least, the mean and the greatest.
    pub pieces: Vec<(f64, f64, f64, f64)>,
    /// When the first piece begins.
    pub from: Moment,
}

/// A probe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Probe {
    /// Its id.
    pub id: String,
    /// Where it sits.
    pub place: String,
    /// The station.
    pub station: Option<String>,
    /// How many of these prints it saw.
    pub prints: u64,
    /// The largest uncertainty that its passes were judged with (k = 2); null where it saw none.
    pub uncertainty_c: Option<f64>,
    /// The last calibration before the period's end.
    pub calibration: Known<CalibrationOf>,
}

/// A calibration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CalibrationOf {
    /// The day, as 2026-01-31.
    pub date: String,
    /// The day by which it is to be made again.
    pub due: Option<String>,
    /// Days from the period's end until then; negative where it is overdue.
    pub due_in_days: Option<i64>,
    /// Its uncertainty (k = 2).
    pub uncertainty_c: Option<f64>,
    /// By whom.
    pub by: String,
}

/// Troubles, counted.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Totals {
    /// Bad samples in passes.
    pub faults: u64,
    /// Gaps in passes.
    pub gaps: u64,
    /// Passes that were seen only in part.
    pub cut: u64,
    /// Times that the wall clock was set.
    pub clock_steps: u64,
    /// Times that a source fell silent.
    pub outages: u64,
    /// Seconds that sources were silent, each counted by itself.
    pub outage_s: f64,
    /// Readings that came too late to be judged.
    pub late_readings: u64,
    /// Readings that found the queue full.
    pub turned_away: u64,
    /// Seconds in which the disk was full.
    pub disk_full_s: f64,
    /// Prints that were counted and that no probe saw.
    pub unseen: u64,
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Happening {
    /// When.
    pub at: Moment,
    /// The station.
    pub station: Option<String>,
    /// What, in a sentence.
    pub what: String,
    /// Its record.
    pub record: u64,
}
