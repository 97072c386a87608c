//! A second junction on unprinted cloth beside the print: where scorch, shrinkage and melting strike.

use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

use crate::sample::{Line, Sample};
use crate::sensor::Uncertainty;
use crate::sieve::{Sieve, Sorted};
use crate::tally::{Gap, Tally};
use crate::track::Track;

/// How many samples are kept at most; a longer pass has its oldest samples thinned.
const MOST_KEPT: usize = 1 << 20;

/// The cloth's samples since the earliest pass that may still ask for them.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Cloth {
    pub(crate) name: String,
    pub(crate) uncertainty: Uncertainty,
    pub(crate) track: Track,
    max_gap: f64,
    sieve: Sieve,
    kept: Kept,
}

#[derive(Debug, Clone, Default, Serialize, Deserialize)]
struct Kept(VecDeque<(f64, f64)>);

impl Sorted for Kept {
    fn good(&mut self, time: f64, celsius: f64, _rows: u32) {
        if self.0.len() == MOST_KEPT {
            let mut number = 0_usize;
            self.0.retain(|_| {
                number += 1;
                number.is_multiple_of(2)
            });
        }
        self.0.push_back((time, celsius));
    }

    fn bad(&mut self, _time: f64) {}
}

impl Cloth {
    pub(crate) fn new(name: String, uncertainty: Uncertainty, track: Track, max_gap: f64) -> Cloth {
        Cloth {
            name,
            uncertainty,
            track,
            max_gap,
            sieve: Sieve::new(),
            kept: Kept::default(),
        }
    }

    /// Takes other laws; what has been seen stays.
    pub(crate) fn replan(&mut self, track: Track, max_gap: f64) {
        (self.track, self.max_gap) = (track, max_gap);
    }

    pub(crate) fn feed(&mut self, time: f64, celsius: f64) {
        self.sieve.feed(time, celsius, &mut self.kept);
    }

    pub(crate) fn finish(&mut self) {
        self.sieve.finish(&mut self.kept);
    }

    /// The time of the last good sample.
    pub(crate) fn last_time(&self) -> Option<f64> {
        self.kept.0.back().map(|sample| sample.0)
    }

    /// Forgets what lies before the line that `time` is on.
    pub(crate) fn forget_before(&mut self, time: f64) {
        while self.kept.0.len() > 1 && self.kept.0[1].0 <= time {
            self.kept.0.pop_front();
        }
    }

    /// Sums up what the cloth received from `start` to `end`; `None` if it has no good sample there.
    pub(crate) fn between(&mut self, start: f64, end: f64) -> Option<Tally> {
        let samples = std::mem::take(&mut self.kept.0);
        let tally = self.sum_up(&samples, start, end);
        self.kept.0 = samples;
        tally
    }

    fn sum_up(&mut self, samples: &VecDeque<(f64, f64)>, start: f64, end: f64) -> Option<Tally> {
        let inside = |sample: &&(f64, f64)| sample.0 >= start && sample.0 <= end;
        let uncertainty = self.uncertainty;
        let make = |sample: &(f64, f64)| Sample::new(sample.0, sample.1, &uncertainty);
        let first = make(samples.iter().find(inside)?);
        let last = make(samples.iter().rev().find(inside)?);

        let mut tally = Tally::new();
        self.track.histogram.clear();
        samples
            .iter()
            .filter(inside)
            .for_each(|sample| tally.count(sample.1, 1));
        if samples.front()?.0 > start {
            self.add(
                &mut tally,
                &Sample {
                    time: start,
                    ..first
                },
                &first,
                Line::Gap,
            );
        }
        for (from, to) in samples.iter().zip(samples.iter().skip(1)) {
            if to.0 > start && from.0 < end {
                let (from, to) = (make(from), make(to));
                let a = if from.time < start {
                    from.on_the_way_to(&to, start)
                } else {
                    from
                };
                let b = if to.time > end {
                    from.on_the_way_to(&to, end)
                } else {
                    to
                };
                let is_gap = to.time - from.time > self.max_gap;
                self.add(
                    &mut tally,
                    &a,
                    &b,
                    if is_gap { Line::Gap } else { Line::Evidence },
                );
            }
        }
        if samples.back()?.0 < end {
            // Where the channel ends too soon (or begins too late), its nearest sample stands in.
            self.add(&mut tally, &last, &Sample { time: end, ..last }, Line::Gap);
        }
        Some(tally)
    }

    fn add(&mut self, tally: &mut Tally, from: &Sample, to: &Sample, line: Line) {
        if line == Line::Gap {
            tally.note_gap(Gap {
                from: from.time,
                lasting: to.time - from.time,
            });
        }
        self.track.advance_line(tally, line, from, to);
    }
}
