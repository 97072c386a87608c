//! The ride that a recipe leans on: what was read while one print went through the heat with a probe in its
//! ink, and then past the exit probes.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds};
use inkdwell_config::station::Station;
use serde::{Deserialize, Serialize};

use super::super::time::Micros;
use crate::exit::Probe;
use crate::exit::run::REPEATS;
use crate::exit::template::{Template, TemplateError};
use crate::exit::trace::ExitTrace;
use crate::exit::way::Way;
use crate::good_samples;
use crate::heat::fit::{Ride, Trip};
use crate::plan::DEFAULT_MAX_GAP;

/// Readings as they were taken: seconds and what was shown, `None` where that was no number.
pub type Shown = Vec<(f64, Option<f64>)>;

/// Film and cloth are looked at from so long before the pass to so long after it, in seconds.
const ABOUT: f64 = 60.0;

/// A print that was ridden, with all that is needed to infer others from it. Times are in seconds from
/// `began`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecipeRide {
    /// When the readings begin.
    pub began: Micros,
    /// The pass: where the film crosses `wake`, going up and coming down.
    pub pass: (f64, f64),
    /// The belt's mean speed.
    pub belt: MetresPerSecond,
    /// The junction in the ink, in °C.
    pub film: Shown,
    /// A junction on unprinted cloth beside it, in °C; empty without one.
    pub cloth: Shown,
    /// The belt's signal, in m/s; empty without one.
    pub speeds: Shown,
    /// The exit probes, nearest to the heat first.
    pub exits: Vec<RecipeExit>,
    /// The room, if a probe told it.
    pub room: Option<Celsius>,
    /// Expanded uncertainty (k = 2) of the film's probe at the ride's peak.
    pub uncertainty: CelsiusDifference,
    /// Letter of the thermocouple type whose class 2 was assumed, where the probe declares nothing.
    pub assumed: Option<char>,
    /// When the print's place passed the nearest exit probe, as the fitted heat model says.
    pub passed: f64,
    /// The station as it was declared then, whatever becomes of it; `None` in a ride that was kept before this was.
    #[serde(default)]
    pub station: Option<Box<Station>>,
}

/// An exit probe and what it showed of the ride.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecipeExit {
    /// Its id.
    pub probe: String,
    /// From the end of the heated length to its spot.
    pub distance: Metres,
    /// Diameter of what it sees.
    pub spot: Metres,
    /// How well it repeats itself (k = 2), where that is declared.
    pub uncertainty: Option<CelsiusDifference>,
    /// What it showed, in °C.
    pub shown: Shown,
}

impl RecipeExit {
    /// The probe, as exit evidence takes it.
    pub(super) fn probe(&self) -> Probe {
        Probe {
            distance: self.distance,
            spot: self.spot,
            uncertainty: self.uncertainty.unwrap_or(REPEATS),
        }
    }
}

/// Readings with NaN for what was no number.
pub(super) fn series(shown: &Shown) -> Vec<(f64, f64)> {
    let readings = shown.iter();
    readings
        .map(|(time, value)| (*time, value.unwrap_or(f64::NAN)))
        .collect()
}

impl RecipeRide {
    /// The ride as the heat model is fitted to it.
    pub fn to_fit(&self) -> Ride {
        let near = |shown: &Shown| {
            let good = good_samples(&series(shown)).into_iter();
            good.filter(|sample| sample.0 >= self.pass.0 - ABOUT && sample.0 <= self.pass.1 + ABOUT)
                .map(|(time, celsius)| (Seconds(time), Celsius(celsius)))
                .collect()
        };
        Ride {
            trip: Trip::Belt(self.belt),
            film: near(&self.film),
            cloth: near(&self.cloth),
            room: self.room,
            uncertainty: self.uncertainty,
        }
    }

    /// When it ended.
    pub fn ended(&self) -> Micros {
        self.began.plus_seconds(self.pass.1)
    }

    /// The belt's way during it.
    pub(super) fn way(&self, station: &Station) -> Way {
        let max_gap = station.max_gap.unwrap_or(DEFAULT_MAX_GAP);
        Way::measured(&series(&self.speeds), max_gap.0).unwrap_or_else(|| Way::steady(self.belt.0))
    }

    /// What a garment of the batch looks like to the nearest exit probe.
    ///
    /// # Errors
    /// Where it showed none.
    pub(super) fn template(&self, station: &Station) -> Result<Template, TemplateError> {
        let nearest = self.exits.first().ok_or(TemplateError::NotSeen)?;
        let way = self.way(station);
        let trace = ExitTrace::new(&series(&nearest.shown), &way);
        let pitch = station.print_pitch.map(|pitch| pitch.0);
        Template::learn(&trace, way.at(self.passed), nearest.spot.0, pitch)
    }

    /// How far the belt carried the print into the heat before its film crossed `wake`, in metres.
    pub(super) fn woke_after(&self, station: &Station) -> f64 {
        let distance = self.exits.first().map_or(0.0, |exit| exit.distance.0);
        let way = self.way(station);
        way.at(self.pass.0) - (way.at(self.passed) - station.heated_length.0 - distance)
    }
}
