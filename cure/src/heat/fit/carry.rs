//! How the doubt of a fit is carried to what it predicts.

use nalgebra::{DMatrix, DVector};

use inkdwell_config::quantity::{CelsiusDifference, Seconds};

use super::Fit;
use super::discrepancy::Place;
use super::limit::Limit;
use super::problem::moisture_scatter;
use super::ride::Trip;
use super::unknowns::{Guess, MOISTURE_SCATTER, Unknown};
use crate::heat::HeatError;
use crate::heat::curve::Curve;
use crate::heat::history::History;
use crate::heat::run::{Columns, Model};

/// Step of z over which slopes are taken.
const STEP: f64 = 0.05;

/// Where quantities stand in the list that is carried: the film's peak,
pub(super) const PEAK: usize = 0;
/// unprinted cloth's peak,
pub(super) const CLOTH_PEAK: usize = 1;
/// and the margins to all limits; then, if asked for, the film and unprinted cloth knot by knot.
pub(super) const FIRST_MARGIN: usize = 2;

/// How much is carried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Extent {
    /// Peaks and margins.
    Margins,
    /// These and the history of film and cloth.
    WithHistory,
}

/// A predicted history with what its quantities depend on.
pub(super) struct Carried {
    /// The model's history with what the rides say of its error.
    pub(super) history: History,
    /// The most likely value of each quantity.
    pub(super) values: Vec<f64>,
    /// Where along the way each is decided, and whether it rises (1) or falls (−1) with temperature.
    places: Vec<(Place, f64)>,
    /// Slopes by z: rows by unknown, columns by quantity.
    slopes: DMatrix<f64>,
    /// Variance that the scatter of the garments' mass makes, and that of their moisture.
    scatter: Vec<[f64; 2]>,
}

/// How one quantity depends on what a fit does not know for sure.
pub(super) struct Dependence {
    place: Place,
    sense: f64,
    /// L⁻¹ k*.
    weights: DVector<f64>,
    /// ∂q/∂z − Jᵀ R⁻¹ k*.
    slopes: DVector<f64>,
    /// Variance of the garments' scatter: of their mass, of their moisture.
    pub(super) scatter: [f64; 2],
}

impl Fit {
    /// Predicts a trip, with slopes.
    pub(super) fn carry(&self, trip: Trip, extent: Extent) -> Result<Carried, HeatError> {
        let raw = self.history(&self.guess(), trip)?;
        let history = self.corrected(&raw, trip);
        let values = self.quantities(&history, (trip, extent), None);
        let best = self.quantities(&raw, (trip, extent), Some(&values));
        let mut slopes = DMatrix::zeros(self.problem.z.len(), best.len());
        let mut scatter = vec![[0.0; 2]; best.len()];
        for (i, unknown) in self.problem.unknowns.iter().enumerate() {
            if *unknown == Unknown::Lag {
                continue;
            }
            let mut changed = self.problem.shared().to_vec();
            changed[i] += STEP;
            let other = self.history(&self.problem.guess(&changed), trip)?;
            let others = self.quantities(&other, (trip, extent), Some(&best));
            for (number, value) in others.iter().enumerate() {
                slopes[(i, number)] = (value - best[number]) / STEP;
            }
            if let Some(spread) = self.scatter(*unknown, self.problem.z[i]) {
                let part = usize::from(*unknown == Unknown::Moisture);
                for (number, parts) in scatter.iter_mut().enumerate() {
                    parts[part] += (spread * slopes[(i, number)]).powi(2);
                }
            }
        }
        Ok(Carried {
            places: self.places(&history, trip, extent),
            history,
            values,
            slopes,
            scatter,
        })
    }

    /// What one quantity depends on.
    pub(super) fn dependence(&self, carried: &Carried, number: usize) -> Dependence {
        let (place, sense) = carried.places[number];
        let weights = self.problem.discrepancy.weights(&place);
        let slopes = carried.slopes.column(number) - self.slopes.tr_mul(&weights) * sense;
        Dependence {
            place,
            sense,
            weights,
            slopes,
            scatter: carried.scatter[number],
        }
    }

