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

use nalgebra::DMatrix;

use super::Fit;
use super::discrepancy::Place;
use super::limit::{Limit, LimitName};
use super::problem::moisture_scatter;
use super::ride::Trip;
use super::unknowns::{Guess, MOISTURE_SCATTER, Unknown};
use crate::heat::HeatError;
use crate::heat::history::History;
use crate::heat::run::{Columns, Model};
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
    /// Most likely temperature at the film's bottom.
    pub film: Celsius,
    /// Its doubt, k = 2.
    pub doubt: CelsiusDifference,
}

/// What one print of the batch would go through.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// How it would go through the heat.
    pub trip: Trip,
    /// Peak at the film's bottom, in °C.
    pub peak: Band,
    /// Seconds at or above the ink's threshold, at the film's bottom.
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

/// Step of z over which slopes are taken.
const STEP: f64 = 0.05;
/// Where quantities stand in the list that is carried through.
const PEAK: usize = 0;
const CLOTH_PEAK: usize = 1;
const FIRST_MARGIN: usize = 2;

/// Quantities of a history: peaks, margins, then the film knot by knot.
struct Quantities(Vec<f64>);

impl Fit {
    /// What a print of the batch would go through on another trip.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn predict(&self, trip: Trip) -> Result<Prediction, HeatError> {
        let guess = self.guess();
        let raw = self.history(&guess, trip)?;
        let history = self.corrected(&raw, trip);
        let variance = self.variance(trip, &raw, &history)?;
        let best = self.quantities(&history);
        let doubt = |number: usize| 2.0 * variance[number].sqrt();
        let band = |number: usize| Band {
            low: best.0[number] - doubt(number),
            best: best.0[number],
            high: best.0[number] + doubt(number),
        };
        let margins: Vec<Estimate> = self
            .limits
            .iter()
            .enumerate()
            .map(|(i, limit)| Estimate {
                limit: limit.name,
                margin: CelsiusDifference(best.0[FIRST_MARGIN + i]),
                doubt: CelsiusDifference(doubt(FIRST_MARGIN + i)),
            })
            .collect();
        let first_knot = FIRST_MARGIN + self.limits.len();
        let film = history
            .print
            .film_bottom
            .times()
            .enumerate()
            .map(|(i, time)| Moment {
                time,
                film: Celsius(best.0[first_knot + i]),
                doubt: CelsiusDifference(doubt(first_knot + i)),
            })
            .collect();
        Ok(Prediction {
            trip,
            peak: band(PEAK),
            time_above: self.time_above(&history, doubt(PEAK)),
            cure: self.dose(&self.cure, &history, &margins),
            harms: self.harm_doses(&history, &margins),
            cloth_peak: band(CLOTH_PEAK),
            margins,
            film,
        })
    }

    pub(super) fn history(&self, guess: &Guess, trip: Trip) -> Result<History, HeatError> {
        let model = Model::default();
        let journey = trip.journey(&guess.oven, model.after, model.pace);
        model.run(&guess.oven, &guess.print, &journey, Columns::PrintAndCloth)
    }

    /// A place of the discrepancy on a trip.
    fn place(&self, trip: Trip, time: f64, on_cloth: bool) -> Place {
        let stay = trip.stay(self.problem.base.oven.heated_length().0);
        Place {
            haste: trip.haste(),
            along: time / stay,
            on_cloth,
        }
    }

    /// The model's history with what the rides say of its error.
    pub(super) fn corrected(&self, history: &History, trip: Trip) -> History {
        let error = |time: Seconds, on_cloth: bool| {
            let known = self
                .problem
                .discrepancy
                .at(&self.place(trip, time.0, on_cloth));
            // Whitened misfits are model less reading.
            CelsiusDifference(-known.weights.dot(&self.whitened))
        };
        let mut corrected = history.clone();
        let film = history.print.film_bottom.times();
        let by: Vec<CelsiusDifference> = film.map(|time| error(time, false)).collect();
        corrected.print.film_bottom = history.print.film_bottom.corrected(&by);
        corrected.print.film_top = history.print.film_top.corrected(&by);
        if let (Some(corrected), Some(cloth)) = (&mut corrected.cloth, &history.cloth) {
            let by: Vec<CelsiusDifference> =
                cloth.top.times().map(|time| error(time, true)).collect();
            corrected.top = cloth.top.corrected(&by);
            corrected.hottest = cloth.hottest.corrected(&by);
        }
        corrected
    }

    fn quantities(&self, history: &History) -> Quantities {
        let cloth = history.cloth.as_ref();
        let mut values = vec![
            history.print.film_bottom.peak().0,
            cloth.map_or(f64::NAN, |cloth| cloth.hottest.peak().0),
        ];
        values.extend(self.limits.iter().map(|limit| limit.margin(history).0));
        values.extend(history.print.film_bottom.knots());
        Quantities(values)
    }

    /// Where along the way each quantity is decided.
    fn places(&self, history: &History, trip: Trip) -> Vec<Place> {
        let film = &history.print.film_bottom;
        let cloth = history.cloth.as_ref().map_or(film, |cloth| &cloth.hottest);
        let mut places = vec![
            self.place(trip, film.hottest_time().0, false),
            self.place(trip, cloth.hottest_time().0, true),
        ];
        for limit in &self.limits {
            let (time, on_cloth) = limit.decided(history);
            places.push(self.place(trip, time.0, on_cloth));
        }
        places.extend(film.times().map(|time| self.place(trip, time.0, false)));
        places
    }

    /// The variance of each quantity.
    fn variance(
        &self,
        trip: Trip,
        raw: &History,
        corrected: &History,
    ) -> Result<Vec<f64>, HeatError> {
        let unknowns = &self.problem.unknowns;
        let best = self.quantities(raw);
        let mut slopes = DMatrix::zeros(self.problem.z.len(), best.0.len());
        let mut scatter = vec![0.0; best.0.len()];
        for (i, unknown) in unknowns.iter().enumerate() {
            if *unknown == Unknown::Lag {
                continue;
            }
            let mut changed = self.problem.shared().to_vec();
            changed[i] += STEP;
            let history = self.history(&self.problem.guess(&changed), trip)?;
            for (number, value) in self.quantities(&history).0.iter().enumerate() {
                slopes[(i, number)] = (value - best.0[number]) / STEP;
            }
            if let Some(spread) = self.scatter(*unknown, self.problem.z[i]) {
                for (number, sum) in scatter.iter_mut().enumerate() {
                    *sum += (spread * slopes[(i, number)]).powi(2);
                }
            }
        }
        let places = self.places(corrected, trip);
        let senses = self.senses();
        Ok(places
            .iter()
            .enumerate()
            .map(|(number, place)| {
                let known = self.problem.discrepancy.at(place);
                let sense = senses.get(number).copied().unwrap_or(1.0);
                let own = slopes.column(number);
                let c = own - self.slopes.tr_mul(&known.weights) * sense;
                let carried = c.dot(&(&self.covariance * &c));
                carried + self.surplus * known.variance + scatter[number] + self.probe.powi(2)
            })
            .collect())
    }

    /// Whether each quantity rises (1) or falls (−1) with temperature, as far as margins go.
    fn senses(&self) -> Vec<f64> {
        let mut senses = vec![1.0; FIRST_MARGIN];
        senses.extend(self.limits.iter().map(Limit::sense));
        senses
    }

    /// One standard deviation of the garments' scatter, in z of an unknown.
    pub(super) fn scatter(&self, unknown: Unknown, z: f64) -> Option<f64> {
        let in_z = unknown.spread() * Unknown::bent(z).1;
        let print = &self.problem.base.print;
        match unknown {
            Unknown::Mass => Some(0.5 * self.options.mass_scatter.0 / in_z),
            Unknown::Moisture => {
                let share = 0.5 * self.options.regain_scatter.0 / MOISTURE_SCATTER;
                Some(share * moisture_scatter(print) / in_z)
            }
            _ => None,
        }
    }

    pub(super) fn time_above(&self, history: &History, doubt: f64) -> Band {
        let at = |shift: f64| {
            let points: Vec<_> = history.print.film_bottom.points(4).collect();
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
                .sum()
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
