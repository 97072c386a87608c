//! The way that a belt has gone, and how fast it goes.
//!
//! The way w(t) is the integral of the belt's speed, which holds from one reading to the next. In way rather
//! than in time prints keep their distance, also while the belt is slowed, stopped or sped up.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

/// How many readings are kept: an hour of one a second.
const MOST_KEPT: usize = 3600;
/// A signal that has been silent for longer is not live, in seconds.
const LIVE_FOR: f64 = 20.0;
/// Readings closer together than this say nothing new unless the speed changes, in seconds.
const CLOSE: f64 = 1.0;
/// A change of speed that is kept however close the readings, in m/s.
const CHANGE: f64 = 1e-4;

/// From this moment on the belt runs at this speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Since {
    time: f64,
    way: f64,
    speed: f64,
}

/// The belt of one station. Times are in seconds, ways in metres, speeds in m/s.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Belt {
    kept: VecDeque<Since>,
    /// When the signal was last heard.
    heard: Option<f64>,
}

impl Belt {
    /// A belt at its nominal speed, zero where none is declared.
    pub(crate) fn new(nominal: f64) -> Belt {
        let start = Since {
            time: 0.0,
            way: 0.0,
            speed: nominal,
        };
        Belt {
            kept: VecDeque::from([start]),
            heard: None,
        }
    }

    /// Takes a reading of the signal.
    pub(crate) fn read(&mut self, time: f64, speed: f64) {
        self.heard = Some(time);
        let speed = speed.max(0.0);
        let Some(last) = self.kept.back() else { return };
        if time < last.time || (time - last.time < CLOSE && (speed - last.speed).abs() < CHANGE) {
            return;
        }
        let way = last.way + last.speed * (time - last.time);
        if self.kept.len() == MOST_KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(Since { time, way, speed });
    }

    /// The way at a moment.
    pub(crate) fn way(&self, time: f64) -> f64 {
        let since = self.at(time);
        since.way + since.speed * (time - since.time)
    }

    /// When the belt had gone this way; infinite where it will not at its present speed.
    pub(crate) fn when(&self, way: f64) -> f64 {
        let after = self.kept.partition_point(|since| since.way <= way);
        let since = self.kept[after.saturating_sub(1)];
        if since.speed > 0.0 {
            since.time + (way - since.way) / since.speed
        } else {
            f64::INFINITY
        }
    }

    /// The speed at a moment.
    pub(crate) fn speed(&self, time: f64) -> f64 {
        self.at(time).speed
    }

    /// Whether the signal is live at a moment.
    pub(crate) fn is_live(&self, time: f64) -> bool {
        self.heard.is_some_and(|heard| time - heard <= LIVE_FOR)
    }

    fn at(&self, time: f64) -> Since {
        let after = self.kept.partition_point(|since| since.time <= time);
        self.kept[after.saturating_sub(1)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10 s at 0.04 m/s, 20 s at rest, 5 s at 0.1 m/s: 0.4 m, 0.4 m, 0.9 m.
    #[test]
    fn the_way_is_the_integral_of_the_speed() {
        let mut belt = Belt::new(0.04);
        belt.read(10.0, 0.0);
        belt.read(30.0, 0.1);
        for (time, way) in [(5.0, 0.2), (10.0, 0.4), (25.0, 0.4), (35.0, 0.9)] {
            assert!((belt.way(time) - way).abs() < 1e-12, "{time}");
        }
        assert!((belt.when(0.2) - 5.0).abs() < 1e-9);
        assert!((belt.when(0.9) - 35.0).abs() < 1e-9);
        assert_eq!(belt.speed(20.0), 0.0);
    }

    #[test]
    fn a_belt_that_stands_never_gets_there() {
        let mut belt = Belt::new(0.04);
        belt.read(10.0, 0.0);
        assert_eq!(belt.when(1.0), f64::INFINITY);
    }

    #[test]
    fn a_silent_signal_is_not_live() {
        let mut belt = Belt::new(0.04);
        assert!(!belt.is_live(0.0));
        belt.read(10.0, 0.05);
        assert!(belt.is_live(29.0) && !belt.is_live(31.0));
    }

    #[test]
    fn steady_readings_need_little_room() {
        let mut belt = Belt::new(0.04);
        for tenth in 0..100_000 {
            belt.read(f64::from(tenth) * 0.1, 0.05);
        }
        assert!(belt.kept.len() <= MOST_KEPT);
        assert!((belt.way(9_999.9) - 0.05 * 9_999.9).abs() < 1e-6);
    }
}
