//! From a fit to an answer: how fast the belt may run, and how sure that is.
//!
//! At every speed the fitted model says how far the print is from each limit ([`Prediction`]'s margins).
//! The *window* is where every margin is positive with its doubt taken off; its fast end is where cure is
//! only just proved, its slow end where the first harm is only just ruled out.

mod window;

pub use window::{Edge, Side, Window, WindowError, best_window, proved_window};

use window::{Doubts, window_with};

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_config::station::Station;

use crate::heat::HeatError;
use crate::heat::fit::{Fit, LimitName, NextRide, Prediction, Trip};

/// The recommended speed keeps this share of the window's fast end: belts and set points wander.
const RESERVE: f64 = 0.985;

/// Where the belt should run.
#[derive(Debug, Clone, PartialEq)]
pub struct Recommended {
    /// The speed.
    pub belt: MetresPerSecond,
    /// How long a print is in the heat.
    pub dwell: Seconds,
    /// Prints an hour over all lanes, where the pitch is known.
    pub prints_per_hour: Option<f64>,
    /// What one print of the batch would go through.
    pub predicted: Prediction,
}

/// What a change of the chamber would open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// The fastest proved speed.
    pub belt: MetresPerSecond,
    /// Prints an hour there, where the pitch is known.
    pub prints_per_hour: Option<f64>,
}

/// What would help where no speed works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Advice {
    /// Set all zones hotter (or cooler, where it is negative) by so much.
    ChangeZones {
        /// By how much.
        by: CelsiusDifference,
        /// What that would open.
        opens: Opening,
    },
    /// Send prints through twice.
    SecondPass,
    /// No chamber temperature near this one helps.
    AnotherInk,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Tuning {
    /// The speeds at which every print is proved cured and unharmed; `None` where there are none.
    pub window: Option<Window>,
    /// The same without the guard.
    pub window_best: Option<Window>,
    /// The fastest safe speed, a little in hand.
    pub recommended: Option<Recommended>,
    /// The ride that would narrow the window's doubt most.
    pub next_ride: Option<NextRide>,
    /// What would open a window where there is none.
    pub advice: Vec<Advice>,
}

/// What a person declares: where the print goes through the heat, and what it is.
#[derive(Debug, Clone, Copy)]
pub struct Declared<'a> {
    /// The station.
    pub station: &'a Station,
    /// The ink.
    pub ink: &'a Ink,
    /// The fabric.
    pub fabric: &'a Fabric,
}

/// Answers for a fit.
///
/// # Errors
/// Where the model has no answer.
pub fn tune(fit: &Fit, declared: Declared<'_>) -> Result<Tuning, WindowError> {
    let station = declared.station;
    let window = proved_window(fit, station)?;
    let recommended = window
        .as_ref()
        .map(|window| recommend(fit, station, window))
        .transpose()?;
    let advice = match window {
        Some(_) => Vec::new(),
        None => advise(fit, declared)?,
    };
    let window_best = best_window(fit, station)?;
    let next = next_ride(fit, window.as_ref().or(window_best.as_ref()))?;
    Ok(Tuning {
        window,
        window_best,
        recommended,
        next_ride: next,
        advice,
    })
}

/// The ride that would shrink the doubt at the window's fast end most.
fn next_ride(fit: &Fit, window: Option<&Window>) -> Result<Option<NextRide>, HeatError> {
    let Some(window) = window else {
        return Ok(None);
    };
    fit.next_ride(LimitName::Cure, Trip::Belt(window.fast.belt))
}

/// Which change of all zones opens the fastest window, and what else could be done.
fn advise(fit: &Fit, declared: Declared<'_>) -> Result<Vec<Advice>, WindowError> {
    let doubts = Doubts::of(fit, declared.station)?;
    let mut best: Option<(CelsiusDifference, Opening)> = None;
    for by in CHANGES.map(CelsiusDifference) {
        let station = changed(declared.station, by);
        let imagined = fit.imagined(&station, declared.ink, declared.fabric);
        let Some(window) = window_with(&imagined, &station, &doubts)? else {
            continue;
        };
        let belt = window.fast.belt;
        if best.is_none_or(|(_, opening)| belt.0 > opening.belt.0) {
            let prints_per_hour = prints_per_hour(&station, belt);
            best = Some((
                by,
                Opening {
                    belt,
                    prints_per_hour,
                },
            ));
        }
    }
    let change = best.map(|(by, opens)| Advice::ChangeZones { by, opens });
    let none = change.is_none().then_some(Advice::AnotherInk);
    Ok(change
        .into_iter()
        .chain(none)
        .chain([Advice::SecondPass])
        .collect())
}

/// Changes of all zones that are tried, in °C.
const CHANGES: [f64; 8] = [-40.0, -30.0, -20.0, -10.0, 10.0, 20.0, 30.0, 40.0];

/// A station with all its zones set hotter by so much; panels, which run far hotter, by three times that.
fn changed(station: &Station, by: CelsiusDifference) -> Station {
    let mut station = station.clone();
    for zone in &mut station.zones {
        zone.air = zone.air.map(|air| Celsius(air.0 + by.0));
        zone.panel = zone.panel.map(|panel| Celsius(panel.0 + 3.0 * by.0));
    }
    station
}

fn recommend(fit: &Fit, station: &Station, window: &Window) -> Result<Recommended, HeatError> {
    let slowest = window.slow.map_or(0.0, |edge| edge.belt.0);
    let belt = MetresPerSecond((window.fast.belt.0 * RESERVE).max(slowest));
    Ok(Recommended {
        belt,
        dwell: Seconds(station.heated_length.0 / belt.0),
        prints_per_hour: prints_per_hour(station, belt),
        predicted: fit.predict(Trip::Belt(belt))?,
    })
}

/// Prints an hour over all lanes, where the pitch is known.
pub fn prints_per_hour(station: &Station, belt: MetresPerSecond) -> Option<f64> {
    station
        .print_pitch
        .map(|pitch| belt.0 / pitch.0 * f64::from(station.lanes) * 3600.0)
}
