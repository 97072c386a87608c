//! Fitting the heat model to rides.
//!
//! [`fit`] takes rides of one ink on one fabric through one station and finds the oven and print that
//! explain them, as far as the readings say, and elsewhere what is usual ([`Unknown`]). What comes
//! out is a [`Fit`]: the most likely oven and print, how sure each unknown is, and how well each ride is
//! explained. [`Fit::predict`] then says what a print would go through at another speed.

mod carry;
mod discrepancy;
mod doubt;
mod exit;
mod imagined;
mod limit;
mod next_ride;
mod note;
mod predict;
mod problem;
mod ride;
mod stay;
#[cfg(test)]
mod tests;
mod unknowns;

use levenberg_marquardt::LevenbergMarquardt;
use nalgebra::{DMatrix, DVector};

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Share};
use inkdwell_config::station::Station;

use super::HeatError;
use super::oven::{Oven, USUAL_ROOM};
use super::print::Print;
use super::run::{Columns, Model};
use crate::plan::PrintLaws;

pub use doubt::DoubtParts;
pub use exit::{
    Elsewhere, ExitCause, ExitModel, ExitProbe, Inferred, Leaving, MOST_PRINTS, Outlook, Passing,
    Shown,
};
pub use limit::{Aim, LimitName};
pub use next_ride::NextRide;
pub use note::{Cause, Note};
pub use predict::{Estimate, Prediction};
pub use ride::{Ride, Trip};
pub use stay::{Certainty, StayEnd, Stays};
pub use unknowns::Unknown;

use limit::Limit;
use problem::{Garments, Misfit, Passage, Problem};
use ride::{Series, find_entry};
use unknowns::{Guess, usual_lag};

/// What a fit is told besides the rides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitOptions {
    /// Room temperature where a ride does not note it.
    pub room: Celsius,
    /// Scatter of the garments' mass in the batch, k = 2.
    pub mass_scatter: Share,
    /// Scatter of their regain, k = 2, as a share of the dry mass.
    pub regain_scatter: Share,
    /// What the heat is for.
    pub aim: Aim,
}

impl Default for FitOptions {
    fn default() -> FitOptions {
        FitOptions {
            room: USUAL_ROOM,
            mass_scatter: Share(0.10),
            regain_scatter: Share(0.02),
            aim: Aim::Cure,
        }
    }
}

/// How far one garment's mass may be from its batch's, k = 2. Mills sell cloth to ±5 % of its mass (common
/// practice, no source); taken as rectangular, that is 2 · 5 % / √3.
const GARMENT_MASS: Share = Share(0.058);
/// The same for its water, as a share of its regain: garments of a batch lie in one room, whose air differs
/// by ±5 % relative humidity from the box's middle to its rim (no source), and there regain follows by 1.8 % of
/// itself for each per cent (the isotherm of `moisture` at 65 %).
const GARMENT_WATER: Share = Share(0.105);

impl FitOptions {
    /// What is usual where rides and prints are of one batch: its garments are of one lot of cloth, and have lain
    /// in one room. Narrower than the default, which also holds for a garment of which nobody knows where it
    /// comes from.
    pub fn of_one_batch(fabric: &Fabric) -> FitOptions {
        let usual = FitOptions::default();
        let water = GARMENT_WATER.0 * fabric.regain.0;
        FitOptions {
            mass_scatter: GARMENT_MASS,
            regain_scatter: Share(water.min(usual.regain_scatter.0)),
            ..usual
        }
    }
}

/// Why no fit was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Nothing to fit to.
    #[error("no ride was given to fit the heat model to")]
    NoRide,
    /// Readings that are no numbers to reckon with.
    #[error("the rides' readings cannot be reckoned with")]
    NoNumbers,
    /// A ride with too few samples in its pass.
    #[error("ride {ride} has too few good samples in its pass")]
    TooShort {
        /// Its number, from 0, in the call.
        ride: usize,
    },
    /// The model itself has no answer.
    #[error(transparent)]
    Heat(#[from] HeatError),
}

/// How well one ride is explained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Explained {
    /// How the ride's print went.
    pub trip: Trip,
    /// Hottest reading of the film.
    pub peak: Celsius,
    /// Root mean square of model less measurement while the print was in the heat.
    pub rms: CelsiusDifference,
}

