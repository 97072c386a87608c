//! From doses to a verdict: guarded acceptance (JCGM 106:2012, 8.3.2) with a thought for gaps.
//!
//! `cured` asks that the low end of cure reaches 1 and the high end of every harm stays below it, so
//! that the whole band of uncertainty lies on the good side. `under-cured` and `overheated` ask the
//! same on the bad side. What lies between is `unproven`.
//!
//! A gap widens each band further. Were the film as cool as the room in it, it added nothing; at the
//! worst it was as hot as the pass's hottest good sample all through. Doses only grow with
//! temperature, so these two ends decide whether a verdict stands whatever happened in between.

use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::Celsius;

use crate::judged::{Band, Verdict};
use crate::law::Rate;
use crate::tally::{LawDoses, Tally};

/// One law's doses with what the gaps may have added.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bounds {
    /// As reported.
    pub(crate) dose: Band,
    /// If nothing happened in the gaps.
    cold: Band,
    /// If the film was as hot as its hottest sample in the gaps.
    hot: Band,
}

/// Where 1 lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Standing {
    /// Below the whole band: the dose is reached for certain.
    Reached,
    /// Above the whole band: it is missed for certain.
    Missed,
    /// Somewhere inside.
    Open {
        /// The uncertainty of the probe alone leaves it open.
        within_uncertainty: bool,
        /// What happened in a gap could settle it either way.
        hangs_on_gap: bool,
    },
}

impl Bounds {
    /// The bounds of a dose that has no gap in it.
    pub(crate) fn without_gap(dose: Band) -> Bounds {
        Bounds {
            dose,
            cold: dose,
            hot: dose,
        }
    }

    /// The bounds of a law's doses in a pass with uncertainty `u` at its peak.
    pub(crate) fn new(doses: &LawDoses, rate: &Rate, tally: &Tally, u: f64) -> Bounds {
        let [low, best, high] = doses.dose;
        let dose = Band { low, best, high };
        if tally.gap_seconds == 0.0 {
            return Bounds::without_gap(dose);
        }
        let cold = Band {
            low,
            best: best - doses.across_gaps[0],
            high: high - doses.across_gaps[1],
        };
        let added = |shift: f64| tally.gap_seconds * rate.at(Celsius(tally.peak + shift));
        let hot = Band {
            low: cold.low + added(-u),
            best: cold.best + added(0.0),
            high: cold.high + added(u),
        };
        Bounds { dose, cold, hot }
    }

    pub(crate) fn standing(&self) -> Standing {
        if self.cold.low >= 1.0 {
            Standing::Reached
        } else if self.hot.high < 1.0 {
            Standing::Missed
        } else {
            Standing::Open {
                within_uncertainty: self.cold.high >= 1.0 && self.hot.low < 1.0,
                hangs_on_gap: self.cold.high < 1.0 || self.hot.low >= 1.0,
            }
        }
    }

    /// Whether the dose would be reached for certain at some temperature in the gaps.
    fn may_be_reached(&self) -> bool {
        self.hot.low >= 1.0
    }
}

/// The verdict of a pass that is not cut, and the harm that it names.
pub(crate) fn decide(cure: &Bounds, harms: &[(Harm, Bounds)]) -> (Verdict, Option<Harm>) {
    if let Some(harm) = worst_harm(harms) {
        return (Verdict::Overheated, Some(harm));
    }
    let unharmed = harms
        .iter()
        .all(|(_, bounds)| bounds.standing() == Standing::Missed);
    let may_overheat = harms.iter().any(|(_, bounds)| bounds.may_be_reached());
    let verdict = match cure.standing() {
        Standing::Reached if unharmed => Verdict::Cured,
        Standing::Missed if !may_overheat => Verdict::UnderCured,
        _ => Verdict::Unproven,
    };
    (verdict, None)
}

/// Of the harms that are certain, the one with the largest low dose.
pub(crate) fn worst_harm(harms: &[(Harm, Bounds)]) -> Option<Harm> {
    harms
        .iter()
        .filter(|(_, bounds)| bounds.standing() == Standing::Reached)
        .fold(None, |worst: Option<&(Harm, Bounds)>, this| match worst {
            Some(other) if other.1.dose.low >= this.1.dose.low => worst,
            _ => Some(this),
        })
        .map(|(harm, _)| *harm)
}
