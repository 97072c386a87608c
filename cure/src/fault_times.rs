//! The times of bad samples between two good ones, in bounded memory.

use serde::{Deserialize, Serialize};

/// How many separate times are kept before neighbours are merged.
const MOST: usize = 4096;

/// Times of bad samples, in order, until it is known to which pass they belong.
///
/// Up to [`MOST`] times are kept exactly. A longer run, as from a probe that is open for hours, is
/// thinned by merging neighbours, so that what is counted stays exact and only the place of a single
/// fault within such a run is rounded.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct FaultTimes {
    /// Time of the first fault of a merged run, and how many it stands for.
    runs: Vec<(f64, u64)>,
    /// How many faults a run holds before the next begins.
    fineness: u64,
}

impl Default for FaultTimes {
    fn default() -> FaultTimes {
        FaultTimes {
            runs: Vec::new(),
            fineness: 1,
        }
    }
}

impl FaultTimes {
    /// Whether there is none.
    #[inline]
    pub(crate) fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// Notes a bad sample; times do not go backwards.
    pub(crate) fn add(&mut self, time: f64) {
        self.add_run(time, 1);
    }

    /// Notes several bad samples at one time.
    pub(crate) fn add_run(&mut self, time: f64, count: u64) {
        match self.runs.last_mut() {
            Some(last) if last.1 < self.fineness => last.1 += count,
            _ => {
                if self.runs.len() == MOST {
                    self.thin();
                }
                self.runs.push((time, count));
            }
        }
    }

    /// Forgets all.
    pub(crate) fn clear(&mut self) {
        self.runs.clear();
        self.fineness = 1;
    }

    /// How many lie at or before `end`.
    pub(crate) fn until(&self, end: f64) -> u64 {
        self.runs
            .iter()
            .filter(|run| run.0 <= end)
            .map(|run| run.1)
            .sum()
    }

    /// How many lie at or after `start`.
    pub(crate) fn from(&self, start: f64) -> u64 {
        self.runs
            .iter()
            .filter(|run| run.0 >= start)
            .map(|run| run.1)
            .sum()
    }

    /// How many there are.
    pub(crate) fn count(&self) -> u64 {
        self.runs.iter().map(|run| run.1).sum()
    }

    /// All of them with their times, a merged run at the time of its first.
    pub(crate) fn runs(&self) -> &[(f64, u64)] {
        &self.runs
    }

    fn thin(&mut self) {
        let merged: Vec<(f64, u64)> = self
            .runs
            .chunks(2)
            .map(|pair| (pair[0].0, pair.iter().map(|run| run.1).sum()))
            .collect();
        self.runs = merged;
        self.fineness *= 2;
    }
}

#[cfg(test)]
mod tests {
    use super::FaultTimes;

    #[test]
    fn a_long_run_is_bounded_and_its_count_exact() {
        let mut faults = FaultTimes::default();
        for number in 0..1_000_000 {
            faults.add(f64::from(number));
        }
        assert!(faults.runs.len() <= super::MOST);
        assert_eq!(faults.count(), 1_000_000);
        assert_eq!(faults.until(f64::MAX), 1_000_000);
        let late = faults.from(500_000.0);
        assert!((495_000..=505_000).contains(&late), "{late}");
    }
}
