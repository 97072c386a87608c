//! What is summed up over a stretch of trace.

use serde::{Deserialize, Serialize};

use crate::sample::Run;

/// The most laws that one pass is held against: cure and each harm once.
pub(crate) const MOST_LAWS: usize = 5;

/// One law's doses.
#[derive(Debug, Clone, Copy, Default, Serialize, Deserialize)]
pub(crate) struct LawDoses {
    /// At T − U, T and T + U; a gap adds nothing to the first and its straight line to the others.
    pub(crate) dose: [f64; 3],
    /// What the straight lines across gaps added at T and T + U.
    pub(crate) across_gaps: [f64; 2],
}

/// A gap in a trace.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Gap {
    pub(crate) from: f64,
    pub(crate) lasting: f64,
}

/// Everything that is summed up over a stretch of trace.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Tally {
    pub(crate) laws: [LawDoses; MOST_LAWS],
    pub(crate) samples: u64,
    pub(crate) faults: u64,
    /// Samples that are means of rows with equal times.
    pub(crate) merged: u64,
    pub(crate) gaps: u64,
    /// Time in gaps, as far as the gaps lie in this stretch.
    pub(crate) gap_seconds: f64,
    pub(crate) longest_gap: Option<Gap>,
    pub(crate) peak: f64,
    pub(crate) max_rise: f64,
    pub(crate) time_above: f64,
}

impl Tally {
    pub(crate) fn new() -> Tally {
        Tally {
            laws: [LawDoses::default(); MOST_LAWS],
            samples: 0,
            faults: 0,
            merged: 0,
            gaps: 0,
            gap_seconds: 0.0,
            longest_gap: None,
            peak: f64::NEG_INFINITY,
            max_rise: 0.0,
            time_above: 0.0,
        }
    }

    /// Counts a good sample that lies in this stretch.
    #[inline]
    pub(crate) fn count(&mut self, celsius: f64, rows: u32) {
        self.samples += 1;
        if rows > 1 {
            self.merged += 1;
        }
        if celsius > self.peak {
            self.peak = celsius;
        }
    }

    /// Notes the rise between two neighbouring samples of this stretch.
    #[inline]
    pub(crate) fn note_rise(&mut self, seconds: f64, from: f64, to: f64) {
        if to - from > self.max_rise * seconds {
            self.max_rise = (to - from) / seconds;
        }
    }

    /// Counts the samples of a run but its first, none of them a mean, with their rises.
    pub(crate) fn count_run(&mut self, run: &Run) {
        self.samples += run.times.len() as u64 - 1;
        for (times, celsius) in run.times.windows(2).zip(run.best().windows(2)) {
            self.note_rise(times[1] - times[0], celsius[0], celsius[1]);
            self.peak = if celsius[1] > self.peak {
                celsius[1]
            } else {
                self.peak
            };
        }
    }

    /// Notes a gap, whole, that lies in this stretch in part at least.
    pub(crate) fn note_gap(&mut self, gap: Gap) {
        self.gaps += 1;
        if self
            .longest_gap
            .is_none_or(|longest| gap.lasting > longest.lasting)
        {
            self.longest_gap = Some(gap);
        }
    }

    /// Takes in the stretch that follows.
    pub(crate) fn absorb(&mut self, next: &Tally) {
        for (mine, its) in self.laws.iter_mut().zip(&next.laws) {
            mine.dose
                .iter_mut()
                .zip(its.dose)
                .for_each(|(a, b)| *a += b);
            mine.across_gaps
                .iter_mut()
                .zip(its.across_gaps)
                .for_each(|(a, b)| *a += b);
        }
        self.samples += next.samples;
        self.faults += next.faults;
        self.merged += next.merged;
        self.gaps += next.gaps;
        self.gap_seconds += next.gap_seconds;
        if let Some(gap) = next.longest_gap
            && self
                .longest_gap
                .is_none_or(|longest| gap.lasting > longest.lasting)
        {
            self.longest_gap = Some(gap);
        }
        self.peak = self.peak.max(next.peak);
        self.max_rise = self.max_rise.max(next.max_rise);
        self.time_above += next.time_above;
    }
}
