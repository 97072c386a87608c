//! Sorting good samples from bad ones.
//!
//! Bad is what is no number, out of −40 °C to 600 °C, or a *jump*: it differs from the last good
//! sample by more than 10 °C and by more than 150 °C/s times the time between them. The later one
//! is bad, so that a bad sample never convicts its neighbour, and a real step ends the run of bad
//! samples by itself once enough time has passed. At the very beginning nobody knows which of two
//! disagreeing samples is right: there the third decides. Rows with equal times become one sample,
//! the mean of their good values.

use serde::{Deserialize, Serialize};

use crate::fault_times::FaultTimes;

/// The coolest temperature that a probe is believed, in °C.
pub const COOLEST_BELIEVED: f64 = -40.0;
/// The hottest temperature that a probe is believed, in °C.
pub const HOTTEST_BELIEVED: f64 = 600.0;
/// A difference up to this is never a jump, in °C.
pub const JUMP_FREE: f64 = 10.0;
/// The fastest change that is believed, in °C a second.
pub const JUMP_RATE: f64 = 150.0;

/// How many samples are passed on at once at most.
const RUN: usize = 512;

/// What receives the sorted samples, in order of time.
pub(crate) trait Sorted {
    /// A good sample; `rows` is how many readings it is the mean of.
    fn good(&mut self, time: f64, celsius: f64, rows: u32);
    /// Good samples, each of one reading.
    fn good_run(&mut self, samples: &[(f64, f64)]) {
        samples
            .iter()
            .for_each(|&(time, celsius)| self.good(time, celsius, 1));
    }
    /// A bad sample.
    fn bad(&mut self, time: f64);
}

/// The good samples of readings in order of time, as pairs of seconds and °C: what is no temperature, out
/// of range or a jump is left out, and readings of one time are one sample.
pub fn good_samples(readings: &[(f64, f64)]) -> Vec<(f64, f64)> {
    struct Kept(Vec<(f64, f64)>);
    impl Sorted for Kept {
        fn good(&mut self, time: f64, celsius: f64, _rows: u32) {
            self.0.push((time, celsius));
        }
        fn bad(&mut self, _time: f64) {}
    }
    let mut kept = Kept(Vec::with_capacity(readings.len()));
    let mut sieve = Sieve::new();
    sieve.feed_all(readings, &mut kept);
    sieve.finish(&mut kept);
    kept.0
}

/// Readings of one time.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
struct Group {
    time: f64,
    sum: f64,
    rows: u32,
}

impl Group {
    fn mean(&self) -> f64 {
        if self.rows == 1 {
            self.sum
        } else {
            self.sum / f64::from(self.rows)
        }
    }
}

/// What is known of the beginning of the trace.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
enum Opening {
    /// No sample yet.
    Empty,
    /// One sample that nothing confirms yet.
    One(Group),
    /// Two that disagree by a jump.
    Disagreeing(Group, Group),
    /// The last good sample.
    Settled { time: f64, celsius: f64 },
}

/// Sorts the samples of one probe.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Sieve {
    opening: Opening,
    pending: Option<Group>,
    /// Bad samples seen before the opening is settled.
    held: FaultTimes,
}

#[inline]
fn is_jump(from_time: f64, from: f64, to_time: f64, to: f64) -> bool {
    let change = (to - from).abs();
    change > JUMP_FREE && change > JUMP_RATE * (to_time - from_time)
}

impl Sieve {
    pub(crate) fn new() -> Sieve {
        Sieve {
            opening: Opening::Empty,
            pending: None,
            held: FaultTimes::default(),
        }
    }

    /// Takes one reading; `celsius` is NaN where it was no number. Times do not go backwards.
    #[inline]
    pub(crate) fn feed(&mut self, time: f64, celsius: f64, sink: &mut impl Sorted) {
        if let Some(pending) = self.pending
            && time > pending.time
        {
            self.pending = None;
            self.settle(pending, sink);
        }
        if !(COOLEST_BELIEVED..=HOTTEST_BELIEVED).contains(&celsius) {
            self.refuse(time, 1, sink);
            return;
        }
        if let Opening::Settled {
            time: last_time,
            celsius: last,
        } = self.opening
            && is_jump(last_time, last, time, celsius)
        {
            self.refuse(time, 1, sink);
            return;
        }
        match &mut self.pending {
            Some(pending) => {
                pending.sum += celsius;
                pending.rows += 1;
            }
            None => {
                self.pending = Some(Group {
                    time,
                    sum: celsius,
                    rows: 1,
                })
            }
        }
    }

