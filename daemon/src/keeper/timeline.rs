//! When a reading was taken, in the daemon's steady time.
//!
//! Without a time of its own a reading was taken when it arrived. A device's own time tells more: after an
//! outage its messages come in a burst, long after they were written. But its clock may be off, and may be
//! set. So the device's time, less how far its clock is ahead, is believed; and how far it is ahead is
//! learnt from two facts:
//!
//! - nothing arrives before it was taken: a reading that seems to come from the future shows that the clock
//!   is further ahead than thought;
//! - what was kept back comes faster than it was taken: readings that come in the same rhythm as they were
//!   taken were not kept back, so if they seem old, the clock is behind.

use serde::{Deserialize, Serialize};

use crate::time::Micros;

/// Readings that seem older than this when they arrive are kept back, or their clock is behind.
const OLD: i64 = 2_000_000;
/// So many readings in the right rhythm, …
const RHYTHM: u32 = 5;
/// … over so long, show that none was kept back.
const RHYTHM_LASTS: i64 = 2_000_000;
/// Readings are in rhythm as long as they come as they were taken within this, …
const UNEVEN: i64 = 300_000;
/// … or this share of the time over which they were taken.
const UNEVEN_SHARE: f64 = 0.25;
/// A sequence number this far back is an old message; one further back is a device that began anew.
const REPEATED_WITHIN: u64 = 64;

/// What is known of the clock behind one input.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Timeline {
    /// By how much the device's clock is ahead of the steady time, once it has been heard.
    ahead: Option<i64>,
    /// The device's time and the arrival of the last reading.
    before: Option<(i64, i64)>,
    sequence: Option<u64>,
    /// The device's time and the arrival of the first reading of the present rhythm, and how many are in it.
    rhythm_since: (i64, i64),
    in_rhythm: u32,
    /// The last moment given to a reading without a time of its own.
    last: i64,
}

/// When a reading was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Placed {
    /// Then.
    At(Micros),
    /// It has been here before: the same message came twice.
    Repeated(Micros),
}

impl Default for Timeline {
    fn default() -> Timeline {
        Timeline {
            ahead: None,
            before: None,
            sequence: None,
            rhythm_since: (0, 0),
            in_rhythm: 0,
            last: i64::MIN,
        }
    }
}

impl Timeline {
    /// Places a reading. `wall_ahead` is how far the wall clock is ahead of the steady time, which is what a
    /// device's clock is thought to show until it is known better.
    pub(super) fn place(
        &mut self,
        arrived: Micros,
        device: Option<i64>,
        sequence: Option<u64>,
        wall_ahead: i64,
    ) -> Placed {
        let Some(device) = device else {
            return self.by_arrival(arrived, sequence);
        };
        let ahead = self.ahead.unwrap_or(wall_ahead);
        if self.is_repeated(device, sequence) {
            return Placed::Repeated(Micros(device - ahead));
        }
        let stepped_back = sequence > self.sequence
            && self.sequence.is_some()
            && self.before.is_some_and(|before| device < before.0);
        self.listen(arrived.0, device);
        let seems = device - ahead;
        let kept_back = arrived.0 - seems;
        let in_rhythm = self.in_rhythm >= RHYTHM && arrived.0 - self.rhythm_since.1 >= RHYTHM_LASTS;
        let ahead = if seems > arrived.0 || stepped_back || (in_rhythm && kept_back > OLD) {
            device - arrived.0
        } else {
            ahead
        };
        self.ahead = Some(ahead);
        self.sequence = sequence.or(self.sequence);
        Placed::At(Micros(device - ahead))
    }

    fn by_arrival(&mut self, arrived: Micros, sequence: Option<u64>) -> Placed {
        if let (Some(sequence), Some(before)) = (sequence, self.sequence)
            && sequence <= before
            && before - sequence <= REPEATED_WITHIN
        {
            return Placed::Repeated(arrived);
        }
        self.sequence = sequence.or(self.sequence);
        // Two lines may arrive in one piece.
        self.last = arrived.0.max(self.last.saturating_add(1));
        Placed::At(Micros(self.last))
    }

