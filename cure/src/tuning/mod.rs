//! From a fit to an answer: how fast the belt may run, and how sure that is.
//!
//! At every speed the fitted model says how far the print is from each limit ([`Prediction`]'s margins).
//! The *window* is where every margin is positive with its doubt taken off; its fast end is where cure is
//! only just proved, its slow end where the first harm is only just ruled out.

mod advice;
mod flash;
mod heating;
mod window;

pub use advice::{Advice, Change, Opening, TwoPasses};
pub use flash::{FlashAdvice, FlashTuning, OnPlaten, RecommendedStay, USUAL_PLATENS, tune_flash};
pub use heating::Heating;
pub use window::{Edge, Side, Window, WindowError, best_window, proved_window};

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{MetresPerSecond, Seconds};
use inkdwell_config::station::Station;

use crate::heat::HeatError;
use crate::heat::fit::{Fit, LimitName, NextRide, Prediction, Trip};

/// The recommended speed keeps this share of the window's fast end, whose doubt is already taken off: room
/// for what a drive rounds.
const RESERVE: f64 = 0.995;

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
    /// What would open a window where there is none, or widen a narrow one.
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
    let advice = if advice::is_due(window.as_ref()) {
        advice::advise(fit, declared, window.as_ref())?
    } else {
        Vec::new()
    };
    let window_best = best_window(fit, station)?;
    let next = next_ride(fit, station, window.as_ref().or(window_best.as_ref()))?;
    Ok(Tuning {
        window,
        window_best,
        recommended,
        next_ride: next,
        advice,
    })
}

/// The ride that would shrink the doubt at the window's fast end most, among those that the drive can run.
fn next_ride(
    fit: &Fit,
    station: &Station,
    window: Option<&Window>,
) -> Result<Option<NextRide>, HeatError> {
    let Some(window) = window else {
        return Ok(None);
    };
    let within = |trip| within_drive(trip, station);
    fit.next_ride(LimitName::Cure, Trip::Belt(window.fast.belt), within)
}

fn within_drive(trip: Trip, station: &Station) -> Trip {
    let Trip::Belt(speed) = trip else {
        return trip;
    };
    let fastest = station.belt_fastest.map_or(f64::INFINITY, |belt| belt.0);
    let slowest = station.belt_slowest.map_or(0.0, |belt| belt.0);
    Trip::Belt(MetresPerSecond(speed.0.min(fastest).max(slowest)))
}

/// The fastest safe speed of a window, a little in hand.
///
/// # Errors
/// Where the model has no answer.
pub fn recommend(fit: &Fit, station: &Station, window: &Window) -> Result<Recommended, HeatError> {
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

#[cfg(test)]
mod tests {
    use inkdwell_config::quantity::Metres;
    use inkdwell_config::station::StationKind;

    use super::*;

    #[test]
    fn prints_an_hour_are_reckoned_over_all_lanes() {
        let station = Station {
            id: "belt-1".into(),
            name: "belt-1".into(),
            kind: StationKind::BeltDryer,
            heated_length: Metres(2.4),
            belt: None,
            belt_slowest: Some(MetresPerSecond(0.02)),
            belt_fastest: Some(MetresPerSecond(0.05)),
            print_pitch: Some(Metres(0.75)),
            lanes: 2,
            zones: Vec::new(),
            max_gap: None,
            wake: None,
        };
        // By hand: 2.8 m/min over a pitch of 0.75 m on two lanes is 2.8 · 60 / 0.75 · 2 = 448 an hour.
        let prints = prints_per_hour(&station, MetresPerSecond(2.8 / 60.0));
        assert!(prints.is_some_and(|prints| (prints - 448.0).abs() < 1e-9));
        let belt = |speed| Trip::Belt(MetresPerSecond(speed));
        assert_eq!(within_drive(belt(0.08), &station), belt(0.05));
        assert_eq!(within_drive(belt(0.01), &station), belt(0.02));
        assert_eq!(within_drive(belt(0.03), &station), belt(0.03));
    }
}
