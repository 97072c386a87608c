//! The model about one place of the lattice: what is seen and judged there, and how that changes.

use nalgebra::{DMatrix, DVector};

use inkdwell_config::quantity::{CelsiusDifference, MetresPerSecond, Seconds};

use super::super::Fit;
use super::super::discrepancy::Place as Where;
use super::super::ride::Trip;
use super::super::unknowns::Guess;
use super::account::{ExitCause, FILM, FIRST_ZONE, HOTTER, MASS, MOISTURE, SPEED};
use super::print::{Leaving, Passing};
use super::{ExitModel, Kind, STEP};
use crate::heat::HeatError;
use crate::heat::history::History;
use crate::heat::journey::Journey;
use crate::heat::run::{Columns, Model};

/// Steps of the lattice: °C of the sources, ln of mass, water, ln of speed.
const LATTICE: [f64; 4] = [5.0, 0.08, 0.03, 0.02];
/// No place is further out than this in the same units.
const FARTHEST: [f64; 3] = [140.0, 1.2, 1.0];
/// How much further a panel's temperature is changed than the air's.
const PANELS: f64 = 2.0;
/// Steps over which slopes in u are taken.
const WARMER: f64 = 1.0;
const HEAVIER: f64 = 0.02;
const WETTER: f64 = 0.005;
const THICKER: f64 = 0.02;
const FASTER: f64 = 0.01;

/// Standard deviation of the model at the probe where nothing has changed since the reference, in °C, and for
/// each degree of the sources, each ln of speed, and each ln of mass.
const AT_PROBE: [f64; 4] = [0.25, 0.02, 6.0, 1.0];
/// The same of an unprinted margin.
const AT_MARGIN: [f64; 4] = [1.2, 0.08, 8.0, 4.0];
/// The same of the bare belt.
const AT_BELT: [f64; 4] = [0.8, 0.15, 8.0, 0.0];
/// The same of the film where it is judged.
const IN_FILM: [f64; 4] = [0.8, 0.04, 5.0, 3.0];
/// Beside that, for each degree that one zone is hotter or cooler by itself: how much of what it gives reaches the film
/// and how much is left at the exit depend on where along the belt it sits, which the model knows least of. No source;
/// the simulated dryers differ by about as much.
const ZONE_IN_FILM: f64 = 0.08;

/// A place of the lattice.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Setting {
    /// In steps: sources, mass, water.
    steps: [i32; 3],
    /// A zone that is hotter by itself, in steps of the sources.
    zone: Option<(usize, i32)>,
    /// How the print passes there.
    passing: Passing,
    /// ln of its speed over the reference's.
    pub(super) haste: f64,
}

impl Setting {
    /// The place nearest to z and u, as an account has them.
    pub(super) fn near(
        y: &DVector<f64>,
        cause: ExitCause,
        print: &Leaving,
        reference: f64,
    ) -> Setting {
        let first = y.len() - print.parts;
        let step = |part: usize, number: usize| {
            let limit = FARTHEST[number];
            (y[first + part].clamp(-limit, limit) / LATTICE[number]).round() as i32
        };
        let zone = match cause {
            ExitCause::Zone(zone) => Some((zone, step(FIRST_ZONE + zone, 0))),
            _ => None,
        };
        let faster = y[first + SPEED].clamp(-0.5, 0.5);
        let (passing, haste) = match &print.passing {
            Passing::Steady(speed) => {
                let haste =
                    LATTICE[3] * (((speed.0 / reference).ln() + faster) / LATTICE[3]).round();
                let speed = MetresPerSecond(reference * haste.exp());
                (Passing::Steady(speed), haste)
            }
            changing @ Passing::Changing(_) => {
                // One that changed is its own place, faster or slower by whole steps.
                let factor = LATTICE[3] * (faster / LATTICE[3]).round();
                let passing = changing.faster(factor.exp());
                let haste = (passing.mean_speed() / reference).ln();
                (passing, haste)
            }
        };
        Setting {
            steps: [step(HOTTER, 0), step(MASS, 1), step(MOISTURE, 2)],
            zone: zone.filter(|zone| zone.1 != 0),
            passing,
            haste,
        }
    }

    /// By how much a zone is hotter by itself there.
    fn zone(&self, number: usize) -> f64 {
        let own = self.zone.filter(|own| own.0 == number);
        own.map_or(0.0, |own| f64::from(own.1) * LATTICE[0])
    }

    fn part(&self, number: usize) -> f64 {
        f64::from(self.steps[number]) * LATTICE[number]
    }

    /// Variance of the model in what a probe sees.
    pub(super) fn model_variance(&self, kind: Kind) -> f64 {
        let deviation = match kind {
            Kind::Print => AT_PROBE,
            Kind::Margin => AT_MARGIN,
            Kind::Belt => AT_BELT,
        };
        self.deviation(deviation).powi(2)
    }

