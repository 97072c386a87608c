//! A ride as it is fitted: the probe's readings, thinned to what is independent of each other.
//!
//! Ten readings a second tell little more than one every second or two. They are averaged into some
//! seventy bins, and each bin is given a noise of its own beside what `discrepancy` says of them all: the
//! probe's, and what a little misplacement in time makes of a steep slope.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};

use crate::heat::curve::Curve;
use crate::heat::history::History;
use crate::heat::journey::{Journey, Pace};
use crate::heat::oven::Oven;

/// How a print went through the heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trip {
    /// On a belt at a steady speed.
    Belt(MetresPerSecond),
    /// Still under a lamp for so long.
    Lamp(Seconds),
}

impl Trip {
    /// The way of such a trip through an oven, and on for a while.
    pub(crate) fn journey(self, oven: &Oven, after: Seconds, pace: Pace) -> Journey {
        match self {
            Trip::Belt(speed) => Journey::by_belt(oven, speed, after, pace),
            Trip::Lamp(stay) => Journey::under_lamp(oven, stay, after, pace),
        }
    }

    /// How long a print is in a heat of so many metres, in seconds.
    pub(crate) fn stay(self, heated: f64) -> f64 {
        match self {
            Trip::Belt(speed) => heated / speed.0,
            Trip::Lamp(stay) => stay.0,
        }
    }

    /// Where its print is judged: in a dryer where ink meets cloth, under a lamp at the surface, which is
    /// what a probe can see there.
    pub(crate) fn watched(self, history: &History) -> &Curve {
        match self {
            Trip::Belt(_) => &history.print.film_bottom,
            Trip::Lamp(_) => &history.print.film_top,
        }
    }

    /// ln of how hasty it is: belt speed, or one over the stay. Less heat as it grows.
    pub(crate) fn haste(self) -> f64 {
        match self {
            Trip::Belt(speed) => speed.0.ln(),
            Trip::Lamp(stay) => -stay.0.ln(),
        }
    }

    /// The same kind of trip at another haste.
    pub(crate) fn at_haste(self, haste: f64) -> Trip {
        match self {
            Trip::Belt(_) => Trip::Belt(MetresPerSecond(haste.exp())),
            Trip::Lamp(_) => Trip::Lamp(Seconds((-haste).exp())),
        }
    }
}

/// A measured pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Ride {
    /// How the print went through the heat.
    pub trip: Trip,
    /// Good samples of the junction in the ink (under a lamp, of the surface), in order of time.
    pub film: Vec<(Seconds, Celsius)>,
    /// Good samples of a junction on unprinted cloth beside it; empty without one.
    pub cloth: Vec<(Seconds, Celsius)>,
    /// Temperature of the room, if it is known.
    pub room: Option<Celsius>,
    /// Expanded uncertainty (k = 2) of the probe at the ride's peak.
    pub uncertainty: CelsiusDifference,
}

/// How many bins a pass is put in.
const BINS: f64 = 70.0;
/// Standard deviation of a bin's reading, in °C.
const READING: f64 = 0.4;
/// Seconds by which a change may be misplaced in time.
const MISPLACED: f64 = 0.35;
/// After the heat a print may be moved and turned; what is seen of it counts less, by so many °C.
const AFTER: f64 = 3.0;
/// A pass is looked at from so long before the heat,
const BEFORE_HEAT: f64 = 4.0;
/// to so long after it.
pub(crate) const AFTER_HEAT: f64 = 20.0;

/// A bin: readings close together in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bin {
    pub(crate) time: f64,
    pub(crate) celsius: f64,
    /// Standard deviation to weigh it with, in °C.
    pub(crate) noise: f64,
}

/// One channel of a ride, ready to be fitted.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Series {
    pub(crate) bins: Vec<Bin>,
}

impl Series {
    /// Bins the readings of a pass that enters the heat at `entry` and stays for `stay`.
    pub(crate) fn new(readings: &[(Seconds, Celsius)], entry: f64, stay: f64) -> Series {
        let (begin, end) = (entry - BEFORE_HEAT, entry + stay + AFTER_HEAT);
        let width = (end - begin) / BINS;
        let mut bins: Vec<Bin> = Vec::new();
        let mut sums = (0.0, 0.0, 0.0);
        let mut limit = begin + width;
        for (time, celsius) in readings {
            if time.0 < begin || time.0 > end {
                continue;
            }
            while time.0 > limit {
                finish(&mut sums, &mut bins);
                limit += width;
            }
            sums = (sums.0 + 1.0, sums.1 + time.0, sums.2 + celsius.0);
        }
        finish(&mut sums, &mut bins);
        weigh(&mut bins, entry + stay);
        Series { bins }
    }

    /// The hottest bin.
    pub(crate) fn peak(&self) -> f64 {
        self.bins
            .iter()
            .map(|bin| bin.celsius)
            .fold(f64::NEG_INFINITY, f64::max)
    }
}

fn finish(sums: &mut (f64, f64, f64), bins: &mut Vec<Bin>) {
    if sums.0 > 0.0 {
        bins.push(Bin {
            time: sums.1 / sums.0,
            celsius: sums.2 / sums.0,
            noise: 0.0,
        });
    }
    *sums = (0.0, 0.0, 0.0);
}

/// Gives every bin its noise.
fn weigh(bins: &mut [Bin], exit: f64) {
    let last = bins.len().saturating_sub(1);
    for i in 0..bins.len() {
        let (before, after) = (bins[i.saturating_sub(1)], bins[(i + 1).min(last)]);
        let slope = (after.celsius - before.celsius) / (after.time - before.time).max(1e-3);
        let late = if bins[i].time > exit { AFTER } else { 0.0 };
        bins[i].noise = READING.hypot(MISPLACED * slope).hypot(late);
    }
}

/// When the ride's print entered the heat, as nearly as its shape tells: the shift at which a first
/// guess of its history lies closest.
pub(crate) fn find_entry(readings: &[(Seconds, Celsius)], trip: Trip, guess: &History) -> f64 {
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return 0.0;
    };
    let exit = guess.exit.0;
    let every = readings.len().div_ceil(150).max(1);
    let thinned: Vec<_> = readings.iter().step_by(every).collect();
    let span = last.0.0 - first.0.0;
    let (from, to) = (
        first.0.0 - 0.3 * exit,
        first.0.0 + (span - 0.5 * exit).max(0.0),
    );
    let mut best = (f64::INFINITY, from);
    let steps = 200;
    for step in 0..=steps {
        let entry = from + (to - from) * f64::from(step) / f64::from(steps);
        let misfit = misfit(&thinned, trip.watched(guess), entry);
        if misfit < best.0 {
            best = (misfit, entry);
        }
    }
    best.1
}

/// Mean square of what no shift and no scale explains: the guess may be too hot or too cold.
fn misfit(readings: &[&(Seconds, Celsius)], guess: &Curve, entry: f64) -> f64 {
    let mut n = 0.0;
    let (mut x, mut y, mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (time, celsius) in readings {
        let model = guess.at(Seconds(time.0 - entry)).0;
        n += 1.0;
        x += model;
        y += celsius.0;
        xx += model * model;
        xy += model * celsius.0;
        yy += celsius.0 * celsius.0;
    }
    let (sxx, sxy, syy) = (xx - x * x / n, xy - x * y / n, yy - y * y / n);
    if sxx <= 1e-9 {
        return f64::INFINITY;
    }
    (syy - sxy * sxy / sxx) / n
}
