//! A judged pass: everything that is known of one print's trip through the heat.

use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::reason::Reason;
use crate::remark::Remark;

/// How the temperature of the film is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Evidence {
    /// A probe rode with the print, or looked at it while it was heated.
    Measured,
    /// Computed from the exit temperature through a fitted heat model.
    Inferred,
    /// Nobody knows.
    None,
}

impl Evidence {
    /// The word that contracts and screens use.
    pub fn name(self) -> &'static str {
        match self {
            Evidence::Measured => "measured",
            Evidence::Inferred => "inferred",
            Evidence::None => "none",
        }
    }
}

/// What is said of a print.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Verdict {
    /// Cure is proved and so is that no harm was done.
    Cured,
    /// It is proved that the ink did not get what it needs.
    UnderCured,
    /// It is proved that the fabric got more than it can take.
    Overheated,
    /// Neither is proved.
    Unproven,
    /// Flash: proved inside the gel window.
    Gelled,
    /// Flash: proved below the gel window.
    UnderFlashed,
    /// Flash: proved above the gel window.
    OverFlashed,
}

impl Verdict {
    /// The word that contracts and screens use.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Cured => "cured",
            Verdict::UnderCured => "under-cured",
            Verdict::Overheated => "overheated",
            Verdict::Unproven => "unproven",
            Verdict::Gelled => "gelled",
            Verdict::UnderFlashed => "under-flashed",
            Verdict::OverFlashed => "over-flashed",
        }
    }

    /// Whether nothing more has to be done about the print.
    pub fn is_good(self) -> bool {
        matches!(self, Verdict::Cured | Verdict::Gelled)
    }
}

/// A figure at the low end of the uncertainty, at its best estimate, and at the high end.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Band {
    /// Computed at T - U; a gap in the trace adds nothing.
    pub low: f64,
    /// Computed at T.
    pub best: f64,
    /// Computed at T + U.
    pub high: f64,
}

/// The dose of one harm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HarmDose {
    /// Which harm.
    pub harm: Harm,
    /// Its dose; 1 is what the fabric can take.
    pub dose: Band,
}

/// One pass with its figures, its verdict and why.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedPass {
    /// Number of the pass in its channel, from 1.
    pub index: u64,
    /// How the film's temperature is known.
    pub evidence: Evidence,
    /// When the pass began, from the start of the trace.
    pub start: Seconds,
    /// When it ended.
    pub end: Seconds,
    /// Whether the trace begins or ends inside it.
    pub cut: bool,
    /// Good samples from start to end.
    pub samples: u64,
    /// Bad samples from start to end.
    pub faults: u64,
    /// Stretches without a good sample that are longer than the largest gap allowed.
    pub gaps: u64,
    /// The hottest good sample.
    pub peak: Celsius,
    /// The temperature above which `time_above` counts.
    pub threshold: Celsius,
    /// Time at or above `threshold`.
    pub time_above: Seconds,
    /// The steepest rise between neighbouring good samples, in °C a second.
    pub max_rise: f64,
    /// The largest expanded uncertainty (k = 2) of a sample.
    pub uncertainty: CelsiusDifference,
    /// The cure dose; `None` where a flash is judged against its gel window.
    pub cure: Option<Band>,
    /// The harm doses in the order in which the fabric declares them.
    pub harms: Vec<HarmDose>,
    /// What is said of the print.
    pub verdict: Verdict,
    /// The harm with the largest low dose, where the verdict is [`Verdict::Overheated`].
    pub harm: Option<Harm>,
    /// Why the verdict is no better; empty for a cured or gelled print.
    pub reasons: Vec<Reason>,
    /// What is worth knowing without changing the verdict.
    pub remarks: Vec<Remark>,
}
