//! The belt's own temperature at the probe, as it is seen between objects.

use super::trace::ExitTrace;

/// The belt's level along its way: straight between knots, even beyond them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BeltLevel {
    /// Metres and °C.
    knots: Vec<(f64, f64)>,
    /// Whether it was read between objects, and not only guessed.
    read: bool,
}

/// Knots are this far apart, in metres.
const KNOTS: f64 = 1.0;
/// A knot takes in what is seen so far to either side of it, in metres.
const REACH: f64 = 1.5;
/// What is read so far from a place still tells of it, in metres.
const NEAR: f64 = 2.0;
/// A knot needs so many samples.
const FEWEST: usize = 3;

impl BeltLevel {
    /// One level all along.
    pub(super) fn steady(celsius: f64) -> BeltLevel {
        BeltLevel {
            knots: vec![(0.0, celsius)],
            read: false,
        }
    }

    /// Through knots (metres and °C) in order of their way; at least one.
    pub(super) fn through(knots: Vec<(f64, f64)>) -> BeltLevel {
        BeltLevel { knots, read: false }
    }

    /// From what was seen outside of the stretches that objects cover (in order of their beginnings): the
    /// median about each knot. `None` where nothing was.
    pub(super) fn between(trace: &ExitTrace, covered: &[(f64, f64)]) -> Option<BeltLevel> {
        let mut bare: Vec<(f64, f64)> = Vec::new();
        let mut next = 0;
        for seen in trace.seen() {
            while covered
                .get(next)
                .is_some_and(|stretch| stretch.1 < seen.way)
            {
                next += 1;
            }
            if covered.get(next).is_none_or(|stretch| seen.way < stretch.0) {
                bare.push((seen.way, seen.celsius));
            }
        }
        let (first, last) = (bare.first()?.0, bare.last()?.0);
        let mut knots = Vec::new();
        let mut way = first;
        while way <= last + KNOTS {
            let from = bare.partition_point(|sample| sample.0 < way - REACH);
            let to = bare.partition_point(|sample| sample.0 <= way + REACH);
            if to >= from + FEWEST {
                let mut levels: Vec<f64> = bare[from..to].iter().map(|sample| sample.1).collect();
                let middle = levels.len() / 2;
                knots.push((
                    way,
                    *levels.select_nth_unstable_by(middle, f64::total_cmp).1,
                ));
            }
            way += KNOTS;
        }
        (!knots.is_empty()).then_some(BeltLevel { knots, read: true })
    }

    /// The level that was read about a way of the belt, in °C; `None` where nothing of the bare belt was seen near.
    pub(super) fn read_at(&self, way: f64) -> Option<f64> {
        let near = |knot: &(f64, f64)| (knot.0 - way).abs() <= NEAR;
        (self.read && self.knots.iter().any(near)).then(|| self.at(way))
    }

    /// The level at a way of the belt, in °C.
    pub(super) fn at(&self, way: f64) -> f64 {
        let after = self.knots.partition_point(|knot| knot.0 <= way);
        let before = after
            .checked_sub(1)
            .and_then(|before| self.knots.get(before));
        match (before, self.knots.get(after)) {
            (Some(before), Some(next)) => {
                before.1 + (next.1 - before.1) * (way - before.0) / (next.0 - before.0)
            }
            (Some(only), None) | (None, Some(only)) => only.1,
            (None, None) => f64::NAN,
        }
    }
}
