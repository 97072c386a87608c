//! The health of one probe: open, out of range, stuck, noisy, silent, its calibration overdue.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::live::Micros;
use crate::sieve::{COOLEST_BELIEVED, HOTTEST_BELIEVED};

/// From here up a temperature is never still, in °C.
const HOT: f64 = 60.0;
/// A probe inside a pass is stuck after so long, in seconds: no print's temperature is still.
const STUCK_IN_PASS: f64 = 30.0;
/// One that shows steps of this or more, in °C, may well show one number for longer, …
const COARSE: f64 = 0.45;
/// … by this factor.
const COARSE_FACTOR: f64 = 15.0;
/// Readings further apart than this say nothing about noise, in seconds.
const APART: f64 = 5.0;
/// The median of |second difference| of white noise of standard deviation 1: 0.6745 times the root of 6.
const SECOND_DIFFERENCE: f64 = 1.652;
/// Of the last 32 second differences so many are above that where the noise is at its limit, …
const NOISY_FROM: u32 = 16;
/// … and so many at most where it is well below it again.
const CALM_AT: u32 = 8;

/// What holds for a probe now.
#[derive(Debug, Clone, Copy)]
pub(in crate::alarm) struct Bounds {
    /// Whether it should be heard and be right: a ride probe only while it is in a pass.
    pub(in crate::alarm) attended: bool,
    pub(in crate::alarm) in_pass: bool,
    pub(in crate::alarm) silent_after: f64,
    pub(in crate::alarm) stuck_after: f64,
    pub(in crate::alarm) noise: f64,
}

/// One probe.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Health {
    /// Whether it was read since the last tick, and since when it has not been. (Its readings may be old when
    /// they come.)
    heard: bool,
    quiet_since: Option<Micros>,
    /// Whether it showed good numbers when it was last attended to, so that an open circuit is news.
    last: Option<(Micros, f64)>,
    before: f64,
    same_since: Option<Micros>,
    /// The smallest step that it ever took.
    step: Option<f64>,
    above: u32,
    compared: u32,
    open: Edge,
    range: Edge,
    stuck: Edge,
    noisy: Edge,
    silent: Edge,
    overdue: Edge,
}

impl Health {
    /// A reading: the number as it came, and the temperature that it is.
    pub(in crate::alarm) fn read(
        &mut self,
        at: Micros,
        (raw, celsius): (Option<f64>, Option<f64>),
        bounds: Bounds,
        said: &mut Said,
    ) {
        self.heard = true;
        self.silent.clear(Kind::ProbeSilent, said);
        let good =
            celsius.filter(|celsius| (COOLEST_BELIEVED..=HOTTEST_BELIEVED).contains(celsius));
        let number = raw.filter(|raw| raw.is_finite());
        let was_attended = bounds.attended || self.open.holds() || self.range.holds();
        let open = number.is_none() && was_attended;
        self.open
            .set(open, Kind::ProbeOpen, said, || Cause::NoNumber);
        let out = number.filter(|_| good.is_none() && was_attended);
        self.range
            .set(out.is_some(), Kind::ProbeOutOfRange, said, || {
                Cause::CannotBe {
                    shown: celsius
                        .filter(|celsius| celsius.is_finite())
                        .or(out)
                        .unwrap_or_default(),
                }
            });
        let Some(now) = good else {
            self.last = None;
            self.same_since = None;
            return;
        };
        self.unmoving(at, now, bounds, said);
        self.scatter(at, now, bounds, said);
        self.before = self.last.map_or(now, |(_, last)| last);
        self.last = Some((at, now));
    }

