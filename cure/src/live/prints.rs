//! Which prints there are, and which of them a probe saw.
//!
//! A ride and a step of the counter are the same print where they entered the heat at the same way of the
//! belt. A ride is known to have begun before the eye, which sits behind the heat, counts its print; so a
//! step that fits no ride is a print that no probe in its ink saw.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

/// A ride and a step of the counter this far apart along the belt are two prints where no pitch is declared,
/// in metres.
const USUAL_TOLERANCE: f64 = 0.3;
/// How many rides and batches are remembered.
const REMEMBERED: usize = 16;
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
    /// The print that the counter said it is.
    print: Option<u64>,
    counted: bool,
}

/// The prints of one station.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Prints {
    batches: VecDeque<Batch>,
    rides: VecDeque<Ride>,
    count: Option<f64>,
}

/// A print that was counted and that no ride is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unseen {
    pub(super) batch: Option<u64>,
    pub(super) print: Option<u64>,
}

impl Prints {
    pub(super) fn open(&mut self, number: u64, time: f64) {
        self.close(time);
        if self.batches.len() == REMEMBERED {
            self.batches.pop_front();
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

    /// The batch that was open at a moment.
    fn batch_at(&mut self, time: f64) -> Option<&mut Batch> {
        self.batches
            .iter_mut()
            .rev()
            .find(|batch| batch.opened <= time && batch.closed.is_none_or(|closed| time < closed))
    }

    /// The next number in a batch.
    pub(super) fn next(&mut self, number: u64) -> Option<u64> {
        let batch = self.batches.iter_mut().rev();
        let batch = batch.into_iter().find(|batch| batch.number == number)?;
        batch.prints += 1;
        Some(batch.prints)
    }

    /// A ride has begun.
    pub(super) fn ride(&mut self, began: f64, way: f64) {
        if self.rides.len() == REMEMBERED {
            self.rides.pop_front();
        }
        self.rides.push_back(Ride {
            began,
            way,
            print: None,
            counted: false,
        });
    }

    /// What began was no ride.
    pub(super) fn no_ride(&mut self, began: f64) {
        self.rides.retain(|ride| ride.began != began);
    }

    /// The number that the counter gave to the ride that began then, or, where there is no counter, the next.
    pub(super) fn number(
        &mut self,
        began: f64,
        batch: Option<u64>,
        has_counter: bool,
    ) -> Option<u64> {
        if !has_counter {
            return self.next(batch?);
        }
        let ride = self.rides.iter().find(|ride| ride.began == began)?;
        ride.print
    }

    /// The counter shows a number. `entered` is when and at which way the print that is now under its eye
    /// entered the heat; each print that no ride is goes to `unseen`.
    pub(super) fn counted(
        &mut self,
        shown: f64,
        entered: (f64, f64),
        pitch: Option<f64>,
        unseen: &mut impl FnMut(Unseen),
    ) {
        let before = self.count.replace(shown);
        let Some(before) = before else { return };
        let step = if shown < before {
            shown
        } else {
            shown - before
        };
        if !(1.0..=LARGEST_STEP).contains(&step) {
            return;
        }
        let tolerance = pitch.map_or(USUAL_TOLERANCE, |pitch| 0.5 * pitch);
        for _ in 0..(step as u64) {
            let batch = self.batch_at(entered.0).map(|batch| {
                batch.prints += 1;
                (batch.number, batch.prints)
            });
            let (number, print) = (batch.map(|batch| batch.0), batch.map(|batch| batch.1));
            let off = |ride: &Ride| (ride.way - entered.1).abs();
            let nearest = self
                .rides
                .iter_mut()
                .filter(|ride| !ride.counted && off(ride) <= tolerance)
                .min_by(|a, b| f64::total_cmp(&off(a), &off(b)));
            match nearest {
                Some(ride) => {
                    ride.counted = true;
                    ride.print = print;
                }
                None => unseen(Unseen {
                    batch: number,
                    print,
                }),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(prints: &mut Prints, shown: f64, entered: (f64, f64)) -> Vec<Unseen> {
        let mut seen = Vec::new();
        prints.counted(shown, entered, Some(0.75), &mut |unseen| seen.push(unseen));
        seen
    }

    #[test]
    fn a_ride_is_the_print_that_entered_with_it() {
        let mut prints = Prints::default();
        prints.open(7, 0.0);
        assert!(
            count(&mut prints, 40.0, (0.0, 0.0)).is_empty(),
            "first look"
        );
        prints.ride(20.0, 1.0);
        let first = count(&mut prints, 41.0, (0.5, 0.2));
        assert_eq!(
            first,
            [Unseen {
                batch: Some(7),
                print: Some(1)
            }]
        );
        assert!(count(&mut prints, 42.0, (19.0, 0.95)).is_empty());
        assert_eq!(prints.number(20.0, Some(7), true), Some(2));
    }

    #[test]
    fn a_print_belongs_to_the_batch_that_was_open_when_it_entered() {
        let mut prints = Prints::default();
        prints.open(1, 0.0);
        count(&mut prints, 0.0, (0.0, 0.0));
        prints.open(2, 100.0);
        let late = count(&mut prints, 1.0, (90.0, 5.0));
        assert_eq!(
            late,
            [Unseen {
                batch: Some(1),
                print: Some(1)
            }]
        );
        let after = count(&mut prints, 2.0, (101.0, 6.0));
        assert_eq!(
            after,
            [Unseen {
                batch: Some(2),
                print: Some(1)
            }]
        );
        prints.close(110.0);
        let none = count(&mut prints, 3.0, (120.0, 7.0));
        assert_eq!(
            none,
            [Unseen {
                batch: None,
                print: None
            }]
        );
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
}
