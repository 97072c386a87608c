//! What a fitted model says of a print at a speed that nobody rode.
//!
//! Every quantity q has one most likely value, taken from the model's history corrected by what the rides
//! say of its error at such a speed (see `discrepancy`), and a variance that adds up
//!
//! - what remains unknown of that error, and the unknowns' covariance carried through,
//! - the garments' scatter: (∂q/∂ln m · s_m)² for mass, likewise for moisture,
//! - the probe's own doubt: all rides were read with it, so it shifts every temperature alike by U/2.
//!
//! low and high are two standard deviations away (k = 2). Doses and the time above the threshold are those
//! of the most likely history with each moment's own doubt taken off or added, as a measured trace's are of
//! T − U and T + U: on its steep way up a print is known less well than at its peak, and where it begins to
//! count is half of what counts. Whether a limit is met is decided by its margin, of which more is known
//! (that moments err together, see `limit`), and the doses never say otherwise.

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
        let carried = self.carry(trip, Extent::WithHistory)?;
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
        let watched = trip.watched(history);
        let first_knot = FIRST_MARGIN + self.limits.len();
        let knots = watched.times().count();
        let doubts = |from: usize, to: usize| (from..to).map(doubt).collect::<Vec<f64>>();
        let film_doubts = doubts(first_knot, first_knot + knots);
        let cloth_doubts = doubts(first_knot + knots, best.len());
        let film = watched
            .times()
            .zip(watched.knots().zip(&film_doubts))
            .map(|(time, (film, doubt))| Moment {
                time,
                film: Celsius(film),
                doubt: CelsiusDifference(*doubt),
            })
            .collect();
        let cold = doubted(history, -1.0, &film_doubts, &cloth_doubts);
        let hot = doubted(history, 1.0, &film_doubts, &cloth_doubts);
        let dose = |limit: &Limit| {
            let band = Band {
                low: limit.dose(&cold, 0.0),
                best: limit.dose(history, 0.0),
                high: limit.dose(&hot, 0.0),
            };
            let own = margins.iter().find(|margin| margin.limit == limit.name);
            own.map_or(band, |margin| decided(band, margin, limit.sense()))
        };
        let above = |history: &History| self.seconds_above(trip.watched(history));
        Ok(Prediction {
            trip,
            peak: band(PEAK),
            time_above: Band {
                low: above(&cold),
                best: above(history),
                high: above(&hot),
            },
            cure: dose(&self.cure),
            harms: self
                .limits
                .iter()
                .filter_map(|limit| match limit.name {
                    LimitName::Harm(harm) => Some(HarmDose {
                        harm,
                        dose: dose(limit),
                    }),
                    _ => None,
                })
                .collect(),
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

    /// Seconds at or above the ink's threshold.
    fn seconds_above(&self, curve: &Curve) -> f64 {
        let points: Vec<_> = curve.points(4).collect();
        points
            .windows(2)
            .map(|pair| {
                let ((t0, from), (t1, to)) = (pair[0], pair[1]);
                let span = t1.0 - t0.0;
                crate::law::seconds_at_or_above(self.threshold.0, from.0, to.0, span)
            })
            .fold(0.0, |sum, seconds| sum + seconds)
    }
}

/// A history with each moment's doubt added `times` over.
fn doubted(history: &History, times: f64, film: &[f64], cloth: &[f64]) -> History {
    let scaled = |doubts: &[f64]| -> Vec<CelsiusDifference> {
        let scaled = doubts.iter().map(|doubt| CelsiusDifference(times * doubt));
        scaled.collect()
    };
    let (film, cloth) = (scaled(film), scaled(cloth));
    let mut doubted = history.clone();
    for curve in [&mut doubted.print.film_top, &mut doubted.print.film_bottom] {
        *curve = curve.corrected(&film);
    }
    if let Some(own) = &mut doubted.cloth {
        own.hottest = own.hottest.corrected(&cloth);
    }
    doubted
}

/// Just below 1.
const NOT_QUITE: f64 = 1.0 - 1e-9;

/// A dose's band, held to what its margin says of the limit: that it is met for sure, surely not met, or neither.
fn decided(band: Band, margin: &Estimate, sense: f64) -> Band {
    let (least, most) = (
        margin.margin.0 - margin.doubt.0,
        margin.margin.0 + margin.doubt.0,
    );
    let (surely_above, surely_below) = if sense > 0.0 {
        (least >= 0.0, most < 0.0)
    } else {
        (most < 0.0, least >= 0.0)
    };
    Band {
        low: if surely_above {
            band.low.max(1.0)
        } else {
            band.low.min(NOT_QUITE)
        },
        best: band.best,
        high: if surely_below {
            band.high.min(NOT_QUITE)
        } else {
            band.high.max(1.0)
        },
    }
}
