//! Which prints there are, and which of them a probe saw.
//!
//! A ride and a step of the counter are the same print where they entered the heat at the same way of the
//! belt. But the eye sees the leading edge of what lies on the belt, while a ride begins where its film passes
//! `wake`, which is further on: half a garment and a piece of the heat later. That lag is much the same for
//! every ride of a station, so it is learnt from those that are over.
//!
//! The eye sits behind the heat: when it counts a print, its ride has begun. So a step goes to the ride that it
//! fits best. It may have to make room for a later step that fits better, as long as that ride is not over;
//! then it looks for another, and a step that is left without one is a print that no probe in its ink saw.

use std::collections::VecDeque;

use inkdwell_config::quantity::MetresPerSecond;
use serde::{Deserialize, Serialize};

use super::time::Micros;

/// The lag before any was seen, in metres: half a shirt along the belt, and some seconds in the heat.
const USUAL_LAG: f64 = 0.4;
/// No lag is less or more, in metres: an eye or a distance may be off a little, garments are not longer.
const LAGS: (f64, f64) = (-0.25, 1.5);
/// How far a lag may be from the learnt one where no pitch is declared, in metres.
const USUAL_TOLERANCE: f64 = 0.3;
/// The lag follows the last so many rides.
const LEARNT_FROM: u32 = 8;
/// So many rides one after the other without a step: the lag is another now.
const LOST: u32 = 2;
/// How many batches, and rides that are over, are remembered.
const REMEMBERED: usize = 16;
/// Of how many batches before them the number of prints is.
const COUNTS_REMEMBERED: usize = 64;
/// A counter that jumps by more was reset or is broken; it is taken up anew.
const LARGEST_STEP: f64 = 50.0;

/// A batch and its prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Batch {
    number: u64,
    opened: f64,
    closed: Option<f64>,
    prints: u64,
}

/// A ride that has begun.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Ride {
    began: f64,
    /// The belt's way when it did.
    way: f64,
    /// The step of the counter that it is, as far as is known.
    step: Option<Step>,
    /// Its pass has ended and was told: its number stands.
    over: bool,
}

/// A print that the eye counted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Step {
    /// The belt's way when its leading edge entered the heat.
    way: f64,
    /// When the eye saw it.
    pub(super) at: Micros,
    /// How fast it came through.
    pub(super) belt: Option<MetresPerSecond>,
    pub(super) batch: Option<u64>,
    pub(super) print: Option<u64>,
}

/// What is under the eye as it counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct UnderEye {
    pub(super) at: Micros,
    /// The belt's way when its leading edge entered the heat.
    pub(super) way: f64,
    /// When a ride of it would have begun.
    pub(super) began: f64,
    pub(super) belt: Option<MetresPerSecond>,
}

/// By how much rides begin behind the leading edge of their print.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Lag {
    mean: f64,
    /// From how many rides, at most [`LEARNT_FROM`].
    rides: u32,
    /// Rides without a step since the last with one.
    lost: u32,
}

impl Lag {
    fn metres(&self) -> f64 {
        if self.rides == 0 {
            USUAL_LAG
        } else {
            self.mean
        }
    }

    fn learn(&mut self, metres: f64) {
        self.lost = 0;
        self.rides = (self.rides + 1).min(LEARNT_FROM);
        self.mean += (metres - self.mean) / f64::from(self.rides);
    }

    /// A ride was over, and no step fitted it.
    fn lose(&mut self) {
        self.lost += 1;
        if self.lost >= LOST {
            *self = Lag::default();
        }
    }

    /// Whether a ride may be a step that it lags so far behind.
    fn may_be(&self, metres: f64, pitch: Option<f64>) -> bool {
        if self.rides == 0 {
            return (LAGS.0..=LAGS.1).contains(&metres);
        }
        let tolerance = pitch.map_or(USUAL_TOLERANCE, |pitch| 0.5 * pitch);
        (metres - self.mean).abs() <= tolerance
    }
}

/// The prints of one station.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Prints {
    batches: VecDeque<Batch>,
    /// How many prints earlier batches have, with their numbers.
    earlier: VecDeque<(u64, u64)>,
    rides: VecDeque<Ride>,
    lag: Lag,
    count: Option<f64>,
}

