//! How long to wait before a lost wire is tried again.

use std::time::Duration;

use rand::RngExt;

/// The first wait.
const FIRST: Duration = Duration::from_millis(250);
/// No wait is longer.
const LONGEST: Duration = Duration::from_secs(15);
/// Each is longer or shorter by up to this share, so that many wires do not all come back at once.
const JITTER: f64 = 0.25;

/// Growing, jittered waits.
#[derive(Debug, Clone)]
pub struct Waits {
    next: Duration,
}

impl Default for Waits {
    fn default() -> Waits {
        Waits { next: FIRST }
    }
}

impl Waits {
    /// The next wait: twice as long as the one before, to a bound.
    pub fn next_wait(&mut self) -> Duration {
        let wait = self.next;
        self.next = (wait * 2).min(LONGEST);
        wait.mul_f64(rand::rng().random_range(1.0 - JITTER..=1.0 + JITTER))
    }

    /// All is well again: the next wait is the first.
    pub fn reset(&mut self) {
        self.next = FIRST;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_to_a_bound_and_begin_anew() {
        let mut waits = Waits::default();
        let mut nominal = FIRST;
        for _ in 0..12 {
            let wait = waits.next_wait();
            assert!(wait >= nominal.mul_f64(1.0 - JITTER) && wait <= nominal.mul_f64(1.0 + JITTER));
            nominal = (nominal * 2).min(LONGEST);
        }
        assert_eq!(nominal, LONGEST);
        waits.reset();
        assert!(waits.next_wait() <= FIRST.mul_f64(1.0 + JITTER));
    }
}