    /// The variance of one quantity for one print of the batch.
    pub(super) fn variance(&self, carried: &Carried, number: usize) -> f64 {
        let dependence = self.dependence(carried, number);
        let scatter: f64 = dependence.scatter.iter().sum();
        self.covariance(&dependence, &dependence)
            + self.own(&dependence)
            + scatter
            + self.probe.powi(2)
    }

    /// The covariance of two quantities of the batch's middle garment, the probe's own doubt left out.
    pub(super) fn covariance(&self, a: &Dependence, b: &Dependence) -> f64 {
        let error = a.place.covariance(&b.place) - a.weights.dot(&b.weights);
        self.of_unknowns(a, b) + self.surplus * a.sense * b.sense * error
    }

    /// What is added to its variance because a print has something of its own.
    pub(super) fn own(&self, of: &Dependence) -> f64 {
        self.surplus * of.place.own(&of.place)
    }

    /// The part of it that comes from the unknowns.
    pub(super) fn of_unknowns(&self, a: &Dependence, b: &Dependence) -> f64 {
        a.slopes.dot(&(&self.spread * &b.slopes))
    }

    pub(super) fn history(&self, guess: &Guess, trip: Trip) -> Result<History, HeatError> {
        let model = Model::default();
        let journey = trip.journey(&guess.oven, model.after, model.pace);
        model.run(&guess.oven, &guess.print, &journey, Columns::PrintAndCloth)
    }

    /// A place of the model's error on a trip.
    pub(super) fn place(&self, trip: Trip, time: f64, on_cloth: bool) -> Place {
        let stay = trip.stay(self.problem.base.oven.heated_length().0);
        Place {
            haste: trip.haste(),
            along: time / stay,
            on_cloth,
            dries: self.problem.base.print.dries(),
        }
    }

    /// The model's history with what the rides say of its error.
    pub(super) fn corrected(&self, history: &History, trip: Trip) -> History {
        self.corrected_as_if(history, trip, 0.0)
    }

    /// The same, as if the rides had been made at speeds that are faster by so much (ln).
    pub(super) fn corrected_as_if(&self, history: &History, trip: Trip, faster: f64) -> History {
        let error = |time: Seconds, on_cloth: bool| {
            let place = self.place(trip, time.0, on_cloth).slower(faster);
            // What was explained is model less reading.
            let error = &self.problem.discrepancy;
            CelsiusDifference(-error.carried_to(&place, &self.explained))
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

    /// All quantities of a history; `near` are those of a similar one.
    fn quantities(
        &self,
        history: &History,
        (trip, extent): (Trip, Extent),
        near: Option<&[f64]>,
    ) -> Vec<f64> {
        let cloth = history.cloth.as_ref();
        let mut values = vec![
            trip.watched(history).peak().0,
            cloth.map_or(f64::NAN, |cloth| cloth.hottest.peak().0),
        ];
        values.extend(self.limits.iter().enumerate().map(|(i, limit)| {
            let near = near.map(|near| CelsiusDifference(near[FIRST_MARGIN + i]));
            limit.margin_near(history, near).0
        }));
        if extent == Extent::WithHistory {
            values.extend(trip.watched(history).knots());
            values.extend(cloth.iter().flat_map(|cloth| cloth.hottest.knots()));
        }
        values
    }

    /// Where along the way each quantity is decided, and its sense.
    fn places(&self, history: &History, trip: Trip, extent: Extent) -> Vec<(Place, f64)> {
        let film = trip.watched(history);
        let cloth = history.cloth.as_ref().map_or(film, |cloth| &cloth.hottest);
        let mut places = vec![
            (self.place(trip, film.hottest_time().0, false), 1.0),
            (self.place(trip, cloth.hottest_time().0, true), 1.0),
        ];
        let decided = |limit: &Limit| {
            let (time, on_cloth) = limit.decided(history);
            (self.place(trip, time.0, on_cloth), limit.sense())
        };
        places.extend(self.limits.iter().map(decided));
        if extent == Extent::WithHistory {
            let knots = |curve: &Curve, on_cloth: bool| -> Vec<(Place, f64)> {
                let times = curve.times();
                times
                    .map(|time| (self.place(trip, time.0, on_cloth), 1.0))
                    .collect()
            };
            places.extend(knots(film, false));
            places.extend(
                history
                    .cloth
                    .iter()
                    .flat_map(|cloth| knots(&cloth.hottest, true)),
            );
        }
        places
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
}