    fn is_repeated(&self, device: i64, sequence: Option<u64>) -> bool {
        let Some(before) = self.before else {
            return false;
        };
        match (sequence, self.sequence) {
            (Some(sequence), Some(known)) => sequence <= known && device <= before.0,
            _ => false,
        }
    }

    /// Notes in which rhythm readings come.
    fn listen(&mut self, arrived: i64, device: i64) {
        let goes_on = self.before.is_some_and(|before| device > before.0);
        self.before = Some((device, arrived));
        let (since_device, since_arrived) = self.rhythm_since;
        let (taken, came) = (device - since_device, arrived - since_arrived);
        let uneven = UNEVEN.max((UNEVEN_SHARE * taken as f64) as i64);
        if goes_on && (came - taken).abs() <= uneven {
            self.in_rhythm += 1;
        } else {
            self.in_rhythm = 0;
            self.rhythm_since = (device, arrived);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: i64 = 1_000_000;
    const HOUR: i64 = 3600 * SECOND;

    fn at(placed: Placed) -> i64 {
        match placed {
            Placed::At(at) => at.0,
            Placed::Repeated(at) => panic!("repeated at {}", at.0),
        }
    }

    #[test]
    fn without_a_time_of_its_own_a_reading_was_taken_when_it_came() {
        let mut timeline = Timeline::default();
        assert_eq!(at(timeline.place(Micros(500), None, None, 0)), 500);
        assert_eq!(
            at(timeline.place(Micros(500), None, None, 0)),
            501,
            "two lines in one piece"
        );
        assert_eq!(at(timeline.place(Micros(900), None, None, 0)), 900);
    }

    #[test]
    fn what_was_kept_back_is_placed_when_it_was_taken() {
        let mut timeline = Timeline::default();
        for second in 0..5 {
            let now = second * SECOND;
            assert_eq!(
                at(timeline.place(Micros(now + 20_000), Some(now), None, 0)),
                now
            );
        }
        // Ten minutes of readings, ten a second, come within twelve seconds.
        for tenth in 50..6050 {
            let arrived = Micros(605 * SECOND + tenth * 2_000);
            let taken = tenth * SECOND / 10;
            assert_eq!(at(timeline.place(arrived, Some(taken), None, 0)), taken);
        }
    }

    #[test]
    fn a_clock_that_is_ahead_is_seen_at_once() {
        let mut timeline = Timeline::default();
        let first = at(timeline.place(Micros(0), Some(HOUR), None, 0));
        let second = at(timeline.place(Micros(SECOND), Some(HOUR + SECOND), None, 0));
        assert_eq!((first, second), (0, SECOND));
    }

    #[test]
    fn a_clock_that_is_behind_is_seen_by_its_rhythm() {
        let mut timeline = Timeline::default();
        let mut places = Vec::new();
        for second in 0..10 {
            let now = second * SECOND;
            places.push(at(timeline.place(
                Micros(now),
                Some(now - 600 * SECOND),
                None,
                0,
            )));
        }
        assert_eq!(places[0], -600 * SECOND);
        assert_eq!(places[9], 9 * SECOND);
    }

    #[test]
    fn a_device_clock_that_is_set_loses_nothing_where_messages_are_numbered() {
        for set in [-HOUR, 24 * HOUR] {
            let mut timeline = Timeline::default();
            let mut last = -1;
            for second in 0..20 {
                let now = second * SECOND;
                let device = if second < 10 { now } else { now + set };
                let number = Some(second as u64);
                let place = at(timeline.place(Micros(now), Some(device), number, 0));
                assert!(
                    place > last && (place - now).abs() < SECOND,
                    "{set} {second}"
                );
                last = place;
            }
        }
    }

    #[test]
    fn a_message_that_came_before_is_known_again() {
        let mut timeline = Timeline::default();
        for second in 0..3 {
            let now = second * SECOND;
            timeline.place(Micros(now), Some(now), Some(10 + second as u64), 0);
        }
        let again = timeline.place(Micros(4 * SECOND), Some(SECOND), Some(11), 0);
        assert_eq!(again, Placed::Repeated(Micros(SECOND)));
        // A device that begins anew counts from zero, but its time goes on.
        assert_eq!(
            at(timeline.place(Micros(9 * SECOND), Some(9 * SECOND), Some(0), 0)),
            9 * SECOND
        );
    }
}
