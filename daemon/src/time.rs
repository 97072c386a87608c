//! The daemon's own time.
//!
//! A wall clock may be set back or forward at any moment, and a duration reckoned with it would be wrong.
//! So the daemon counts its own steady time: it begins where the wall clock, or the journal's last entry if
//! that is later, stands at the start, and goes on by the machine's monotonic clock. Everything in the
//! journal is in that time; how far the wall clock is ahead of it is journaled whenever it changes, so that
//! people are shown the time on their wall.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

pub use inkdwell_cure::live::Micros;

/// The wall clock has been set if it has moved by this or more against the steady time, in microseconds.
pub const STEP: i64 = 500_000;

/// The steady time.
#[derive(Debug, Clone, Copy)]
pub struct Steady {
    base: Micros,
    /// How far the wall clock was ahead of it at the beginning.
    wall_ahead: i64,
    begun: Instant,
    /// How many times faster than real: 1 but for a shop that is only simulated.
    faster: f64,
    /// Another wall clock than the machine's.
    clock: Option<fn() -> Micros>,
}

impl Steady {
    /// Begins where the wall clock stands, but after everything that is journaled.
    pub fn begin(wall: Micros, journaled: Option<Micros>, faster: f64) -> Steady {
        let after = journaled.map_or(wall, |last| Micros(last.0 + 1));
        let base = wall.max(after);
        Steady {
            base,
            wall_ahead: wall.0 - base.0,
            begun: Instant::now(),
            faster,
            clock: None,
        }
    }

    /// The same, but with another wall clock than the machine's.
    #[must_use]
    pub fn with_wall_clock(self, clock: fn() -> Micros) -> Steady {
        Steady {
            clock: Some(clock),
            ..self
        }
    }

    /// The moment of an instant; one before the beginning is the beginning.
    pub fn at(&self, instant: Instant) -> Micros {
        let elapsed = instant.saturating_duration_since(self.begun);
        self.base.plus_seconds(elapsed.as_secs_f64() * self.faster)
    }

    /// Now.
    pub fn now(&self) -> Micros {
        self.at(Instant::now())
    }

    /// What the wall clock shows; that of a shop which is only simulated goes as fast as everything else there.
    pub fn wall(&self) -> Micros {
        match self.clock {
            Some(clock) => clock(),
            None if self.faster == 1.0 => wall(),
            None => self.now(),
        }
    }

    /// What the wall clock showed at the beginning, carried on to a moment of this time.
    pub fn wall_at_start(&self, at: Micros) -> Micros {
        Micros(at.0 + self.wall_ahead)
    }

    /// How long to wait in the machine's time for so many seconds of this one.
    pub fn wait(&self, seconds: f64) -> Duration {
        Duration::from_secs_f64((seconds / self.faster).max(0.0))
    }
}

/// What the wall clock shows.
pub fn wall() -> Micros {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    let micros = match since {
        Ok(since) => i64::try_from(since.as_micros()).unwrap_or(i64::MAX),
        Err(before) => -i64::try_from(before.duration().as_micros()).unwrap_or(i64::MAX),
    };
    Micros(micros)
}

/// How far the wall clock is ahead of the steady time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WallClock {
    ahead: i64,
}

impl WallClock {
    /// As it stands at the beginning.
    pub fn at_start(steady: Micros, wall: Micros) -> WallClock {
        WallClock {
            ahead: wall.0 - steady.0,
        }
    }

    /// How far it is ahead, in microseconds.
    pub fn ahead(&self) -> i64 {
        self.ahead
    }

    /// Looks at it again; the microseconds that it is ahead by now, where it has been set.
    pub fn look(&mut self, steady: Micros, wall: Micros) -> Option<i64> {
        let ahead = wall.0 - steady.0;
        if (ahead - self.ahead).abs() < STEP {
            return None;
        }
        self.ahead = ahead;
        Some(ahead)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steady_time_begins_after_what_is_journaled() {
        let begun = Steady::begin(Micros(1_000), Some(Micros(5_000)), 1.0);
        assert!(begun.now() > Micros(5_000));
        let usual = Steady::begin(Micros(9_000_000), Some(Micros(5_000)), 1.0);
        assert!(usual.now() >= Micros(9_000_000));
    }

    #[test]
    fn a_simulated_shop_may_run_faster() {
        let steady = Steady::begin(Micros(0), None, 60.0);
        let later = steady.begun + Duration::from_secs(2);
        assert_eq!(steady.at(later), Micros(120_000_000));
        assert_eq!(steady.wait(30.0), Duration::from_millis(500));
    }

    #[test]
    fn only_a_step_of_the_wall_clock_is_told() {
        let mut wall = WallClock::at_start(Micros(0), Micros(0));
        assert_eq!(wall.look(Micros(1_000_000), Micros(1_010_000)), None);
        let back = Micros(2_000_000 - 3_600_000_000);
        assert_eq!(wall.look(Micros(2_000_000), back), Some(-3_600_000_000));
        assert_eq!(
            wall.look(Micros(3_000_000), Micros(back.0 + 1_000_000)),
            None
        );
    }
}