    /// Takes many readings, as if each were fed.
    pub(crate) fn feed_all(&mut self, mut readings: &[(f64, f64)], sink: &mut impl Sorted) {
        while let Some(&(time, celsius)) = readings.first() {
            let taken = self.plain_run(readings, sink);
            if taken == 0 {
                self.feed(time, celsius, sink);
            }
            readings = &readings[taken.max(1)..];
        }
    }

    /// Takes the readings that follow each other without any doubt, and says how many.
    fn plain_run(&mut self, readings: &[(f64, f64)], sink: &mut impl Sorted) -> usize {
        let (Opening::Settled { .. }, Some(Group { time, sum, rows: 1 })) =
            (self.opening, self.pending)
        else {
            return 0;
        };
        let mut run = [(time, sum); RUN + 1];
        let mut before = (time, sum);
        let mut taken = 0;
        for (&reading, place) in readings.iter().zip(&mut run[1..]) {
            let believed = (COOLEST_BELIEVED..=HOTTEST_BELIEVED).contains(&reading.1);
            let follows = reading.0 > before.0 && (reading.1 - before.1).abs() <= JUMP_FREE;
            if !(believed && follows) {
                break;
            }
            *place = reading;
            before = reading;
            taken += 1;
        }
        if taken > 0 {
            let (time, celsius) = run[taken - 1];
            sink.good_run(&run[..taken]);
            self.opening = Opening::Settled { time, celsius };
            self.pending = Some(Group {
                time: before.0,
                sum: before.1,
                rows: 1,
            });
        }
        taken
    }

    /// Gives out what is still held back.
    pub(crate) fn finish(&mut self, sink: &mut impl Sorted) {
        if let Some(pending) = self.pending.take() {
            self.settle(pending, sink);
        }
        match self.opening {
            Opening::One(first) => self.settle_opening(first, None, sink),
            Opening::Disagreeing(first, second) => {
                self.refuse(second.time, u64::from(second.rows), sink);
                self.settle_opening(first, None, sink);
            }
            Opening::Empty => self.release_held(f64::INFINITY, sink),
            Opening::Settled { .. } => {}
        }
    }

    #[inline]
    fn settle(&mut self, group: Group, sink: &mut impl Sorted) {
        if let Opening::Settled { .. } = self.opening {
            let celsius = group.mean();
            sink.good(group.time, celsius, group.rows);
            self.opening = Opening::Settled {
                time: group.time,
                celsius,
            };
        } else {
            self.open(group, sink);
        }
    }

    #[cold]
    fn open(&mut self, group: Group, sink: &mut impl Sorted) {
        let jumps = |from: &Group| is_jump(from.time, from.mean(), group.time, group.mean());
        match self.opening {
            Opening::Empty => self.opening = Opening::One(group),
            Opening::One(first) if jumps(&first) => {
                self.opening = Opening::Disagreeing(first, group);
            }
            Opening::One(first) => self.settle_opening(first, Some(group), sink),
            Opening::Disagreeing(first, second) if !jumps(&second) => {
                self.refuse(first.time, u64::from(first.rows), sink);
                self.settle_opening(second, Some(group), sink);
            }
            Opening::Disagreeing(first, second) => {
                self.refuse(second.time, u64::from(second.rows), sink);
                if jumps(&first) {
                    self.refuse(group.time, u64::from(group.rows), sink);
                    self.settle_opening(first, None, sink);
                } else {
                    self.settle_opening(first, Some(group), sink);
                }
            }
            Opening::Settled { .. } => {}
        }
    }

    /// Gives out the first good samples of the trace, with the bad ones among them in their places.
    fn settle_opening(&mut self, first: Group, second: Option<Group>, sink: &mut impl Sorted) {
        let mut last = first;
        self.release_held(first.time, sink);
        sink.good(first.time, first.mean(), first.rows);
        if let Some(second) = second {
            self.release_held(second.time, sink);
            sink.good(second.time, second.mean(), second.rows);
            last = second;
        }
        self.release_held(f64::INFINITY, sink);
        self.opening = Opening::Settled {
            time: last.time,
            celsius: last.mean(),
        };
    }

    fn release_held(&mut self, before: f64, sink: &mut impl Sorted) {
        let held = std::mem::take(&mut self.held);
        for &(time, count) in held.runs() {
            if time < before {
                (0..count).for_each(|_| sink.bad(time));
            } else {
                self.held.add_run(time, count);
            }
        }
    }

    #[cold]
    fn refuse(&mut self, time: f64, count: u64, sink: &mut impl Sorted) {
        if let Opening::Settled { .. } = self.opening {
            (0..count).for_each(|_| sink.bad(time));
        } else {
            self.held.add_run(time, count);
        }
    }
}