impl Prints {
    pub(super) fn open(&mut self, number: u64, time: f64) {
        self.close(time);
        if self.batches.len() == REMEMBERED
            && let Some(batch) = self.batches.pop_front()
        {
            self.remember(batch.number, batch.prints);
        }
        self.batches.push_back(Batch {
            number,
            opened: time,
            closed: None,
            prints: 0,
        });
    }

    pub(super) fn close(&mut self, time: f64) {
        if let Some(last) = self.batches.back_mut()
            && last.closed.is_none()
        {
            last.closed = Some(time);
        }
    }

    fn remember(&mut self, batch: u64, prints: u64) {
        if self.earlier.len() == COUNTS_REMEMBERED {
            self.earlier.pop_front();
        }
        self.earlier.push_back((batch, prints));
    }

    /// The batch that was open at a moment.
    fn batch_at(&mut self, time: f64) -> Option<&mut Batch> {
        self.batches
            .iter_mut()
            .rev()
            .find(|batch| batch.opened <= time && batch.closed.is_none_or(|closed| time < closed))
    }

    /// The next number in a batch whose prints have numbers up to `given` at least.
    pub(super) fn next(&mut self, number: u64, given: u64) -> u64 {
        let mut batches = self.batches.iter_mut().rev();
        if let Some(batch) = batches.find(|batch| batch.number == number) {
            batch.prints = batch.prints.max(given) + 1;
            return batch.prints;
        }
        let place = self.earlier.iter().position(|(own, _)| *own == number);
        let prints = place.and_then(|place| self.earlier.remove(place));
        let prints = prints.map_or(0, |(_, prints)| prints).max(given) + 1;
        self.remember(number, prints);
        prints
    }

    /// By how much rides begin behind the leading edge of their print, in metres.
    pub(super) fn lag(&self) -> f64 {
        self.lag.metres()
    }

    /// A ride has begun.
    pub(super) fn ride(&mut self, began: f64, way: f64) {
        if self.rides.iter().filter(|ride| ride.over).count() == REMEMBERED
            && let Some(oldest) = self.rides.iter().position(|ride| ride.over)
        {
            self.rides.remove(oldest);
        }
        self.rides.push_back(Ride {
            began,
            way,
            step: None,
            over: false,
        });
    }

    /// What began was no ride; the print that it was thought to be, if any, was not seen.
    pub(super) fn no_ride(&mut self, began: f64) -> Option<Step> {
        let place = self.rides.iter().position(|ride| ride.began == began)?;
        self.rides.remove(place)?.step
    }

    /// The belt is another one, or its counter is: rides and counts that were known tell nothing of what comes. The
    /// prints that were counted and waited for their rides.
    pub(super) fn begin_anew(&mut self) -> Vec<Step> {
        self.count = None;
        let rides = std::mem::take(&mut self.rides);
        let open = rides.into_iter().filter(|ride| !ride.over);
        open.filter_map(|ride| ride.step).collect()
    }

    /// A ride is over: the number that the counter gave to it, or, where there is no counter, the next.
    pub(super) fn number(
        &mut self,
        began: f64,
        batch: Option<u64>,
        has_counter: bool,
    ) -> Option<u64> {
        let mut rides = self.rides.iter_mut();
        let ride = rides.find(|ride| ride.began == began);
        if !has_counter {
            if let Some(ride) = ride {
                ride.over = true;
            }
            return Some(self.next(batch?, 0));
        }
        let ride = ride?;
        ride.over = true;
        let Some(step) = &ride.step else {
            self.lag.lose();
            return None;
        };
        let (of, print) = (step.batch, step.print);
        self.lag.learn(ride.way - step.way);
        if of == batch {
            return print;
        }
        // It was counted for another batch than it was judged by.
        Some(self.next(batch?, 0))
    }