/// The heat model fitted to rides.
#[derive(Debug, Clone)]
pub struct Fit {
    problem: Problem,
    /// Covariance of z.
    spread: DMatrix<f64>,
    /// By how much misfits exceed what was allowed for, as variances; at least 1.
    surplus: f64,
    /// R⁻¹ (T(z) − T_read).
    explained: DVector<f64>,
    /// L⁻¹ J.
    slopes: DMatrix<f64>,
    /// Half of U: what the probe's own doubt adds to every film temperature, in °C.
    probe: f64,
    options: FitOptions,
    /// The ink's threshold.
    threshold: Celsius,
    limits: Vec<Limit>,
    /// The ink's cure, also where the aim is another.
    cure: Limit,
    rides: Vec<Explained>,
    notes: Vec<Note>,
}

/// A bin's worth of readings that a fit cannot do without.
const FEWEST_BINS: usize = 12;
/// A misfit beyond this (in °C) makes the fit look for another start.
const POOR: f64 = 10.0;
/// Relative tolerance of a first look,
const ROUGH: f64 = 2e-2;
/// and of the answer.
const CLOSE: f64 = 2e-3;

/// Fits the heat model to rides of one ink on one fabric.
///
/// # Errors
/// Without a ride, with one too short, or where the model has no answer even at what is usual.
pub fn fit(
    rides: &[Ride],
    station: &Station,
    ink: &Ink,
    fabric: &Fabric,
    options: FitOptions,
) -> Result<Fit, FitError> {
    if rides.is_empty() {
        return Err(FitError::NoRide);
    }
    let oven = Oven::new(station, options.room);
    let base = Guess {
        lag: usual_lag(&oven.backing),
        oven,
        print: Print::new(ink, fabric),
    };
    let unknowns = Unknown::of(&base.oven, &base.print);
    let passages = (0..rides.len())
        .map(|number| passage(number, &rides[number], &base, &base))
        .collect::<Result<Vec<_>, _>>()?;
    let garments = Garments {
        mass: Share(0.5 * options.mass_scatter.0),
        moisture: Share(0.5 * options.regain_scatter.0),
    };
    let problem = Problem::new(base.clone(), unknowns.clone(), passages, garments)
        .ok_or(FitError::NoNumbers)?;
    let first = best_of(problem);
    // The first guess of when a print entered came from an oven not yet known: look again.
    let found = first.guess(first.shared());
    let passages = rides
        .iter()
        .enumerate()
        .map(|(number, ride)| passage_at(number, ride, &found, first.entry(number)))
        .collect::<Result<Vec<_>, _>>()?;
    let problem = Problem::new(base, unknowns, passages, garments).ok_or(FitError::NoNumbers)?;
    let mut start = first.z.clone();
    for number in 0..rides.len() {
        start[problem.own(number)] = 0.0;
    }
    let problem = minimise(problem, start, CLOSE);
    finish(problem, rides, &PrintLaws::new(ink, fabric), options)
}

/// A ride made ready, its entry looked for with the history of a guess.
fn passage(number: usize, ride: &Ride, base: &Guess, guess: &Guess) -> Result<Passage, FitError> {
    let model = Model::default();
    let journey = ride.trip.journey(&base.oven, model.after, model.pace);
    let history = model.run(&guess.oven, &guess.print, &journey, Columns::Print)?;
    passage_at(
        number,
        ride,
        guess,
        find_entry(&ride.film, ride.trip, &history),
    )
}

/// A ride made ready, its entry known.
fn passage_at(number: usize, ride: &Ride, guess: &Guess, entry: f64) -> Result<Passage, FitError> {
    let stay = ride.trip.stay(guess.oven.heated_length().0);
    let film = Series::new(&ride.film, entry, stay);
    if film.bins.len() < FEWEST_BINS {
        return Err(FitError::TooShort { ride: number });
    }
    Ok(Passage {
        trip: ride.trip,
        entry,
        film,
        cloth: Series::new(&ride.cloth, entry, stay),
        room: ride.room,
        befallen: None,
    })
}