    /// Variance of the model where the film is judged.
    pub(super) fn film_variance(&self) -> f64 {
        (self.deviation(IN_FILM) + ZONE_IN_FILM * self.alone()).powi(2)
    }

    /// By how many degrees one zone is hotter or cooler by itself.
    fn alone(&self) -> f64 {
        self.zone.map_or(0.0, |zone| self.zone(zone.0)).abs()
    }

    fn deviation(&self, [least, degree, haste, mass]: [f64; 4]) -> f64 {
        let hotter = self.part(0).abs() + self.alone();
        least + degree * hotter + haste * self.haste.abs() + mass * self.part(1).abs()
    }
}

/// The model about a place.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub(super) setting: Setting,
    /// What the probes see.
    pub(super) sights: Vec<f64>,
    /// Slopes of that: rows by z and u, columns by sight.
    pub(super) sight_slopes: DMatrix<f64>,
    /// The film's peak, then all margins, of the corrected history.
    pub(super) quantities: Vec<f64>,
    /// Slopes of those: rows by z and u, columns by quantity.
    pub(super) slopes: DMatrix<f64>,
    /// Variance of the model's error that the ride leaves of each quantity.
    pub(super) errors: Vec<f64>,
    /// The history with what the ride says of its error.
    pub(super) history: History,
}

impl Place {
    /// z and u of the place, for a print.
    pub(super) fn offset(&self, print: &Leaving, reference: f64) -> DVector<f64> {
        let count = self.slopes.nrows();
        let mut offset = DVector::zeros(count);
        let first = count - print.parts;
        for (number, part) in [HOTTER, MASS, MOISTURE].into_iter().enumerate() {
            offset[first + part] = self.setting.part(number);
        }
        for zone in 0..print.parts - FIRST_ZONE {
            offset[first + FIRST_ZONE + zone] = self.setting.zone(zone);
        }
        let own = (print.passing.mean_speed() / reference).ln();
        offset[first + SPEED] = self.setting.haste - own;
        offset
    }
}

/// What is different about a print, in u.
#[derive(Debug, Clone, Default)]
struct Change {
    hotter: f64,
    mass: f64,
    moisture: f64,
    film: f64,
    zones: Vec<f64>,
}

impl Change {
    fn apply(&self, guess: &mut Guess) {
        for (number, zone) in guess.oven.zones.iter_mut().enumerate() {
            let hotter = self.hotter + self.zones.get(number).copied().unwrap_or(0.0);
            zone.air.0 += hotter;
            zone.panel.0 += if zone.panel_share.0 > 0.0 {
                PANELS * hotter
            } else {
                hotter
            };
        }
        let print = &mut guess.print;
        print.cloth.mass.0 *= self.mass.exp();
        print.cloth.moisture.0 = (print.cloth.moisture.0 + self.moisture).max(0.0);
        if let Some(film) = &mut print.film {
            film.thickness.0 *= self.film.exp();
        }
    }
}

