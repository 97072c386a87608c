//! One zone of a chamber: over its limit, rising too fast, short of its set temperature, or sagging.

use std::collections::VecDeque;

use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::live::Micros;

/// A zone that was over its limit is back this far below it, in °C.
const BACK: f64 = 5.0;
/// Readings are put together over so many seconds before they are compared.
const BUCKET: f64 = 5.0;
/// A rise is measured over so many buckets, …
const BUCKETS: usize = 7;
/// … and at least so many seconds.
const LEAST_SPAN: f64 = 20.0;
/// Readings further apart than this, in seconds, begin anew.
const TORN: f64 = 15.0;
/// A zone has settled once it has stayed this close to its mean, in °C, …
const STEADY: f64 = 6.0;
/// … for so many seconds; …
const SETTLES: f64 = 180.0;
/// … elsewhere than it had settled before, for so many.
const RESETTLES: f64 = 600.0;
/// The time constants of that mean and of where it has settled, in seconds.
const MEAN_OVER: f64 = 60.0;
const SETTLED_OVER: f64 = 1200.0;

/// What holds for a zone now.
#[derive(Debug, Clone, Copy)]
pub(in crate::alarm) struct Bounds {
    pub(in crate::alarm) limit: Option<f64>,
    /// °C a minute.
    pub(in crate::alarm) rise: Option<f64>,
    pub(in crate::alarm) set: Option<f64>,
    pub(in crate::alarm) reach: f64,
    pub(in crate::alarm) sag: f64,
    /// Whether a batch is open.
    pub(in crate::alarm) working: bool,
    /// Whether it should have reached its set temperature by now, batch or not.
    pub(in crate::alarm) warm: bool,
}

/// Readings put together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Bucket {
    begun: Micros,
    /// Sum of the times, in seconds after `begun`.
    times: f64,
    sum: f64,
    count: f64,
}

/// One zone, as one probe sees it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Chamber {
    last: Option<(Micros, f64)>,
    buckets: VecDeque<Bucket>,
    mean: f64,
    steady_since: Option<Micros>,
    settled: Option<f64>,
    reached: bool,
    over: Edge,
    rising: Edge,
    short: Edge,
    sagging: Edge,
}

impl Chamber {
    /// The temperature shown last.
    pub(in crate::alarm) fn latest(&self) -> Option<(Micros, f64)> {
        self.last
    }

    /// Whether it has fallen well below where it had settled.
    pub(in crate::alarm) fn is_cooling(&self) -> bool {
        let now = self.last.map(|(_, now)| now);
        now.zip(self.settled)
            .is_some_and(|(now, settled)| now < settled - 15.0)
    }

    /// Whether something is wrong with it by itself.
    pub(in crate::alarm) fn is_off(&self) -> bool {
        self.over.holds() || self.short.holds() || self.sagging.holds()
    }

    /// Takes a reading.
    pub(in crate::alarm) fn read(&mut self, at: Micros, now: f64, bounds: Bounds, said: &mut Said) {
        let apart = self
            .last
            .map_or(f64::INFINITY, |(last, _)| at.seconds_since(last));
        if let Some((_, last)) = self.last
            && apart <= TORN
            && (now - last).abs() > (150.0 * apart).max(10.0)
        {
            // What no chamber does (the jump that judging does not believe either).
            return;
        }
        if apart > TORN {
            self.buckets.clear();
            self.steady_since = None;
            self.mean = now;
        }
        self.last = Some((at, now));
        self.follow(at, now, apart.min(TORN), bounds.sag);
        self.limit(now, bounds, said);
        self.rise(at, now, bounds, said);
        self.work(now, bounds, said);
    }

    /// Its station is off: a new warming-up begins.
    pub(in crate::alarm) fn rests(&mut self, said: &mut Said) {
        self.reached = false;
        self.short.clear(Kind::HeaterShortOfSet, said);
        self.sagging.clear(Kind::HeaterSagging, said);
    }

    /// Where it settles.
    fn follow(&mut self, at: Micros, now: f64, apart: f64, sag: f64) {
        self.mean += (now - self.mean) * (1.0 - (-apart / MEAN_OVER).exp());
        if (now - self.mean).abs() > STEADY {
            self.steady_since = None;
            return;
        }
        let since = *self.steady_since.get_or_insert(at);
        let steady = at.seconds_since(since);
        match &mut self.settled {
            None if steady >= SETTLES => self.settled = Some(self.mean),
            None => {}
            Some(settled) if (self.mean - *settled).abs() < sag / 2.0 => {
                *settled += (self.mean - *settled) * (1.0 - (-apart / SETTLED_OVER).exp());
            }
            Some(settled) if steady >= RESETTLES => *settled = self.mean,
            Some(_) => {}
        }
    }

    fn limit(&mut self, now: f64, bounds: Bounds, said: &mut Said) {
        let Some(limit) = bounds.limit else { return };
        let held = if self.over.holds() { BACK } else { 0.0 };
        let over = now > limit - held;
        self.over
            .set(over, Kind::ChamberOverLimit, said, || Cause::Above {
                now: Celsius(now),
                limit: Celsius(limit),
            });
    }

    fn rise(&mut self, at: Micros, now: f64, bounds: Bounds, said: &mut Said) {
        let Some(limit) = bounds.rise else { return };
        let begins = match self.buckets.back() {
            Some(bucket) => at.seconds_since(bucket.begun) >= BUCKET,
            None => true,
        };
        if begins {
            if self.buckets.len() == BUCKETS {
                self.buckets.pop_front();
            }
            let begun = at;
            self.buckets.push_back(Bucket {
                begun,
                times: 0.0,
                sum: 0.0,
                count: 0.0,
            });
        }
        if let Some(bucket) = self.buckets.back_mut() {
            bucket.times += at.seconds_since(bucket.begun);
            bucket.sum += now;
            bucket.count += 1.0;
        }
        let (Some(first), Some(last)) = (self.buckets.front(), self.buckets.back()) else {
            return;
        };
        let span = last.begun.seconds_since(first.begun) + last.times / last.count
            - first.times / first.count;
        if span < LEAST_SPAN {
            return;
        }
        let per_minute = (last.sum / last.count - first.sum / first.count) / span * 60.0;
        let from = if self.rising.holds() {
            limit / 2.0
        } else {
            limit
        };
        self.rising
            .set(per_minute > from, Kind::ChamberRisingFast, said, || {
                Cause::Rising {
                    per_minute: CelsiusDifference(per_minute),
                    limit: CelsiusDifference(limit),
                    now: Celsius(now),
                }
            });
    }

    /// What matters only while prints go through, or should.
    fn work(&mut self, now: f64, bounds: Bounds, said: &mut Said) {
        if let Some(set) = bounds.set {
            self.reached |= now >= set - bounds.reach;
            let wanted = bounds.working || bounds.warm;
            self.short.set(
                wanted && !self.reached,
                Kind::HeaterShortOfSet,
                said,
                || Cause::Below {
                    now: Celsius(now),
                    wanted: Celsius(set),
                },
            );
        }
        let Some(settled) = self.settled else { return };
        let share = if self.sagging.holds() { 0.5 } else { 1.0 };
        let sags = bounds.working && now < settled - bounds.sag * share;
        self.sagging
            .set(sags, Kind::HeaterSagging, said, || Cause::Below {
                now: Celsius(now),
                wanted: Celsius(settled),
            });
    }
}
