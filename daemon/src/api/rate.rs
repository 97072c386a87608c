//! How many requests are taken: so many at once, then so many a second.

use std::sync::Mutex;
use std::time::Instant;

/// Allows bursts, and a steady rate after them.
#[derive(Debug)]
pub(super) struct Rate {
    most: f64,
    each_second: f64,
    left: Mutex<(f64, Instant)>,
}

impl Rate {
    /// `most` at once, `each_second` of them grown again a second.
    pub(super) fn new(most: u32, each_second: u32, now: Instant) -> Rate {
        let most = f64::from(most);
        Rate {
            most,
            each_second: f64::from(each_second),
            left: Mutex::new((most, now)),
        }
    }

    /// Whether one more is allowed.
    pub(super) fn allows(&self, now: Instant) -> bool {
        // Nothing in here panics, so that it is not poisoned; if it were, nothing would be allowed.
        let Ok(mut left) = self.left.lock() else {
            return false;
        };
        let (before, then) = *left;
        let grown = now.saturating_duration_since(then).as_secs_f64() * self.each_second;
        let have = (before + grown).min(self.most);
        let allowed = have >= 1.0;
        *left = (have - f64::from(u8::from(allowed)), then.max(now));
        allowed
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_burst_is_allowed_and_then_the_rate() {
        let start = Instant::now();
        let rate = Rate::new(3, 2, start);
        let allowed = |millis| rate.allows(start + Duration::from_millis(millis));
        assert_eq!([0, 0, 0, 0].map(allowed), [true, true, true, false]);
        // Two a second: one after half a second, and not before.
        assert_eq!([400, 500, 500].map(allowed), [false, true, false]);
        // What is not used does not pile up beyond the burst.
        assert_eq!(
            [60_000, 60_000, 60_000, 60_000].map(allowed),
            [true, true, true, false]
        );
    }
}