impl ExitModel<'_> {
    /// Forgets all places where they have become many. Never while a print is inferred, which knows places by their
    /// numbers.
    pub(super) fn forget(&mut self) {
        if self.places.len() >= MOST_PLACES {
            self.places.clear();
        }
    }

    /// The place of a setting, looked at now if nobody has yet.
    pub(super) fn place(&mut self, setting: &Setting, print: &Leaving) -> Result<usize, HeatError> {
        if let Some(known) = self
            .places
            .iter()
            .position(|place| place.setting == *setting)
        {
            return Ok(known);
        }
        let place = self.look(setting, print)?;
        self.places.push(place);
        Ok(self.places.len() - 1)
    }

    fn look(&self, setting: &Setting, print: &Leaving) -> Result<Place, HeatError> {
        let fit = self.fit;
        let at = Change {
            hotter: setting.part(0),
            mass: setting.part(1),
            moisture: setting.part(2),
            film: 0.0,
            zones: (0..fit.problem.base.oven.zones.len())
                .map(|zone| setting.zone(zone))
                .collect(),
        };
        let run = |z: &[f64], change: &Change, passing: &Passing| {
            let mut guess = fit.problem.guess(z);
            guess.oven.room.temperature = self.room;
            change.apply(&mut guess);
            Ok::<_, HeatError>((
                fit.along(&guess, passing)?,
                self.belts(&guess.oven, passing),
            ))
        };
        let shared = fit.problem.shared();
        let passing = &setting.passing;
        let (raw, belts) = run(shared, &at, passing)?;
        let trip = Trip::Belt(MetresPerSecond(passing.mean_speed()));
        // Of a ride that is only imagined at another speed, its readings would tell as much there.
        let imagined = (self.speed / self.ridden).ln();
        let history = fit.corrected_as_if(&raw, trip, imagined);
        let quantities = fit.asked_of(&history, None);
        let (sights, best) = (
            self.sights((&raw, &belts), passing),
            fit.asked_of(&raw, None),
        );
        let fitted = fit.problem.z.len();
        let count = fitted + print.parts;
        let mut sight_slopes = DMatrix::zeros(count, sights.len());
        let mut slopes = DMatrix::zeros(count, best.len());
        let mut enter =
            |row: usize, (other, belts): &(History, Vec<f64>), passing: &Passing, step: f64| {
                for (column, sight) in self.sights((other, belts), passing).iter().enumerate() {
                    sight_slopes[(row, column)] = (sight - sights[column]) / step;
                }
                let others = fit.asked_of(other, Some(&best));
                for (column, value) in others.iter().enumerate() {
                    slopes[(row, column)] = (value - best[column]) / step;
                }
            };
        for i in self.shared_unknowns() {
            let mut z = shared.to_vec();
            z[i] += STEP;
            enter(i, &run(&z, &at, passing)?, passing, STEP);
        }
        let own = |change: Change| run(shared, &change, passing);
        let more = [
            (
                HOTTER,
                WARMER,
                own(Change {
                    hotter: at.hotter + WARMER,
                    ..at.clone()
                })?,
            ),
            (
                MASS,
                HEAVIER,
                own(Change {
                    mass: at.mass + HEAVIER,
                    ..at.clone()
                })?,
            ),
            (
                MOISTURE,
                WETTER,
                own(Change {
                    moisture: at.moisture + WETTER,
                    ..at.clone()
                })?,
            ),
            (
                FILM,
                THICKER,
                own(Change {
                    film: THICKER,
                    ..at.clone()
                })?,
            ),
        ];
        for (part, step, other) in &more {
            enter(fitted + part, other, passing, *step);
        }
        for zone in 0..print.parts - FIRST_ZONE {
            let mut change = at.clone();
            change.zones[zone] += WARMER;
            enter(fitted + FIRST_ZONE + zone, &own(change)?, passing, WARMER);
        }
        let faster = passing.faster(FASTER.exp());
        let other = run(shared, &at, &faster)?;
        enter(fitted + SPEED, &other, &faster, FASTER);
        // What the ride says of the model's error changes with z as well.
        let mut errors = Vec::with_capacity(best.len());
        for (number, (place, sense)) in fit.decided(&history, trip).into_iter().enumerate() {
            let place = place.slower(imagined);
            let weights = fit.problem.discrepancy.weights(&place);
            let said = fit.slopes.tr_mul(&weights) * sense;
            for row in 0..fitted {
                slopes[(row, number)] -= said[row];
            }
            // What a print has of its own is among what its accounts leave open.
            let left = place.covariance(&place) - weights.dot(&weights);
            errors.push(fit.surplus * left.max(0.0));
        }
        Ok(Place {
            setting: setting.clone(),
            sights,
            sight_slopes,
            quantities,
            slopes,
            errors,
            history,
        })
    }
}

/// So many places are remembered, some tens of kilobytes each.
const MOST_PLACES: usize = 512;

impl Fit {
    /// The peak of the film's bottom, then all margins; `near` are those of a similar history.
    pub(super) fn asked_of(&self, history: &History, near: Option<&[f64]>) -> Vec<f64> {
        let peak = history.print.film_bottom.peak().0;
        let margins = self.limits.iter().enumerate().map(|(number, limit)| {
            let near = near.map(|near| CelsiusDifference(near[number + 1]));
            limit.margin_near(history, near).0
        });
        std::iter::once(peak).chain(margins).collect()
    }

    /// Where along the way each of these is decided, and whether it rises with temperature.
    fn decided(&self, history: &History, trip: Trip) -> Vec<(Where, f64)> {
        let at = |time: Seconds, on_cloth| self.place(trip, time.0, on_cloth);
        let peak = history.print.film_bottom.hottest_time();
        let mut decided = vec![(at(peak, false), 1.0)];
        decided.extend(self.limits.iter().map(|limit| {
            let (time, on_cloth) = limit.decided(history);
            (at(time, on_cloth), limit.sense())
        }));
        decided
    }

    /// A print's history on its way, and the cloth's beside it.
    pub(super) fn along(&self, guess: &Guess, passing: &Passing) -> Result<History, HeatError> {
        let model = Model::default();
        let speed = MetresPerSecond(passing.mean_speed());
        let steady = Journey::by_belt(&guess.oven, speed, model.after, model.pace);
        let journey = passing.bent(steady, guess.oven.heated_length().0);
        model.run(&guess.oven, &guess.print, &journey, Columns::PrintAndCloth)
    }
}
