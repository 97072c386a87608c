//! What a fitted model says of a print at a speed that nobody rode.
//!
//! Every quantity q has one most likely value, taken from the model's history corrected by what the rides
//! say of its error at such a speed (see `discrepancy`), and a variance that adds up
//!
//! - what remains unknown of that error, and the unknowns' covariance carried through,
//! - the garments' scatter: (∂q/∂ln m · s_m)² for mass, likewise for moisture,
//! - the probe's own doubt: all rides were read with it, so it shifts every temperature alike by U/2.
//!
//! low and high are two standard deviations away (k = 2). Doses are those of the most likely history
//! shifted by the doubt of the margin that belongs to them (see `limit`), as a measured trace's are
//! of T − U and T + U.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use super::Fit;
use super::carry::{CLOTH_PEAK, Carried, Extent, FIRST_MARGIN, PEAK};
use super::limit::{Limit, LimitName};
use super::ride::Trip;
use crate::heat::HeatError;
use crate::heat::curve::Curve;
use crate::heat::history::History;
use crate::judged::{Band, HarmDose};

/// A margin with its doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Which limit it is to.
    pub limit: LimitName,
    /// The most likely margin; positive is good.
    pub margin: CelsiusDifference,
    /// Its doubt, k = 2.
    pub doubt: CelsiusDifference,
}

impl Estimate {
    /// The margin with the doubt taken off: what is proved of it.
    pub fn guarded(&self) -> CelsiusDifference {
        CelsiusDifference(self.margin.0 - self.doubt.0)
    }
}

/// One moment of a predicted history.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// From where the heat begins.
    pub time: Seconds,
    /// Most likely temperature of the film where it is judged.
    pub film: Celsius,
    /// Its doubt, k = 2.
    pub doubt: CelsiusDifference,
}

/// What one print of the batch would go through.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// How it would go through the heat.
    pub trip: Trip,
    /// Peak of the film where it is judged: at its bottom, under a lamp at its surface. In °C.
    pub peak: Band,
    /// Seconds there at or above the ink's threshold.
    pub time_above: Band,
    /// Dose of the cure law.
    pub cure: Band,
    /// Doses of the harms, in the fabric's order.
    pub harms: Vec<HarmDose>,
    /// Peak of unprinted cloth, in °C.
    pub cloth_peak: Band,
    /// Margins to all limits.
    pub margins: Vec<Estimate>,
    /// The film's history.
    pub film: Vec<Moment>,
}

impl Fit {
    /// What a print of the batch would go through on another trip.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn predict(&self, trip: Trip) -> Result<Prediction, HeatError> {
        let carried = self.carry(trip, Extent::WithFilm)?;
        let Carried {
            history,
            values: best,
            ..
        } = &carried;
        let doubt = |number: usize| 2.0 * self.variance(&carried, number).sqrt();
        let band = |number: usize| Band {
            low: best[number] - doubt(number),
            best: best[number],
            high: best[number] + doubt(number),
        };
        let margins: Vec<Estimate> = self
            .limits
            .iter()
            .enumerate()
            .map(|(i, limit)| Estimate {
                limit: limit.name,
                margin: CelsiusDifference(best[FIRST_MARGIN + i]),
                doubt: CelsiusDifference(doubt(FIRST_MARGIN + i)),
            })
            .collect();
        let first_knot = FIRST_MARGIN + self.limits.len();
        let film = trip
            .watched(history)
            .times()
            .enumerate()
            .map(|(i, time)| Moment {
                time,
                film: Celsius(best[first_knot + i]),
                doubt: CelsiusDifference(doubt(first_knot + i)),
            })
            .collect();
        Ok(Prediction {
            trip,
            peak: band(PEAK),
            time_above: self.time_above(trip.watched(history), doubt(PEAK)),
            cure: self.dose(&self.cure, history, &margins),
            harms: self.harm_doses(history, &margins),
            cloth_peak: band(CLOTH_PEAK),
            margins,
            film,
        })
    }

    /// The margins of [`Fit::predict`] alone, which takes half the time.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn margins(&self, trip: Trip) -> Result<Vec<Estimate>, HeatError> {
        let carried = self.carry(trip, Extent::Margins)?;
        let estimates = self.limits.iter().enumerate().map(|(i, limit)| {
            let number = FIRST_MARGIN + i;
            Estimate {
                limit: limit.name,
                margin: CelsiusDifference(carried.values[number]),
                doubt: CelsiusDifference(2.0 * self.variance(&carried, number).sqrt()),
            }
        });
        Ok(estimates.collect())
    }

    /// The most likely margins, without their doubt, which takes a twentieth of the time.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn likely_margins(
        &self,
        trip: Trip,
    ) -> Result<Vec<(LimitName, CelsiusDifference)>, HeatError> {
        let raw = self.history(&self.guess(), trip)?;
        let history = self.corrected(&raw, trip);
        let margins = self.limits.iter();
        Ok(margins
            .map(|limit| (limit.name, limit.margin(&history)))
            .collect())
    }

    pub(super) fn time_above(&self, curve: &Curve, doubt: f64) -> Band {
        let at = |shift: f64| {
            let points: Vec<_> = curve.points(4).collect();
            points
                .windows(2)
                .map(|pair| {
                    let ((t0, from), (t1, to)) = (pair[0], pair[1]);
                    let span = t1.0 - t0.0;
                    crate::law::seconds_at_or_above(
                        self.threshold.0,
                        from.0 + shift,
                        to.0 + shift,
                        span,
                    )
                })
                .fold(0.0, |sum, seconds| sum + seconds)
        };
        Band {
            low: at(-doubt),
            best: at(0.0),
            high: at(doubt),
        }
    }

    pub(super) fn dose(&self, limit: &Limit, history: &History, margins: &[Estimate]) -> Band {
        let own = margins.iter().find(|margin| margin.limit == limit.name);
        let doubt = own.or(margins.first()).map_or(0.0, |margin| margin.doubt.0);
        Band {
            low: limit.dose(history, -doubt),
            best: limit.dose(history, 0.0),
            high: limit.dose(history, doubt),
        }
    }

    pub(super) fn harm_doses(&self, history: &History, margins: &[Estimate]) -> Vec<HarmDose> {
        let of = |limit: &Limit| match limit.name {
            LimitName::Harm(harm) => Some(HarmDose {
                harm,
                dose: self.dose(limit, history, margins),
            }),
            _ => None,
        };
        self.limits.iter().filter_map(of).collect()
    }
}
