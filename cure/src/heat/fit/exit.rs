//! From the temperature at which a print leaves the heat to what its film went through.
//!
//! The ride that the model was fitted to was seen by the exit probe as well. What the probe showed then,
//! less what the model says its surface was, is the probe's own bias b (emissivity alone reads some degrees
//! off, nearly the same then and now), so that it is not counted twice:
//!
//!   b = X_ref − E(z, v_ref),   E(z, v, s) = X − b.
//!
//! E is the surface at the probe, v the belt's speed, and s a change of all source temperatures that makes
//! the model's exit temperature the one that was seen. The film's history at (z, v, s) is then judged like a
//! ride. Its doubt is that of every quantity q once s has been matched again:
//!
//! - the exit probe's reading: (∂q/∂X · u_X)², the model's own amplification of it,
//! - the belt's speed, and the garment's mass and water, which nobody sees,
//! - the fit's covariance, with b and s found anew for each unknown,
//! - the ride probe's own doubt, and a little for what one dimension cannot know.

use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds, Share,
};
use nalgebra::DVector;

use super::Fit;
use super::predict::Estimate;
use super::ride::Trip;
use super::unknowns::{Guess, Unknown};
use crate::heat::HeatError;
use crate::heat::history::History;
use crate::judged::{Band, HarmDose};

/// Where an exit probe sits, and how well it repeats itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExitProbe {
    /// From the end of the heated length to its spot.
    pub distance: Metres,
    /// Expanded uncertainty (k = 2) of the difference of two readings.
    pub uncertainty: CelsiusDifference,
}

/// What an exit probe showed of one print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExitReading {
    /// The print's own part of what passed, in °C.
    pub celsius: Celsius,
    /// The belt's speed while that print was on it.
    pub belt: MetresPerSecond,
    /// Its expanded uncertainty (k = 2).
    pub belt_uncertainty: Share,
}

/// What is inferred of a print.
#[derive(Debug, Clone, PartialEq)]
pub struct Inferred {
    /// Peak at the film's bottom.
    pub peak: Celsius,
    /// Its doubt, k = 2.
    pub doubt: CelsiusDifference,
    /// Seconds at or above the ink's threshold.
    pub time_above: Band,
    /// The steepest rise of the film, in °C a second.
    pub max_rise: f64,
    /// Dose of the cure law.
    pub cure: Band,
    /// Doses of the harms, in the fabric's order.
    pub harms: Vec<HarmDose>,
    /// Margins to all limits.
    pub margins: Vec<Estimate>,
    /// By how much the sources seem hotter than when the reference was ridden.
    pub hotter: CelsiusDifference,
}

/// Steps over which slopes are taken: in z, in °C, and as a share of the speed.
const STEP: f64 = 0.05;
const WARMER: f64 = 1.0;
const FASTER: f64 = 0.02;
/// The exit temperature is matched as closely as this, in °C.
const MATCHED: f64 = 0.01;
const MOST_TRIES: u32 = 8;
/// A chamber is not further off than this, in °C.
const FARTHEST: f64 = 120.0;
/// How much further a panel's temperature is changed than the air's.
const PANELS: f64 = 2.0;
/// Standard deviation of the model where nothing has changed since the reference, in °C …
const AT_REFERENCE: f64 = 0.8;
/// … and for each degree by which the sources have, and each ln of speed.
const WITH_CHANGE: f64 = 0.04;
const WITH_SPEED: f64 = 4.0;

/// A print's history once its exit temperature has been matched.
struct Matched {
    hotter: f64,
    history: History,
}

impl Fit {
    /// What the film of a print went through, from its exit temperature and that of the reference ride.
    ///
    /// # Errors
    /// Where the model has no answer, or no temperature of the sources explains the reading.
    pub fn infer(
        &self,
        probe: &ExitProbe,
        reference: &ExitReading,
        print: &ExitReading,
    ) -> Result<Inferred, HeatError> {
        let guess = self.guess();
        let bias = reference.celsius.0 - self.leaves(&guess, probe, reference.belt, 0.0)?.0;
        let target = print.celsius.0 - bias;
        let matched = self.matched(&guess, probe, print.belt, target)?;
        let trip = Trip::Belt(print.belt);
        let history = self.corrected(&matched.history, trip);
        let best = self.asked_of(&history);
        let variance = self.exit_variance(probe, reference, print, &matched)?;
        let doubt = |number: usize| 2.0 * variance[number].sqrt();
        let margins: Vec<Estimate> = self
            .limits
            .iter()
            .enumerate()
            .map(|(i, limit)| Estimate {
                limit: limit.name,
                margin: CelsiusDifference(best[i + 1]),
                doubt: CelsiusDifference(doubt(i + 1)),
            })
            .collect();
        let film: Vec<(Seconds, Celsius)> = history.print.film_bottom.points(2).collect();
        let rise = |pair: &[(Seconds, Celsius)]| {
            (pair[1].1.0 - pair[0].1.0) / (pair[1].0.0 - pair[0].0.0).max(1e-6)
        };
        Ok(Inferred {
            peak: Celsius(best[0]),
            doubt: CelsiusDifference(doubt(0)),
            time_above: self.time_above(&history.print.film_bottom, doubt(0)),
            max_rise: film.windows(2).map(rise).fold(0.0, f64::max),
            cure: self.dose(&self.cure, &history, &margins),
            harms: self.harm_doses(&history, &margins),
            margins,
            hotter: CelsiusDifference(matched.hotter),
        })
    }

