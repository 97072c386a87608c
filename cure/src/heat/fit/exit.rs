//! From the temperature at which a print leaves the heat to what its film went through.
//!
//! The ride that the model was fitted to was seen by the exit probes as well. What a probe showed of that print,
//! X₀, and what it shows of a later one, X, err alike (emissivity alone reads some degrees off), so that
//! only their difference counts:
//!
//!   X − X₀ = S(z, u) − S₀(z) + e.
//!
//! S is what the model says passes the probe: the print's surface, where the spot sees it apart its bare margin,
//! and the bare belt beside it (`bare_belt`), which knows nothing of garments; at one probe or two. z are the fit's unknowns with their covariance; u is what may be different
//! about this print: all sources hotter, one zone more than the others, its garment's mass and
//! water, its film, the belt against its signal. Each has a normal distribution beforehand; e is the
//! probe's doubt and the model's own. The most likely z and u given X, and their covariance, follow by
//! Gauss–Newton steps, each of them the update of a Kalman filter. The film's history at that u, corrected
//! by what the ride says of the model's error, is then judged like a ride; the covariance of z and u, carried
//! to its margins, is the doubt: the probe's U times the model's own amplification among it.
//!
//! Several accounts of what may be different are held against each other (`account`): a garment of the batch in
//! a chamber as it was, in one that has changed, or one zone of which has sagged; a wet garment; one of other
//! mass. Each is weighed by how likely it is beforehand and how well it explains what was seen: exp(−χ²/2). That an
//! account which leaves much open might have shown anything is not held against it (as a marginal likelihood
//! would), since of the prints that have its fault hardly any may be called cured. What is inferred is their
//! mixture (`mixture`), and its band holds as much of it as two standard deviations hold of a normal distribution:
//! a print is proved where hardly any account that is left standing has it fail.
//!
//! The model is only run where nothing near has been run before: slopes are taken at places of a lattice
//! in u and are good between them.

mod account;
mod bare_belt;
mod mixture;
mod outlook;
mod place;
mod print;

use nalgebra::{DMatrix, DVector};

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds};

use super::Fit;
use super::ride::Trip;
use super::unknowns::Unknown;
use crate::heat::HeatError;
use crate::heat::history::History;
use crate::heat::oven::Oven;

pub use account::ExitCause;
pub use outlook::{Elsewhere, MOST_PRINTS, Outlook};
pub use print::{Inferred, Leaving, Passing, Shown};

use account::Account;
use bare_belt::bare_belt;
use place::{Place, Setting};

/// Where an exit probe sits, and how well it repeats itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExitProbe {
    /// From the end of the heated length to its spot.
    pub distance: Metres,
    /// Expanded uncertainty (k = 2) with which it shows one print against another.
    pub uncertainty: CelsiusDifference,
}

/// What is told to infer from: a fit, the probes, and what they showed of the print that was ridden.
#[derive(Debug, Clone)]
pub struct ExitModel<'a> {
    fit: &'a Fit,
    probes: Vec<ExitProbe>,
    reference: Vec<Option<Shown>>,
    /// The reference's speed, in m/s, which may be imagined, …
    speed: f64,
    /// … and the one at which it was ridden.
    ridden: f64,
    /// The room of the run.
    room: Celsius,
    /// What the model says the probes see of the reference's print: prints, then margins.
    sights: Vec<f64>,
    /// Their slopes: rows by z, columns by sight.
    sight_slopes: DMatrix<f64>,
    /// Places of the lattice that have been looked at.
    places: Vec<Place>,
}

/// Steps over which slopes are taken in z.
const STEP: f64 = 0.05;