    fn unmoving(&mut self, at: Micros, now: f64, bounds: Bounds, said: &mut Said) {
        let moved = self
            .last
            .map_or(f64::INFINITY, |(_, last)| (now - last).abs());
        if moved > 0.0 {
            self.same_since = Some(at);
            if moved.is_finite() && self.step.is_none_or(|step| moved < step) {
                self.step = Some(moved);
            }
            self.stuck.clear(Kind::ProbeStuck, said);
            return;
        }
        let still = self.same_since.map_or(0.0, |since| at.seconds_since(since));
        let usual = match bounds.in_pass {
            true => STUCK_IN_PASS.min(bounds.stuck_after),
            false => bounds.stuck_after,
        };
        // One that has never moved has shown no step either: nobody knows how coarse it is.
        let coarse = self.step.is_none_or(|step| step >= COARSE);
        let after = if coarse { usual * COARSE_FACTOR } else { usual };
        let hot = now >= HOT || bounds.in_pass;
        if bounds.attended && hot && still >= after {
            self.stuck
                .set(true, Kind::ProbeStuck, said, || Cause::Unmoving {
                    shown: Celsius(now),
                    lasting: Seconds(still),
                });
        }
    }

    /// White noise of standard deviation s has second differences of which half are above 1.652 s, whatever
    /// straight line it lies on; a print's edges are few among 32.
    fn scatter(&mut self, at: Micros, now: f64, bounds: Bounds, said: &mut Said) {
        let Some((last_at, last)) = self.last else {
            return;
        };
        if at.seconds_since(last_at) > APART {
            (self.above, self.compared) = (0, 0);
            return;
        }
        let second = (now - 2.0 * last + self.before).abs();
        let is_above = second > SECOND_DIFFERENCE * bounds.noise;
        self.above = (self.above << 1) | u32::from(is_above);
        self.compared = (self.compared + 1).min(32);
        let above = self.above.count_ones();
        if self.compared == 32 && above >= NOISY_FROM && bounds.attended {
            self.noisy
                .set(true, Kind::ProbeNoisy, said, || Cause::Scatters {
                    limit: CelsiusDifference(bounds.noise),
                });
        } else if above <= CALM_AT {
            self.noisy.clear(Kind::ProbeNoisy, said);
        }
    }

    /// Time goes on.
    pub(in crate::alarm) fn tick(&mut self, at: Micros, bounds: Bounds, said: &mut Said) {
        if std::mem::take(&mut self.heard) || !bounds.attended || self.quiet_since.is_none() {
            self.quiet_since = Some(at);
        }
        if !bounds.attended {
            self.silent.clear(Kind::ProbeSilent, said);
        }
        let quiet = self
            .quiet_since
            .map_or(0.0, |since| at.seconds_since(since));
        if quiet >= bounds.silent_after {
            self.silent
                .set(true, Kind::ProbeSilent, said, || Cause::Silent {
                    lasting: Seconds(quiet),
                });
        }
    }

    /// Nobody listened for a while: silence begins anew.
    pub(in crate::alarm) fn woke(&mut self, at: Micros) {
        self.heard = false;
        self.quiet_since = Some(at);
        self.same_since = None;
        self.last = None;
    }

    /// What was wrong with it ends with the pass it was in, or with its source.
    pub(in crate::alarm) fn rests(&mut self, said: &mut Said) {
        for (edge, kind) in [
            (&mut self.open, Kind::ProbeOpen),
            (&mut self.range, Kind::ProbeOutOfRange),
            (&mut self.stuck, Kind::ProbeStuck),
            (&mut self.noisy, Kind::ProbeNoisy),
            (&mut self.silent, Kind::ProbeSilent),
        ] {
            edge.clear(kind, said);
        }
        self.same_since = None;
    }

    /// Its calibration was due so many seconds ago, where one is due at all.
    pub(in crate::alarm) fn due(&mut self, since: Option<f64>, said: &mut Said) {
        let since = since.filter(|since| *since > 0.0);
        self.overdue
            .set(since.is_some(), Kind::CalibrationOverdue, said, || {
                Cause::Overdue {
                    since: Seconds(since.unwrap_or_default()),
                }
            });
    }
}
