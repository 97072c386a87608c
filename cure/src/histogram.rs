//! How long a pass spent at each temperature.
//!
//! A dose depends on nothing else, so that this is enough to ask what the dose would have been, had
//! the pass been hotter or cooler by a little: the figure behind "about 4 °C hotter would prove it".
//! The verdict never rests on it.

use inkdwell_config::quantity::{Celsius, CelsiusDifference};

use serde::{Deserialize, Serialize};

use crate::law::Rate;
use crate::sieve::{COOLEST_BELIEVED, HOTTEST_BELIEVED};

/// Bins a degree.
const FINENESS: f64 = 1.0;
/// The largest shift that is worth advising, in °C.
const FARTHEST: f64 = 200.0;

/// Seconds by temperature.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(from = "Spent", into = "Spent")]
pub(crate) struct TimeAtTemperature {
    seconds: Vec<f64>,
}

/// The same, written short: only the bins that hold something.
#[derive(Serialize, Deserialize)]
struct Spent(Vec<(u16, f64)>);

impl From<TimeAtTemperature> for Spent {
    fn from(full: TimeAtTemperature) -> Spent {
        let bins = full.seconds.into_iter().enumerate();
        let spent = bins.filter(|bin| bin.1 != 0.0);
        Spent(spent.map(|(bin, seconds)| (bin as u16, seconds)).collect())
    }
}

impl From<Spent> for TimeAtTemperature {
    fn from(short: Spent) -> TimeAtTemperature {
        let mut full = TimeAtTemperature::new();
        for (bin, seconds) in short.0 {
            if let Some(place) = full.seconds.get_mut(usize::from(bin)) {
                *place = seconds;
            }
        }
        full
    }
}

impl TimeAtTemperature {
    pub(crate) fn new() -> TimeAtTemperature {
        let bins = ((HOTTEST_BELIEVED - COOLEST_BELIEVED) * FINENESS) as usize + 1;
        TimeAtTemperature {
            seconds: vec![0.0; bins],
        }
    }

    pub(crate) fn clear(&mut self) {
        self.seconds.fill(0.0);
    }

    /// Adds a straight line between two temperatures.
    #[inline]
    pub(crate) fn add(&mut self, from: f64, to: f64, seconds: f64) {
        if (to - from).abs() * FINENESS <= 2.0 {
            self.add_at(0.5 * (from + to), seconds);
        } else {
            self.add_steep(from, to, seconds);
        }
    }

    #[inline]
    fn add_at(&mut self, celsius: f64, seconds: f64) {
        let bin = ((celsius - COOLEST_BELIEVED) * FINENESS) as usize;
        if let Some(bin) = self.seconds.get_mut(bin) {
            *bin += seconds;
        }
    }

    #[cold]
    fn add_steep(&mut self, from: f64, to: f64, seconds: f64) {
        let parts = ((to - from).abs() * FINENESS).ceil();
        for part in 0..(parts as u32) {
            let middle = from + (to - from) * (f64::from(part) + 0.5) / parts;
            self.add_at(middle, seconds / parts);
        }
    }

    /// How much hotter the pass would have to be, read at T + `offset`, for a dose of 1.
    pub(crate) fn hotter_for_one(&self, rate: &Rate, offset: f64) -> Option<CelsiusDifference> {
        let spent = self.spent();
        smallest(|shift| dose(&spent, rate, offset + shift) >= 1.0)
    }

    /// How much cooler the pass would have to be, read at T + `offset`, for a dose below 1.
    pub(crate) fn cooler_for_less(&self, rate: &Rate, offset: f64) -> Option<CelsiusDifference> {
        let spent = self.spent();
        smallest(|shift| dose(&spent, rate, offset - shift) < 1.0)
    }

    /// Temperatures with the seconds spent there, none of them zero.
    fn spent(&self) -> Vec<(f64, f64)> {
        let middle = |bin: usize| COOLEST_BELIEVED + (bin as f64 + 0.5) / FINENESS;
        let bins = self.seconds.iter().enumerate();
        bins.filter(|bin| *bin.1 > 0.0)
            .map(|(bin, seconds)| (middle(bin), *seconds))
            .collect()
    }
}

/// About the dose of a pass under `rate`, had it been hotter by `shift`.
fn dose(spent: &[(f64, f64)], rate: &Rate, shift: f64) -> f64 {
    spent
        .iter()
        .map(|(celsius, seconds)| seconds * rate.at(Celsius(celsius + shift)))
        .sum()
}

/// The smallest shift, to a tenth of a degree and rounded up, from which `enough` holds.
fn smallest(enough: impl Fn(f64) -> bool) -> Option<CelsiusDifference> {
    let (mut short, mut far) = (0.0, 1.0);
    while !enough(far) {
        if far >= FARTHEST {
            return None;
        }
        (short, far) = (far, (2.0 * far).min(FARTHEST));
    }
    while far - short > 0.05 {
        let middle = 0.5 * (short + far);
        if enough(middle) {
            far = middle
        } else {
            short = middle
        }
    }
    Some(CelsiusDifference((far * 10.0).ceil() / 10.0))
}
