//! What a print truly got: doses by plain, fine summation, and the verdict that nobody can know in a shop.

use inkdwell_config::fabric::{Fabric, Harm};
use inkdwell_config::ink::Ink;
use inkdwell_config::law::Law;
use serde::{Deserialize, Serialize};

use crate::physics::TrueHistory;
use crate::physics::history::highest;

/// The dose of one harm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrueHarm {
    /// Its name: `scorch`, `dye-migration`, `shrinkage` or `melt`.
    pub harm: String,
    /// Its dose; 1 is what the fabric can take.
    pub dose: f64,
}

/// What a print truly got.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PrintTruth {
    /// The film's hottest moment at its bottom, in °C.
    pub peak_c: f64,
    /// The film's hottest moment at its surface, in °C.
    pub surface_peak_c: f64,
    /// The hottest moment of the unprinted cloth, in °C.
    pub cloth_peak_c: f64,
    /// Seconds that the film's bottom spent at or above the ink's threshold.
    pub time_above_s: f64,
    /// The cure dose at the film's bottom.
    pub cure: f64,
    /// The harm doses, in the order in which the fabric declares them: dye migration at the film's bottom,
    /// the others where the unprinted cloth is hottest.
    pub harms: Vec<TrueHarm>,
    /// `cured`, `under-cured` or `overheated`; of a flash between colours `gelled`, `under-flashed`,
    /// `over-flashed` or `overheated`.
    pub verdict: String,
    /// The harm with the largest dose, where the verdict is `overheated`.
    pub harm: Option<String>,
}

impl PrintTruth {
    /// The truth of a history for an ink on a fabric.
    pub fn of(history: &TrueHistory, ink: &Ink, fabric: &Fabric) -> PrintTruth {
        let cure = dose(&ink.cure, &history.film_bottom, false);
        let harms: Vec<TrueHarm> = fabric
            .harms
            .iter()
            .map(|limit| {
                let line = match limit.harm {
                    Harm::DyeMigration => &history.film_bottom,
                    Harm::Scorch | Harm::Shrinkage | Harm::Melt => &history.cloth_hottest,
                };
                TrueHarm {
                    harm: limit.harm.name().to_owned(),
                    dose: dose(&limit.law, line, true),
                }
            })
            .collect();
        let worst = harms.iter().max_by(|a, b| a.dose.total_cmp(&b.dose));
        let harm = worst
            .filter(|worst| worst.dose >= 1.0)
            .map(|worst| worst.harm.clone());
        let verdict = match (&harm, cure >= 1.0) {
            (Some(_), _) => "overheated",
            (None, true) => "cured",
            (None, false) => "under-cured",
        };
        PrintTruth {
            peak_c: highest(&history.film_bottom),
            surface_peak_c: highest(&history.film_top),
            cloth_peak_c: highest(&history.cloth_hottest),
            time_above_s: seconds_above(ink.threshold.0, &history.film_bottom),
            cure,
            harms,
            verdict: verdict.to_owned(),
            harm,
        }
    }

    /// The truth of a flash between colours: the film's surface against the ink's gel window, where it has
    /// one; the cure law counts there as in a dryer.
    pub fn of_flash(history: &TrueHistory, ink: &Ink, fabric: &Fabric) -> PrintTruth {
        let mut truth = PrintTruth::of(history, ink, fabric);
        if let Some(gel) = ink.gel
            && truth.harm.is_none()
        {
            let verdict = if truth.surface_peak_c < gel.from.0 {
                "under-flashed"
            } else if truth.surface_peak_c > gel.to.0 {
                "over-flashed"
            } else {
                "gelled"
            };
            truth.verdict = verdict.to_owned();
        }
        truth
    }

    /// Cured or gelled, and nothing harmed.
    pub fn is_good(&self) -> bool {
        self.verdict == "cured" || self.verdict == "gelled"
    }

    /// The largest harm dose; 0 where no limit is known.
    pub fn worst_harm(&self) -> f64 {
        self.harms.iter().map(|harm| harm.dose).fold(0.0, f64::max)
    }
}

/// Slices of each stretch of a line, for Simpson's rule.
const SLICES: u32 = 8;

/// The dose that a line delivers under a law; harm goes on above the law's hottest point, cure gets no
/// extra credit there.
pub(crate) fn dose(law: &Law, line: &[(f64, f64)], harm: bool) -> f64 {
    match law {
        Law::Hold { at, duration } => seconds_above(at.0, line) / duration.0,
        Law::Equivalents { points } => {
            let points: Vec<(f64, f64)> =
                points.iter().map(|(t, s)| (t.kelvin(), s.0.ln())).collect();
            line.windows(2)
                .map(|pair| {
                    let ((t0, a), (t1, b)) = (pair[0], pair[1]);
                    simpson(a, b, |celsius| rate(&points, celsius + 273.15, harm)) * (t1 - t0)
                })
                .sum()
        }
    }
}

/// Doses a second at a temperature, given (kelvin, ln seconds) of the law's points.
fn rate(points: &[(f64, f64)], kelvin: f64, harm: bool) -> f64 {
    let (coolest, hottest) = (points[0], points[points.len() - 1]);
    if kelvin < coolest.0 {
        return 0.0;
    }
    if kelvin >= hottest.0 && !harm {
        return (-hottest.1).exp();
    }
    let after = points
        .partition_point(|point| point.0 <= kelvin)
        .clamp(1, points.len() - 1);
    let ((k0, s0), (k1, s1)) = (points[after - 1], points[after]);
    let share = (1.0 / k0 - 1.0 / kelvin) / (1.0 / k0 - 1.0 / k1);
    (-(s0 + share * (s1 - s0))).exp()
}

/// The mean of a function of temperature along a straight line from `a` to `b`, by Simpson's rule on slices.
fn simpson(a: f64, b: f64, f: impl Fn(f64) -> f64) -> f64 {
    let slice = (b - a) / f64::from(SLICES);
    let sum: f64 = (0..SLICES)
        .map(|number| {
            let from = a + f64::from(number) * slice;
            f(from) + 4.0 * f(from + 0.5 * slice) + f(from + slice)
        })
        .sum();
    sum / (6.0 * f64::from(SLICES))
}

/// Seconds that a line spends at or above a temperature.
fn seconds_above(threshold: f64, line: &[(f64, f64)]) -> f64 {
    line.windows(2)
        .map(|pair| {
            let ((t0, a), (t1, b)) = (pair[0], pair[1]);
            let (low, high) = (a.min(b), a.max(b));
            if low >= threshold {
                t1 - t0
            } else if high < threshold {
                0.0
            } else {
                (t1 - t0) * (high - threshold) / (high - low)
            }
        })
        .sum()
}