impl<'a> ExitModel<'a> {
    /// Makes ready to infer. `reference` is what each probe showed of the fit's first ride; `room` is that of
    /// the run.
    ///
    /// # Errors
    /// Where the model has no answer, or the ride was none of a belt.
    pub fn new(
        fit: &'a Fit,
        probes: Vec<ExitProbe>,
        reference: Vec<Option<Shown>>,
        room: Celsius,
    ) -> Result<ExitModel<'a>, HeatError> {
        let Some(Trip::Belt(speed)) = fit.rides.first().map(|ride| ride.trip) else {
            return Err(HeatError::Unsettled);
        };
        let model = ExitModel {
            fit,
            probes,
            reference,
            speed: speed.0,
            ridden: speed.0,
            room,
            sights: Vec::new(),
            sight_slopes: DMatrix::zeros(0, 0),
            places: Vec::new(),
        };
        model.at_speed(speed)
    }

    /// The same, as if the reference had been ridden at another speed and had shown the same.
    fn at_speed(&self, speed: MetresPerSecond) -> Result<ExitModel<'a>, HeatError> {
        let mut model = ExitModel {
            speed: speed.0,
            places: Vec::new(),
            ..self.clone()
        };
        let fit = self.fit;
        let at = |z: &DVector<f64>| model.reference_sights(z);
        let sights = at(&fit.problem.z)?;
        let mut slopes = DMatrix::zeros(fit.problem.z.len(), sights.len());
        let own = fit.problem.own(0);
        let shared = model.shared_unknowns();
        for i in shared.chain([own + 1, own + 2]) {
            let mut z = fit.problem.z.clone();
            z[i] += STEP;
            for (number, sight) in at(&z)?.iter().enumerate() {
                slopes[(i, number)] = (sight - sights[number]) / STEP;
            }
        }
        (model.sights, model.sight_slopes) = (sights, slopes);
        Ok(model)
    }

    /// Unknowns that matter for what is seen and judged.
    fn shared_unknowns(&self) -> impl Iterator<Item = usize> + use<> {
        let unknowns = self.fit.problem.unknowns.clone();
        (0..unknowns.len()).filter(move |i| unknowns[*i] != Unknown::Lag)
    }

    /// What the model says the probes saw of the ridden print.
    fn reference_sights(&self, z: &DVector<f64>) -> Result<Vec<f64>, HeatError> {
        let problem = &self.fit.problem;
        let mut guess = problem.guess(&z.as_slice()[..problem.unknowns.len()]);
        let own = problem.own(0);
        guess.print = super::problem::own_garment(&guess.print, z[own + 1], z[own + 2]);
        if let Some(room) = problem.passages[0].room {
            guess.oven.room.temperature = room;
        }
        let passing = Passing::Steady(MetresPerSecond(self.speed));
        let history = self.fit.along(&guess, &passing)?;
        let belts = self.belts(&guess.oven, &passing);
        Ok(self.sights((&history, &belts), &passing))
    }

    /// What the probes see of the bare belt beside a print.
    fn belts(&self, oven: &Oven, passing: &Passing) -> Vec<f64> {
        let heated = history_length(self.fit);
        let places = self.probes.iter().map(|probe| heated + probe.distance.0);
        places
            .map(|place| bare_belt(oven, passing, Metres(place)))
            .collect()
    }

    /// What the probes see of a history: prints, then margins, then the belt.
    fn sights(&self, (history, belts): (&History, &[f64]), passing: &Passing) -> Vec<f64> {
        let heated = history_length(self.fit);
        let times = || {
            self.probes
                .iter()
                .map(|probe| passing.time_at(heated + probe.distance.0))
        };
        let prints = times().map(|time| history.print.film_top.at(Seconds(time)).0);
        let margins = times().map(|time| {
            let cloth = history.cloth.as_ref();
            cloth.map_or(f64::NAN, |cloth| cloth.top.at(Seconds(time)).0)
        });
        prints.chain(margins).chain(belts.iter().copied()).collect()
    }

    /// What the film of a print went through.
    ///
    /// # Errors
    /// Where the model has no answer, or nothing explains what was seen.
    pub fn infer(&mut self, print: &Leaving) -> Result<Inferred, HeatError> {
        let seen = self.seen(print);
        if seen.is_empty() {
            return Err(HeatError::Unsettled);
        }
        self.forget();
        let usual = DVector::zeros(self.fit.problem.z.len() + print.parts);
        let usual = Setting::near(&usual, ExitCause::AsRidden, print, self.speed);
        let usual = self.place(&usual, print)?;
        let mut told = Vec::new();
        for account in Account::all(self.fit, print, seen.len()) {
            told.push(self.explain(print, &seen, &account)?);
        }
        print::summed_up(self, (&told, usual), print)
    }

    /// Differences to the reference: which sight, how much warmer, and its variance (without the model's).
    fn seen(&self, print: &Leaving) -> Vec<Sight> {
        let mut seen = Vec::new();
        for (number, (now, then)) in print.shown.iter().zip(&self.reference).enumerate() {
            let (Some(now), Some(then)) = (now, then) else {
                continue;
            };
            let probe = (0.5 * self.probes[number].uncertainty.0).powi(2);
            let variance = probe + now.noise.powi(2) + then.noise.powi(2);
            let parts = [
                (Kind::Print, Some(now.print), Some(then.print)),
                (Kind::Margin, now.margin, then.margin),
                (Kind::Belt, now.belt, then.belt),
            ];
            for (order, (kind, now, then)) in parts.into_iter().enumerate() {
                if let (Some(now), Some(then)) = (now, then) {
                    seen.push(Sight {
                        number: order * self.probes.len() + number,
                        difference: now.0 - then.0,
                        variance,
                        kind,
                    });
                }
            }
        }
        seen
    }

    /// The most likely u under an account, and its covariance.
    fn explain(
        &mut self,
        print: &Leaving,
        seen: &[Sight],
        account: &Account,
    ) -> Result<Told, HeatError> {
        let mut setting = Setting::near(&account.usual, account.cause, print, self.speed);
        let mut tries: Vec<Setting> = Vec::new();
        loop {
            let place = self.place(&setting, print)?;
            let told = self.update(place, print, seen, account)?;
            tries.push(setting.clone());
            let next = Setting::near(&told.mean, account.cause, print, self.speed);
            if tries.contains(&next) || tries.len() >= account::MOST_STEPS {
                return Ok(told);
            }
            setting = next;
        }
    }

    /// One step: the update of a Kalman filter about a place.
    fn update(
        &self,
        number: usize,
        print: &Leaving,
        seen: &[Sight],
        account: &Account,
    ) -> Result<Told, HeatError> {
        let place = &self.places[number];
        let offset = place.offset(print, self.speed);
        let (count, fitted) = (seen.len(), self.fit.problem.z.len());
        let mut slopes = DMatrix::zeros(account.usual.len(), count);
        let mut surprise = DVector::zeros(count);
        for (column, sight) in seen.iter().enumerate() {
            let mut own = place.sight_slopes.column(sight.number).clone_owned();
            for row in 0..fitted {
                own[row] -= self.sight_slopes[(row, sight.number)];
            }
            let model = place.sights[sight.number] - self.sights[sight.number];
            surprise[column] = sight.difference - model - own.dot(&(&account.usual - &offset));
            slopes.set_column(column, &own);
        }
        let mut noise = DMatrix::zeros(count, count);
        for (column, sight) in seen.iter().enumerate() {
            noise[(column, column)] = sight.variance + place.setting.model_variance(sight.kind);
        }
        let reach = &account.covariance * &slopes;
        let scatter = slopes.tr_mul(&reach) + noise;
        let factor = scatter.cholesky().ok_or(HeatError::Unsettled)?;
        let gain = factor.solve(&reach.transpose()).transpose();
        let mean = &account.usual + &gain * &surprise;
        let covariance = &account.covariance - &gain * reach.transpose();
        let spread = factor.solve(&surprise).dot(&surprise);
        if mean.iter().any(|value| !value.is_finite()) {
            return Err(HeatError::Unsettled);
        }
        Ok(Told {
            cause: account.cause,
            place: number,
            moved: &mean - &offset,
            mean,
            covariance,
            evidence: account.likelihood - 0.5 * spread,
            misfit: spread / count as f64,
        })
    }
}

