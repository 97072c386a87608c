//! Drift of a batch's doses toward their limits, with a forecast of when they get there.
//!
//! A cure dose c and a harm dose h are followed as -ln(c_low) and ln(h_high): both are about linear in the
//! temperature, and both are in trouble at 0. Where an ink is cured by a hold, the dose falls off a cliff as the
//! peak nears it: there the peak p is followed too, as T_hold + U - p. Told of is a drift that a sequence rule or
//! the EWMA sees, whose slope is clear of chance, that is no single step (somebody has set the belt), and that gets
//! there within the horizon; each alone would cry too often.

use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use super::chart::{ewma, ewma_limit, individuals, is_step, rise, signals, trend};
use super::{Edge, Said};
use crate::alarm::cause::{Cause, Drifting};
use crate::alarm::kind::Kind;
use crate::judged::JudgedPass;
use crate::live::Micros;

/// So many prints say what is usual in a batch.
const USUAL: usize = 6;
/// So many prints a trend is laid through.
const TREND: usize = 16;
/// So many values are kept.
const KEPT: usize = 64;
/// The weight of the newest value in the EWMA, and the width of its limits (the handbook's usual ones).
const WEIGHT: f64 = 0.2;
const WIDTH: f64 = 3.0;
/// A slope has to be so many standard errors above nought.
const CLEAR: f64 = 3.5;
/// No batch is more even than this, in the logarithm of a dose.
const LEAST_SIGMA: f64 = 0.01;
/// Nor than this, in °C of its peaks.
const LEAST_PEAK_SIGMA: f64 = 0.3;
/// A harm below this is no concern, however it moves.
const FAR: f64 = 0.05;

/// One dose of one batch.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Course {
    values: Vec<f64>,
}

/// What drifts.
#[derive(Debug, Clone, Copy)]
enum Drifts {
    Dose(Drifting),
    /// The peak, to this limit.
    PeakTo(f64),
}

/// What follows from a course.
struct Forecast {
    began: f64,
    now: f64,
    prints: f64,
}

impl Course {
    fn add(&mut self, value: f64) {
        if self.values.len() == KEPT {
            // The first ones say what was usual, and stay.
            self.values.remove(USUAL);
        }
        self.values.push(value);
    }

    fn forecast(&self, least_sigma: f64) -> Option<Forecast> {
        let (usual, rest) = self.values.split_at_checked(USUAL)?;
        let (mean, sigma) = individuals(usual)?;
        let sigma = sigma.max(least_sigma);
        let z: Vec<f64> = rest.iter().map(|value| (value - mean) / sigma).collect();
        let signalled = signals(&z) || ewma(0.0, WEIGHT, &z) > ewma_limit(WEIGHT, WIDTH);
        let latest = &self.values[self.values.len().saturating_sub(TREND)..];
        let trend = trend(latest).filter(|_| signalled)?;
        if trend.errors < CLEAR || trend.slope <= 0.0 || is_step(latest) {
            return None;
        }
        let (now, slope) = rise(latest).filter(|(_, slope)| *slope > 0.0)?;
        Some(Forecast {
            began: mean,
            now,
            prints: (-now / slope).max(0.0),
        })
    }
}

/// The drift of one probe's prints.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Drift {
    batch: Option<u64>,
    cure: Course,
    harm: Course,
    peak: Course,
    times: Vec<Micros>,
    edge: Edge,
}

impl Drift {
    /// A print of a batch has been judged.
    pub(in crate::alarm) fn judged(
        &mut self,
        at: Micros,
        batch: Option<u64>,
        (pass, cured_at): (&JudgedPass, Option<Celsius>),
        horizon: f64,
        said: &mut Said,
    ) {
        if self.batch != batch {
            self.edge.clear(Kind::DriftTowardLimit, said);
            *self = Drift {
                batch,
                ..Drift::default()
            };
        }
        if pass.cut {
            return;
        }
        if let Some(cure) = pass.cure.filter(|cure| cure.low > 0.0) {
            self.cure.add(-cure.low.ln());
        }
        let harms = pass.harms.iter().map(|harm| harm.dose.high);
        self.harm.add(harms.fold(FAR, f64::max).ln());
        if self.times.len() == TREND {
            self.times.remove(0);
        }
        self.times.push(at);
        let limit = cured_at.map(|at| at.0 + pass.uncertainty.0);
        if let Some(limit) = limit.filter(|_| pass.cure.is_some()) {
            self.peak.add(limit - pass.peak.0);
        }
        let dose =
            |what, course: &Course| Some((Drifts::Dose(what), course.forecast(LEAST_SIGMA)?));
        let peak = limit.zip(self.peak.forecast(LEAST_PEAK_SIGMA));
        let forecasts = [
            dose(Drifting::Cure, &self.cure),
            dose(Drifting::Harm, &self.harm),
            peak.map(|(limit, forecast)| (Drifts::PeakTo(limit), forecast)),
        ];
        let near = forecasts
            .into_iter()
            .flatten()
            .filter(|(_, forecast)| forecast.prints <= horizon)
            .min_by(|a, b| f64::total_cmp(&a.1.prints, &b.1.prints));
        match near {
            None => self.edge.clear(Kind::DriftTowardLimit, said),
            Some((what, forecast)) => {
                let cause = self.cause(what, &forecast);
                self.edge.set(true, Kind::DriftTowardLimit, said, || cause);
            }
        }
    }

    /// The batch is closed.
    pub(in crate::alarm) fn closed(&mut self, said: &mut Said) {
        self.edge.clear(Kind::DriftTowardLimit, said);
        *self = Drift::default();
    }

    fn cause(&self, what: Drifts, forecast: &Forecast) -> Cause {
        let span = match (self.times.first(), self.times.last()) {
            (Some(first), Some(last)) => last.seconds_since(*first),
            _ => 0.0,
        };
        let each = span / (self.times.len().max(2) - 1) as f64;
        let prints = forecast.prints;
        let after = Seconds(prints * each);
        let dose = |what, value: f64| match what {
            Drifting::Cure => (-value).exp(),
            Drifting::Harm => value.exp(),
        };
        match what {
            Drifts::Dose(what) => Cause::Drift {
                what,
                dose: dose(what, forecast.now),
                began: dose(what, forecast.began),
                prints,
                after,
            },
            Drifts::PeakTo(limit) => Cause::PeakDrift {
                peak: Celsius(limit - forecast.now),
                began: Celsius(limit - forecast.began),
                limit: Celsius(limit),
                prints,
                after,
            },
        }
    }
}