    /// When the reference ride's print passed a place so far beyond the heat, in its trace's time.
    pub fn passes(&self, ride: usize, distance: Metres) -> Option<Seconds> {
        let Trip::Belt(speed) = self.rides.get(ride)?.trip else {
            return None;
        };
        let length = self.problem.base.oven.heated_length().0 + distance.0;
        Some(Seconds(self.problem.entry(ride) + length / speed.0))
    }

    /// The surface at the probe, and the history, with all sources hotter by so much.
    fn leaves(
        &self,
        guess: &Guess,
        probe: &ExitProbe,
        belt: MetresPerSecond,
        hotter: f64,
    ) -> Result<(f64, History), HeatError> {
        let mut guess = guess.clone();
        for zone in &mut guess.oven.zones {
            zone.air.0 += hotter;
            zone.panel.0 += if zone.panel_share.0 > 0.0 {
                PANELS * hotter
            } else {
                hotter
            };
        }
        let history = self.history(&guess, Trip::Belt(belt))?;
        Ok((history.surface_at_exit(probe.distance, belt).0, history))
    }

    /// Finds by how much the sources must be hotter for an exit temperature.
    fn matched(
        &self,
        guess: &Guess,
        probe: &ExitProbe,
        belt: MetresPerSecond,
        target: f64,
    ) -> Result<Matched, HeatError> {
        let (mut at, history) = self.leaves(guess, probe, belt, 0.0)?;
        let mut found = Matched {
            hotter: 0.0,
            history,
        };
        // Some two fifths of a change of the sources arrive at the surface: a first guess of the slope.
        let mut slope = 0.4;
        for _ in 0..MOST_TRIES {
            if (target - at).abs() < MATCHED {
                return Ok(found);
            }
            let step = ((target - at) / slope).clamp(-40.0, 40.0);
            let hotter = (found.hotter + step).clamp(-FARTHEST, FARTHEST);
            if hotter == found.hotter {
                return Err(HeatError::Unsettled);
            }
            let (now, history) = self.leaves(guess, probe, belt, hotter)?;
            slope = ((now - at) / (hotter - found.hotter)).clamp(0.02, 3.0);
            at = now;
            found = Matched { hotter, history };
        }
        if (target - at).abs() < 0.2 {
            Ok(found)
        } else {
            Err(HeatError::Unsettled)
        }
    }

    /// The peak, then all margins.
    fn asked_of(&self, history: &History) -> Vec<f64> {
        let peak = history.print.film_bottom.peak().0;
        let margins = self.limits.iter().map(|limit| limit.margin(history).0);
        std::iter::once(peak).chain(margins).collect()
    }

    /// The variance of the peak and of every margin.
    fn exit_variance(
        &self,
        probe: &ExitProbe,
        reference: &ExitReading,
        print: &ExitReading,
        matched: &Matched,
    ) -> Result<Vec<f64>, HeatError> {
        let guess = self.guess();
        let best = self.asked_of(&matched.history);
        let bias_of = |guess: &Guess| -> Result<f64, HeatError> {
            Ok(reference.celsius.0 - self.leaves(guess, probe, reference.belt, 0.0)?.0)
        };
        let bias = bias_of(&guess)?;
        let target = print.celsius.0 - bias;
        let slope = |changed: Matched, step: f64| -> Vec<f64> {
            let values = self.asked_of(&changed.history);
            values
                .iter()
                .zip(&best)
                .map(|(value, best)| (value - best) / step)
                .collect()
        };
        let speed = (print.belt.0 / reference.belt.0).ln().abs();
        let model = AT_REFERENCE + WITH_CHANGE * matched.hotter.abs() + WITH_SPEED * speed;
        let mut variance = vec![self.probe.powi(2) + model.powi(2); best.len()];
        let add = |variance: &mut Vec<f64>, slope: &[f64], deviation: f64| {
            for (sum, slope) in variance.iter_mut().zip(slope) {
                *sum += (slope * deviation).powi(2);
            }
        };
        let warmer = self.matched(&guess, probe, print.belt, target + WARMER)?;
        add(
            &mut variance,
            &slope(warmer, WARMER),
            0.5 * probe.uncertainty.0,
        );
        let belt = MetresPerSecond(print.belt.0 * (1.0 + FASTER));
        let faster = self.matched(&guess, probe, belt, target)?;
        add(
            &mut variance,
            &slope(faster, FASTER),
            0.5 * print.belt_uncertainty.0,
        );

        let mut fitted = vec![DVector::zeros(self.problem.z.len()); best.len()];
        for (i, unknown) in self.problem.unknowns.iter().enumerate() {
            if *unknown == Unknown::Lag {
                continue;
            }
            let mut z = self.problem.shared().to_vec();
            z[i] += STEP;
            let changed = self.problem.guess(&z);
            let target_then = print.celsius.0 - bias_of(&changed)?;
            let again = self.matched(&changed, probe, print.belt, target_then)?;
            for (row, slope) in fitted.iter_mut().zip(slope(again, STEP)) {
                row[i] = slope;
            }
            if let Some(spread) = self.scatter(*unknown, self.problem.z[i]) {
                // Another garment than the reference's: the bias is as it was.
                let other = self.matched(&changed, probe, print.belt, target)?;
                add(&mut variance, &slope(other, STEP), spread);
            }
        }
        for (sum, row) in variance.iter_mut().zip(&fitted) {
            *sum += row.dot(&(&self.spread * row));
        }
        Ok(variance)
    }
}