/// One thing that was seen, against the reference.
struct Sight {
    number: usize,
    difference: f64,
    variance: f64,
    kind: Kind,
}

/// What a probe sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// The print's own surface.
    Print,
    /// The garment beside it.
    Margin,
    /// The bare belt between garments.
    Belt,
}

/// What one account makes of a print.
struct Told {
    cause: ExitCause,
    /// The place of the lattice that it was told from.
    place: usize,
    /// z and u, and how far they are from that place.
    mean: DVector<f64>,
    moved: DVector<f64>,
    covariance: DMatrix<f64>,
    /// ln of how likely the account is beforehand times how well it explains what was seen.
    evidence: f64,
    /// Squares of what surprised over their variance, for each thing seen.
    misfit: f64,
}

/// Length of the heat.
fn history_length(fit: &Fit) -> f64 {
    fit.problem.base.oven.heated_length().0
}

impl Fit {
    /// When the print of a ride passed a place so far beyond the heat, in its trace's time.
    pub fn passes(&self, ride: usize, distance: Metres) -> Option<Seconds> {
        let Trip::Belt(speed) = self.rides.get(ride)?.trip else {
            return None;
        };
        let length = history_length(self) + distance.0;
        Some(Seconds(self.problem.entry(ride) + length / speed.0))
    }
}