/// The best solution from several starts; the first is what is usual, the others only where that one
/// leads nowhere.
fn best_of(problem: Problem) -> Problem {
    let start = |strength: f64| {
        let mut z = DVector::zeros(problem.z.len());
        for (i, unknown) in problem.unknowns.iter().enumerate() {
            if matches!(unknown, Unknown::Convection | Unknown::Panels) {
                z[i] = strength;
            }
        }
        z
    };
    let mut best = minimise(problem.clone(), start(0.0), ROUGH);
    for strength in [1.2, -1.2] {
        if worst_rms(&best) < POOR {
            break;
        }
        let other = minimise(problem.clone(), start(strength), ROUGH);
        if cost(&other) < cost(&best) {
            best = other;
        }
    }
    best
}

fn minimise(mut problem: Problem, start: DVector<f64>, tolerance: f64) -> Problem {
    use levenberg_marquardt::LeastSquaresProblem;
    problem.set_params(&start);
    LevenbergMarquardt::new()
        .with_ftol(tolerance)
        .with_xtol(tolerance)
        .with_gtol(tolerance)
        .with_patience(1)
        .minimize(problem)
        .0
}

fn cost(problem: &Problem) -> f64 {
    use levenberg_marquardt::LeastSquaresProblem;
    problem
        .residuals()
        .map_or(f64::INFINITY, |residuals| residuals.norm_squared())
}

/// Root mean square of a ride's misfit on the film while it was in the heat.
fn rms(problem: &Problem, ride: usize) -> f64 {
    let stay = problem.stay(ride);
    let Some(misfits) = problem.misfits(ride) else {
        return f64::INFINITY;
    };
    let inside: Vec<&Misfit> = misfits
        .iter()
        .filter(|misfit| misfit.on_film && misfit.time > 0.0 && misfit.time < stay)
        .collect();
    let sum: f64 = inside.iter().map(|misfit| misfit.celsius.powi(2)).sum();
    (sum / (inside.len() as f64).max(1.0)).sqrt()
}

fn worst_rms(problem: &Problem) -> f64 {
    (0..problem.passages.len())
        .map(|ride| rms(problem, ride))
        .fold(0.0, f64::max)
}

/// Draws the conclusions from a solved problem.
fn finish(
    problem: Problem,
    rides: &[Ride],
    laws: &PrintLaws,
    options: FitOptions,
) -> Result<Fit, FitError> {
    let whitened_slopes = problem.whitened_slopes().ok_or(HeatError::Unsettled)?;
    let information = problem.information(&whitened_slopes);
    // The prior rows make it positive definite.
    let inverse = information
        .cholesky()
        .ok_or(HeatError::Unsettled)?
        .inverse();
    // Misfits beyond what was allowed for make everything less sure.
    let whitened = problem.whitened().ok_or(HeatError::Unsettled)?;
    let surplus = f64::max(1.0, whitened.norm_squared() / whitened.len() as f64);
    let explained: Vec<Explained> = rides
        .iter()
        .enumerate()
        .map(|(number, ride)| Explained {
            trip: ride.trip,
            peak: Celsius(problem.passages[number].film.peak()),
            rms: CelsiusDifference(rms(&problem, number)),
        })
        .collect();
    let probe = rides
        .iter()
        .map(|ride| 0.5 * ride.uncertainty.0)
        .fold(0.0, f64::max);
    let notes = note::of(&problem, &explained);
    let under_lamp = matches!(rides[0].trip, Trip::Lamp(_));
    Ok(Fit {
        threshold: laws.threshold,
        limits: Limit::of(laws, options.aim, under_lamp),
        cure: Limit::cure(laws, under_lamp),
        spread: inverse * surplus,
        surplus,
        explained: problem.discrepancy.explain(&whitened),
        slopes: whitened_slopes,
        problem,
        probe,
        options,
        rides: explained,
        notes,
    })
}

impl Fit {
    /// How well each ride is explained, in the order of the call.
    pub fn rides(&self) -> &[Explained] {
        &self.rides
    }

    /// What is worth knowing about the fit.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// The most likely oven.
    pub fn oven(&self) -> Oven {
        self.guess().oven
    }

    /// The most likely print of the batch.
    pub fn print(&self) -> Print {
        self.guess().print
    }

    /// Each unknown with its z (spreads away from what was declared) and z's standard deviation.
    pub fn unknowns(&self) -> impl Iterator<Item = (Unknown, f64, f64)> {
        self.problem
            .unknowns
            .iter()
            .enumerate()
            .map(|(i, unknown)| (*unknown, self.problem.z[i], self.spread[(i, i)].sqrt()))
    }

    fn guess(&self) -> Guess {
        self.problem.guess(self.problem.shared())
    }
}
