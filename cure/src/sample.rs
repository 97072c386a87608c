//! Good samples with their doubt, alone and in runs.

use serde::{Deserialize, Serialize};

use crate::sensor::Uncertainty;

/// A good sample with its doubt: the temperatures T − U, T and T + U in °C.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
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

/// Consecutive good samples, none of them a gap apart; at least one.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(crate) struct Run {
    pub(crate) times: Vec<f64>,
    /// At T − U, T and T + U.
    pub(crate) celsius: [Vec<f64>; 3],
}

impl Run {
    /// Starts anew.
    pub(crate) fn begin(&mut self, first: &Sample) {
        self.times.clear();
        self.celsius.iter_mut().for_each(Vec::clear);
        self.push(first);
    }

    /// Adds the next sample.
    #[inline]
    pub(crate) fn push(&mut self, sample: &Sample) {
        self.times.push(sample.time);
        for (column, celsius) in self.celsius.iter_mut().zip(sample.shifted) {
            column.push(celsius);
        }
    }

    /// Adds the next samples, as pairs of seconds and °C.
    pub(crate) fn extend(&mut self, samples: &[(f64, f64)], uncertainty: &Uncertainty) {
        let [low, best, high] = &mut self.celsius;
        self.times.extend(samples.iter().map(|sample| sample.0));
        best.extend(samples.iter().map(|sample| sample.1));
        low.extend(
            samples
                .iter()
                .map(|sample| sample.1 - uncertainty.at(sample.1)),
        );
        high.extend(
            samples
                .iter()
                .map(|sample| sample.1 + uncertainty.at(sample.1)),
        );
    }

    /// The best estimates.
    pub(crate) fn best(&self) -> &[f64] {
        &self.celsius[1]
    }

    /// The last sample.
    pub(crate) fn last(&self) -> Option<Sample> {
        let [low, best, high] = &self.celsius;
        let shifted = [*low.last()?, *best.last()?, *high.last()?];
        Some(Sample {
            time: *self.times.last()?,
            shifted,
        })
    }
}
