//! Figures of many prints.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Known;
use crate::record::Dose;

/// So many prints have a verdict.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct VerdictCount {
    /// The verdict's word.
    pub verdict: String,
    /// The worst harm, where it is `overheated`.
    pub harm: Option<String>,
    /// How many.
    pub prints: u64,
}

/// How the evidence stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Proof {
    /// Prints that were counted or seen.
    pub prints: u64,
    /// Measured: a probe rode with them, or looked at them while they were heated.
    pub measured: u64,
    /// Of these, proved good.
    pub measured_good: u64,
    /// Inferred from the temperature at the exit.
    pub inferred: u64,
    /// Of these, proved good.
    pub inferred_good: u64,
    /// Counted, and seen by no probe.
    pub unseen: u64,
    /// The least share of such prints that are good, at 95 % confidence: the exact binomial bound of Clopper and
    /// Pearson on those with evidence that are proved good.
    pub good_at_least: Known<f64>,
    /// The same in plain words.
    pub words: String,
}

/// How a figure lies over many prints; quartiles by the line between neighbours.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Spread {
    /// How many prints.
    pub prints: u64,
    /// The least.
    pub least: f64,
    /// The pass that had it.
    pub least_pass: u64,
    /// A quarter lie below.
    pub lower_quartile: f64,
    /// Half lie below.
    pub median: f64,
    /// A quarter lie above.
    pub upper_quartile: f64,
    /// The greatest.
    pub greatest: f64,
    /// The pass that had it.
    pub greatest_pass: u64,
    /// The mean.
    pub mean: f64,
    /// The standard deviation, with n - 1; null of one print.
    pub deviation: Option<f64>,
}

/// What prints got that were seen in one way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Figures {
    /// `measured` or `inferred`.
    pub evidence: String,
    /// How many.
    pub prints: u64,
    /// The hottest temperature of each.
    pub peak_c: Spread,
    /// Time at or above the ink's threshold.
    pub time_above_s: Spread,
    /// Cure doses at the low end of their uncertainty, from which `cured` is said.
    pub cure_low: Option<Spread>,
    /// Best cure doses.
    pub cure_best: Option<Spread>,
    /// The harms.
    pub harms: Vec<HarmFigures>,
    /// The prints in order, held against what chance explains.
    pub chart: Known<Chart>,
    /// How far the peak climbed or fell over the batch.
    pub trend: Known<Trend>,
    /// How well the peak keeps within its limits.
    pub capability: Known<Capability>,
}

/// Doses of one harm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HarmFigures {
    /// Its word.
    pub harm: String,
    /// Best doses.
    pub best: Spread,
    /// Doses at the high end of their uncertainty, which `cured` asks to stay below 1.
    pub high: Spread,
}

/// A chart of individuals and moving ranges of the peak, in °C.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Chart {
    /// The mean.
    pub centre_c: f64,
    /// The mean of the moving ranges.
    pub mean_moving_range_c: f64,
    /// The lower control limit.
    pub lower_c: f64,
    /// The upper control limit.
    pub upper_c: f64,
    /// The upper limit of the moving ranges.
    pub range_upper_c: f64,
    /// Whether there are no more patterns than chance explains.
    pub stable: bool,
    /// The patterns.
    pub patterns: Vec<Pattern>,
}

/// A pattern in a chart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Pattern {
    /// `beyond-limit`, `one-side` or `trend`.
    pub rule: String,
    /// The pass that it begins with.
    pub first_pass: u64,
    /// The pass that it ends with.
    pub last_pass: u64,
}

/// A climb or a fall.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Trend {
    /// From the first print to the last, in °C.
    pub over_all_c: f64,
    /// In °C an hour.
    pub c_per_hour: f64,
    /// How probable as much would be by chance.
    pub by_chance: f64,
}

/// A capability, by the e-Handbook's 6.1.6.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Capability {
    /// What it is of, in words.
    pub of: String,
    /// The lower limit.
    pub lower_limit: Option<f64>,
    /// The upper limit.
    pub upper_limit: Option<f64>,
    /// Cpk with its 95 % confidence interval.
    pub cpk: Dose,
    /// How many prints it rests on.
    pub prints: u64,
}

/// From least to greatest, with the mean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Span {
    /// The least.
    pub least: f64,
    /// The mean.
    pub mean: f64,
    /// The greatest.
    pub greatest: f64,
}
