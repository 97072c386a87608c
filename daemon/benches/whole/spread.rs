//! Times, told in a line.

use std::fmt;
use std::time::Duration;

/// So many times.
pub struct Spread(pub Vec<Duration>);

impl fmt::Display for Spread {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut sorted = self.0.clone();
        sorted.sort_unstable();
        let share = |part: f64| {
            let place = (part * sorted.len() as f64) as usize;
            let last = sorted.len().saturating_sub(1);
            sorted.get(place.min(last)).copied().unwrap_or_default()
        };
        write!(
            formatter,
            "{} of them: median {:.1?}, 99 of 100 within {:.1?}, longest {:.1?}",
            sorted.len(),
            share(0.5),
            share(0.99),
            share(1.0)
        )
    }
}