    /// The counter shows a number. Each print that no ride is goes to `unseen`, perhaps only when a later
    /// one is counted.
    pub(super) fn counted(
        &mut self,
        shown: f64,
        eye: UnderEye,
        pitch: Option<f64>,
        unseen: &mut impl FnMut(Step),
    ) {
        let before = self.count.replace(shown);
        let Some(before) = before else { return };
        let steps = if shown < before {
            shown
        } else {
            shown - before
        };
        if !(1.0..=LARGEST_STEP).contains(&steps) {
            return;
        }
        for _ in 0..(steps as u64) {
            let batch = self.batch_at(eye.began).map(|batch| {
                batch.prints += 1;
                (batch.number, batch.prints)
            });
            let step = Step {
                way: eye.way,
                at: eye.at,
                belt: eye.belt,
                batch: batch.map(|batch| batch.0),
                print: batch.map(|batch| batch.1),
            };
            self.place(step, pitch).into_iter().for_each(&mut *unseen);
        }
    }

    /// Gives a step to the ride that it fits best among those that no other fits better; the step that is left
    /// over in the end, if any. (Each round fits better than the one before, so that there is an end.)
    fn place(&mut self, mut step: Step, pitch: Option<f64>) -> Option<Step> {
        let lag = self.lag.metres();
        loop {
            let off = |ride: &Ride, step: &Step| (ride.way - step.way - lag).abs();
            let takes = |ride: &Ride| match &ride.step {
                None => true,
                Some(held) => !ride.over && off(ride, &step) < off(ride, held),
            };
            let able =
                |ride: &&mut Ride| self.lag.may_be(ride.way - step.way, pitch) && takes(ride);
            let rides = self.rides.iter_mut().filter(able);
            let best = rides.min_by(|a, b| f64::total_cmp(&off(a, &step), &off(b, &step)));
            let Some(ride) = best else { return Some(step) };
            let lags = ride.way - step.way;
            let moved = ride.step.replace(step);
            if ride.over {
                self.lag.learn(lags);
            }
            step = moved?;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PITCH: f64 = 0.75;

    /// The eye counts what entered then and there.
    fn count(prints: &mut Prints, shown: f64, (began, way): (f64, f64)) -> Vec<Option<(u64, u64)>> {
        let mut seen = Vec::new();
        let eye = UnderEye {
            at: Micros(0),
            way,
            began,
            belt: None,
        };
        prints.counted(shown, eye, Some(PITCH), &mut |step| {
            seen.push(step.batch.zip(step.print));
        });
        seen
    }

    fn open_and_counting() -> Prints {
        let mut prints = Prints::default();
        prints.open(7, 0.0);
        assert_eq!(count(&mut prints, 40.0, (0.0, 0.0)), [], "first look");
        prints
    }

    #[test]
    fn a_ride_is_the_print_that_it_lags_behind_a_little() {
        let mut prints = open_and_counting();
        prints.ride(20.0, 5.0);
        assert_eq!(count(&mut prints, 41.0, (0.5, 2.0)), [Some((7, 1))]);
        assert_eq!(count(&mut prints, 42.0, (19.0, 4.5)), []);
        assert_eq!(count(&mut prints, 43.0, (30.0, 5.5)), [Some((7, 3))]);
        assert_eq!(prints.number(20.0, Some(7), true), Some(2));
    }

    /// Prints follow each other by 0.75 m, the fourth and the twelfth ride, and each of these begins 0.55 m
    /// behind its leading edge: more than half a pitch.
    #[test]
    fn a_ride_in_a_close_run_is_found_whatever_its_lag() {
        let mut prints = open_and_counting();
        let (mut unseen, mut numbers) = (Vec::new(), Vec::new());
        for print in 1..=20_u32 {
            let way = PITCH * f64::from(print);
            if print == 4 || print == 12 {
                prints.ride(way, way + 0.55);
            }
            // The eye sits behind three more prints.
            if let Some(before) = print.checked_sub(3).filter(|before| *before > 0) {
                let entered = PITCH * f64::from(before);
                let shown = 40.0 + f64::from(before);
                unseen.extend(count(&mut prints, shown, (entered, entered)));
            }
            if print == 10 || print == 18 {
                numbers.push(prints.number(PITCH * f64::from(print - 6), Some(7), true));
            }
        }
        assert_eq!(numbers, [Some(4), Some(12)]);
        let unseen: Vec<u64> = unseen.into_iter().flatten().map(|print| print.1).collect();
        let others: Vec<u64> = (1..=17)
            .filter(|print| *print != 4 && *print != 12)
            .collect();
        assert_eq!(unseen, others);
    }

    /// Two lanes: prints come at any distance, and a ride is the one whose lag is most like those before.
    #[test]
    fn a_better_fit_takes_the_place_of_a_worse_one() {
        let mut prints = open_and_counting();
        prints.ride(1.0, 3.5);
        assert_eq!(count(&mut prints, 41.0, (1.0, 3.0)), []);
        assert_eq!(prints.number(1.0, Some(7), true), Some(1));
        // Two rides, and three prints at 9.8, 10 and 10.3 m: the lag that was learnt is 0.5 m.
        prints.ride(2.0, 10.5);
        prints.ride(3.0, 10.8);
        assert_eq!(count(&mut prints, 42.0, (4.0, 9.8)), []);
        assert_eq!(count(&mut prints, 43.0, (5.0, 10.0)), [Some((7, 2))]);
        assert_eq!(count(&mut prints, 44.0, (6.0, 10.3)), []);
        assert_eq!(prints.number(2.0, Some(7), true), Some(3));
        assert_eq!(prints.number(3.0, Some(7), true), Some(4));
    }

    #[test]
    fn what_was_no_ride_leaves_its_print_unseen() {
        let mut prints = open_and_counting();
        prints.ride(1.0, 3.5);
        assert_eq!(count(&mut prints, 41.0, (1.0, 3.1)), []);
        let left = prints.no_ride(1.0).and_then(|step| step.print);
        assert_eq!(left, Some(1));
        assert_eq!(prints.no_ride(1.0), None);
    }

    /// The eye was moved by 0.6 m, and the shop file was not told.
    #[test]
    fn a_lag_that_changes_is_learnt_anew() {
        let mut prints = open_and_counting();
        let mut numbers = Vec::new();
        for ride in 1..=6_u32 {
            let way = 20.0 * f64::from(ride);
            let lag = if ride < 3 { 0.4 } else { 1.0 };
            prints.ride(way, way);
            count(&mut prints, 40.0 + f64::from(ride), (way, way - lag));
            numbers.push(prints.number(way, Some(7), true));
        }
        assert_eq!(numbers, [Some(1), Some(2), None, None, Some(5), Some(6)]);
    }

    #[test]
    fn a_print_belongs_to_the_batch_that_was_open_when_it_entered() {
        let mut prints = Prints::default();
        prints.open(1, 0.0);
        count(&mut prints, 0.0, (0.0, 0.0));
        prints.open(2, 100.0);
        assert_eq!(count(&mut prints, 1.0, (90.0, 5.0)), [Some((1, 1))]);
        assert_eq!(count(&mut prints, 2.0, (101.0, 6.0)), [Some((2, 1))]);
        prints.close(110.0);
        assert_eq!(count(&mut prints, 3.0, (120.0, 7.0)), [None]);
    }

    #[test]
    fn a_counter_that_begins_anew_counts_from_zero() {
        let mut prints = Prints::default();
        prints.open(1, 0.0);
        count(&mut prints, 990.0, (0.0, 0.0));
        assert_eq!(count(&mut prints, 2.0, (10.0, 1.0)).len(), 2);
        assert_eq!(
            count(&mut prints, 900.0, (20.0, 2.0)).len(),
            0,
            "no belt carries so many"
        );
        assert_eq!(count(&mut prints, 901.0, (30.0, 3.0)).len(), 1);
    }

    #[test]
    fn without_a_counter_prints_are_numbered_as_they_end() {
        let mut prints = Prints::default();
        prints.open(1, 0.0);
        prints.ride(5.0, 0.3);
        prints.ride(30.0, 2.0);
        assert_eq!(prints.number(5.0, Some(1), false), Some(1));
        assert_eq!(prints.number(30.0, Some(1), false), Some(2));
        assert_eq!(prints.number(50.0, None, false), None);
    }

    #[test]
    fn a_batch_of_long_ago_counts_on() {
        let mut prints = Prints::default();
        prints.open(1, 0.0);
        assert_eq!(prints.next(1, 0), 1);
        for number in 2..=40 {
            prints.open(number, number as f64);
        }
        assert_eq!(prints.next(1, 0), 2);
        assert_eq!(prints.next(1, 9), 10, "the journal knows of nine");
        for number in 41..=200 {
            prints.open(number, number as f64);
        }
        assert_eq!((prints.next(1, 10), prints.next(1, 10)), (11, 12));
    }
}
