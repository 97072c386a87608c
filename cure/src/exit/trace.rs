//! An exit probe's trace, laid along the belt.

use super::way::Way;
use crate::good_samples;

/// A good sample with the belt's way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// Seconds from the start of the trace.
    pub time: f64,
    /// The belt's way then, in metres.
    pub way: f64,
    /// What the probe shows, in °C.
    pub celsius: f64,
}

/// What one exit probe saw.
#[derive(Debug, Clone, PartialEq)]
pub struct ExitTrace {
    seen: Vec<Seen>,
    /// Times of bad samples.
    faults: Vec<f64>,
    /// Standard deviation of one sample, in °C.
    noise: f64,
}

impl ExitTrace {
    /// From readings (seconds and °C, NaN where bad) and the belt's way. What cannot be true is left out
    /// by the same sieve as on rides.
    pub fn new(readings: &[(f64, f64)], way: &Way) -> ExitTrace {
        let good = good_samples(readings);
        let mut faults = Vec::new();
        let mut next = 0;
        for reading in readings {
            while good.get(next).is_some_and(|sample| sample.0 < reading.0) {
                next += 1;
            }
            if good.get(next).is_none_or(|sample| sample.0 > reading.0) {
                faults.push(reading.0);
            }
        }
        let seen: Vec<Seen> = good
            .iter()
            .map(|&(time, celsius)| Seen {
                time,
                way: way.at(time),
                celsius,
            })
            .collect();
        ExitTrace {
            noise: noise(&seen),
            seen,
            faults,
        }
    }

    /// Its good samples.
    pub fn seen(&self) -> &[Seen] {
        &self.seen
    }

    /// The standard deviation of one sample, in °C.
    pub fn noise(&self) -> f64 {
        self.noise
    }

    /// Good samples from one time to another, both included.
    pub fn samples(&self, from: f64, to: f64) -> &[Seen] {
        let first = self.seen.partition_point(|seen| seen.time < from);
        let last = self.seen.partition_point(|seen| seen.time <= to);
        &self.seen[first..last.max(first)]
    }

    /// Bad samples from one time to another.
    pub fn faults(&self, from: f64, to: f64) -> u64 {
        let inside = self
            .faults
            .iter()
            .filter(|time| (from..=to).contains(*time));
        inside.count() as u64
    }

    /// Stretches longer than `max_gap` seconds without a good sample that reach into a stretch of time.
    pub fn gaps(&self, from: f64, to: f64, max_gap: f64) -> u64 {
        let pairs = self.seen.windows(2);
        pairs
            .filter(|pair| pair[1].time - pair[0].time > max_gap)
            .filter(|pair| pair[0].time < to && pair[1].time > from)
            .count() as u64
    }

    /// Good samples on a stretch of the belt.
    pub fn on(&self, from: f64, to: f64) -> &[Seen] {
        let first = self.seen.partition_point(|seen| seen.way < from);
        let last = self.seen.partition_point(|seen| seen.way <= to);
        &self.seen[first..last.max(first)]
    }

    /// The trace on a stretch of the belt.
    pub(super) fn stretch(&self, from: f64, to: f64) -> ExitTrace {
        ExitTrace {
            seen: self.on(from, to).to_vec(),
            faults: Vec::new(),
            noise: self.noise,
        }
    }

    /// The mean of what was seen on a stretch of the belt, each sample counting for the belt about it, so
    /// that a belt that stands does not make one of its places count for all; and its standard deviation by
    /// noise alone. `None` where nothing was seen.
    pub fn mean_on(&self, from: f64, to: f64) -> Option<(f64, f64)> {
        let samples = self.on(from, to);
        let (mut sum, mut weights, mut squares) = (0.0, 0.0, 0.0);
        for (number, seen) in samples.iter().enumerate() {
            let edge = |other: Option<&Seen>, end: f64| {
                other.map_or(end, |other| 0.5 * (other.way + seen.way))
            };
            let before = number.checked_sub(1).and_then(|before| samples.get(before));
            let weight = edge(samples.get(number + 1), to) - edge(before, from);
            sum += weight * seen.celsius;
            weights += weight;
            squares += weight * weight;
        }
        (weights > 0.0).then(|| (sum / weights, self.noise * squares.sqrt() / weights))
    }
}

/// The standard deviation of a sample, from the differences of neighbours (their median, so that edges do
/// not count).
fn noise(trace: &[Seen]) -> f64 {
    let mut differences: Vec<f64> = trace
        .windows(2)
        .map(|pair| (pair[1].celsius - pair[0].celsius).abs())
        .collect();
    if differences.is_empty() {
        return 0.0;
    }
    let middle = differences.len() / 2;
    // The median of |x − y| for normal x and y is 0.954 standard deviations.
    *differences.select_nth_unstable_by(middle, f64::total_cmp).1 / 0.954
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_standing_belt_does_not_make_one_place_count_for_all() {
        let mut readings = vec![(0.0, 100.0), (1.0, 110.0)];
        // The belt stands at 0.2 m while what lies there cools to 60 °C.
        readings.extend((2..60).map(|second| (f64::from(second), 60.0)));
        let mut speeds = vec![(0.0, 0.1), (2.0, 0.1)];
        speeds.extend((3..60).map(|second| (f64::from(second), 0.0)));
        let way = Way::measured(&speeds, 5.0).unwrap();
        let trace = ExitTrace::new(&readings, &way);
        // The sieve takes the step from 110 to 60 °C within a second: it is no jump of 150 °C/s.
        let mean = trace.mean_on(0.0, 0.1).unwrap().0;
        assert!((mean - 105.0).abs() < 1e-9, "{mean}");
        assert_eq!(trace.mean_on(5.0, 6.0), None);
    }

    #[test]
    fn faults_and_gaps_are_counted_where_they_are() {
        let mut readings: Vec<(f64, f64)> =
            (0..40).map(|second| (f64::from(second), 100.0)).collect();
        readings[10].1 = f64::NAN;
        readings[20].1 = 900.0;
        readings.drain(30..38);
        let trace = ExitTrace::new(&readings, &Way::steady(0.05));
        assert_eq!(trace.faults(5.0, 25.0), 2);
        assert_eq!(trace.faults(11.0, 19.0), 0);
        assert_eq!(trace.gaps(0.0, 39.0, 5.0), 1);
        assert_eq!(trace.gaps(0.0, 29.0, 5.0), 0);
        assert_eq!(trace.samples(0.0, 9.0).len(), 10);
    }
}
