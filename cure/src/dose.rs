//! Doses of a stretch of trace, at T − U, T and T + U, and what else is summed up beside them.

use crate::histogram::TimeAtTemperature;
use crate::law::{Point, Rate, seconds_at_or_above};
use crate::sensor::Uncertainty;

/// The most laws that one pass is held against: cure and each harm once.
pub(crate) const MOST_LAWS: usize = 5;

/// A good sample with its doubt: the temperatures T − U, T and T + U in °C.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sample {
    pub(crate) time: f64,
    pub(crate) shifted: [f64; 3],
}

impl Sample {
    #[inline]
    pub(crate) fn new(time: f64, celsius: f64, uncertainty: &Uncertainty) -> Sample {
        let u = uncertainty.at(celsius);
        Sample {
            time,
            shifted: [celsius - u, celsius, celsius + u],
        }
    }

    /// The best estimate.
    #[inline]
    pub(crate) fn celsius(&self) -> f64 {
        self.shifted[1]
    }

    /// The point of the line to `later` at `time`.
    pub(crate) fn on_the_way_to(&self, later: &Sample, time: f64) -> Sample {
        let share = (time - self.time) / (later.time - self.time);
        let mut shifted = self.shifted;
        for (value, end) in shifted.iter_mut().zip(later.shifted) {
            *value += share * (end - *value);
        }
        Sample { time, shifted }
    }

    /// When the line to `later` crosses a temperature; the two lie on different sides of it.
    pub(crate) fn crossing(&self, later: &Sample, celsius: f64) -> f64 {
        let share = (celsius - self.celsius()) / (later.celsius() - self.celsius());
        (self.time + share * (later.time - self.time)).clamp(self.time, later.time)
    }
}

/// Whether a line between two good samples is evidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Line {
    /// The samples are close enough together.
    Evidence,
    /// They are not: nothing is known of what happened between them.
    Gap,
}

/// One law's integral, keeping what was computed at the last sample.
#[derive(Debug, Clone)]
struct Meter {
    rate: Rate,
    at_last: [Point; 3],
}

impl Meter {
    fn restart(&mut self, at: &Sample) {
        if let Rate::Equivalents(law) = &self.rate {
            self.at_last = at.shifted.map(|celsius| law.point(celsius));
        }
    }

    /// The doses of the line from one sample to the next.
    #[inline]
    fn advance(&mut self, from: &Sample, to: &Sample) -> [f64; 3] {
        let seconds = to.time - from.time;
        let hottest = from.shifted[2].max(to.shifted[2]);
        match &self.rate {
            Rate::Hold(hold) => {
                let at = hold.at();
                if hottest < at {
                    [0.0; 3]
                } else if from.shifted[0].min(to.shifted[0]) >= at {
                    [seconds * hold.per_second(); 3]
                } else {
                    let above = |shift: usize| {
                        seconds_at_or_above(at, from.shifted[shift], to.shifted[shift], seconds)
                            * hold.per_second()
                    };
                    [above(0), above(1), above(2)]
                }
            }
            Rate::Equivalents(law) => {
                let at_to = to.shifted.map(|celsius| law.point(celsius));
                let doses = if hottest < law.coolest() {
                    [0.0; 3]
                } else {
                    let along = |shift: usize| {
                        seconds
                            * law.mean_rate(
                                from.shifted[shift],
                                &self.at_last[shift],
                                to.shifted[shift],
                                &at_to[shift],
                            )
                    };
                    [along(0), along(1), along(2)]
                };
                self.at_last = at_to;
                doses
            }
        }
    }
}

/// One law's doses.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct LawDoses {
    /// At T − U, T and T + U; a gap adds nothing to the first and its straight line to the others.
    pub(crate) dose: [f64; 3],
    /// What the straight lines across gaps added at T and T + U.
    pub(crate) across_gaps: [f64; 2],
}

/// A gap in a trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gap {
    pub(crate) from: f64,
    pub(crate) lasting: f64,
}

/// Everything that is summed up over a stretch of trace.
#[derive(Debug, Clone)]
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
    pub(crate) fn note_rise(&mut self, from: &Sample, to: &Sample) {
        let (rise, seconds) = (to.celsius() - from.celsius(), to.time - from.time);
        if rise > self.max_rise * seconds {
            self.max_rise = rise / seconds;
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

/// Integrates the laws of one channel along its trace.
#[derive(Debug, Clone)]
pub(crate) struct Track {
    meters: Vec<Meter>,
    /// Where `time_above` begins, in °C.
    threshold: f64,
    pub(crate) histogram: TimeAtTemperature,
}

impl Track {
    pub(crate) fn new(rates: impl IntoIterator<Item = Rate>, threshold: f64) -> Track {
        let meters = rates
            .into_iter()
            .take(MOST_LAWS)
            .map(|rate| Meter {
                rate,
                at_last: Default::default(),
            })
            .collect();
        Track {
            meters,
            threshold,
            histogram: TimeAtTemperature::new(),
        }
    }

    /// The law whose doses stand at `number` in a tally.
    pub(crate) fn rates(&self) -> impl Iterator<Item = &Rate> {
        self.meters.iter().map(|meter| &meter.rate)
    }

    /// Starts anew at a sample.
    pub(crate) fn restart(&mut self, at: &Sample) {
        self.meters.iter_mut().for_each(|meter| meter.restart(at));
    }

    /// Adds the line from one sample to the next.
    #[inline]
    pub(crate) fn advance(&mut self, tally: &mut Tally, from: &Sample, to: &Sample, line: Line) {
        let seconds = to.time - from.time;
        let (a, b) = (from.celsius(), to.celsius());
        tally.time_above += seconds_at_or_above(self.threshold, a, b, seconds);
        for (meter, sum) in self.meters.iter_mut().zip(&mut tally.laws) {
            let [low, best, high] = meter.advance(from, to);
            sum.dose[1] += best;
            sum.dose[2] += high;
            match line {
                Line::Evidence => sum.dose[0] += low,
                Line::Gap => {
                    sum.across_gaps[0] += best;
                    sum.across_gaps[1] += high;
                }
            }
        }
        match line {
            Line::Evidence => self.histogram.add(a, b, seconds),
            Line::Gap => tally.gap_seconds += seconds,
        }
    }
}
