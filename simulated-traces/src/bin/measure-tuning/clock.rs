//! How long computing takes.

use std::time::Instant;

/// Measures how long this thread has computed; where the system does not tell, how long it took.
pub struct Clock {
    begun: Instant,
    computed: Option<f64>,
}

impl Clock {
    /// Begins now.
    pub fn start() -> Clock {
        Clock {
            begun: Instant::now(),
            computed: Clock::computed(),
        }
    }

    /// Seconds of computing since the thread began: the first number, in nanoseconds, of Linux's schedstat.
    fn computed() -> Option<f64> {
        let stat = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        let nanoseconds: f64 = stat.split_whitespace().next()?.parse().ok()?;
        Some(1e-9 * nanoseconds)
    }

    /// Seconds since then.
    pub fn seconds(&self) -> f64 {
        match (self.computed, Clock::computed()) {
            (Some(from), Some(to)) => to - from,
            _ => self.begun.elapsed().as_secs_f64(),
        }
    }
}
