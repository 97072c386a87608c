//! Probes and their calibrations.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::moment::Moment;

/// A calibration to be entered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCalibration {
    /// Pairs of what the probe showed and what was true, in °C, rising in both.
    pub points_c: Vec<(f64, f64)>,
    /// The expanded uncertainty (k = 2) of the calibration, in °C.
    #[serde(default)]
    pub uncertainty_c: Option<f64>,
    /// The day it was made, as 2026-01-31.
    pub date: String,
    /// The day by which it has to be made again, as 2027-01-31.
    #[serde(default)]
    pub due: Option<String>,
    /// Who made it.
    pub by: String,
}

/// A calibration that holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CalibrationView {
    /// Pairs of what the probe showed and what was true, in °C, rising.
    pub points_c: Vec<(f64, f64)>,
    /// The expanded uncertainty (k = 2) of the calibration, in °C.
    pub uncertainty_c: Option<f64>,
    /// The day it was made.
    pub date: String,
    /// Who made it.
    pub by: String,
    /// The day by which it has to be made again.
    pub due: Option<String>,
    /// Whether that day is past.
    pub overdue: bool,
}

/// What a probe said last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingView {
    /// When.
    pub at: Moment,
    /// How long ago, in seconds.
    pub age_s: f64,
    /// In °C, calibration and emissivity seen to; null where it was no temperature, such as an open circuit.
    pub celsius: Option<f64>,
}

/// A probe.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProbeView {
    /// Its id.
    pub probe: String,
    /// The station's id; null for one in the room.
    pub station: Option<String>,
    /// Where it sits: `ride`, `cloth`, `exit`, `zone`, `platen` or `room`.
    pub place: String,
    /// The zone that it sits in, from 1.
    pub zone: Option<u32>,
    /// The source that it is read from.
    pub source: Option<String>,
    /// The channel of that source.
    pub channel: String,
    /// What it said last; null where it has not been heard.
    pub reading: Option<ReadingView>,
    /// Its expanded uncertainty (k = 2), in °C, at [`ProbeView::uncertainty_at_c`].
    pub uncertainty_c: f64,
    /// The temperature that this holds at, in °C: the threshold of the station's open batch, else 160.
    pub uncertainty_at_c: f64,
    /// The letter of the thermocouple type whose class 2 was assumed, since nothing is declared.
    pub uncertainty_assumed: Option<char>,
    /// The calibration that holds; null where there is none.
    pub calibration: Option<CalibrationView>,
}

/// Probes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Probes {
    /// In the order of the shop file.
    pub probes: Vec<ProbeView>,
    /// What to keep in mind.
    pub caution: String,
}
