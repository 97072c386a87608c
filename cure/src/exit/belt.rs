//! The belt's own temperature at the probe, as it is seen between objects.

use super::trace::{ExitTrace, Seen};

/// The belt's level along its way: straight between knots, even beyond them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BeltLevel {
    /// Metres and °C.
    knots: Vec<(f64, f64)>,
}

/// The bare belt beside an object is read over so much of it before the object, in metres.
const BESIDE: f64 = 1.2;
/// What passes later than this behind an object has no say in what is inferred of it, in metres: a print is judged
/// live once so much belt has passed, and afterwards by the same.
pub(crate) const BEHIND: f64 = 0.3;

/// Knots are this far apart, in metres.
const KNOTS: f64 = 1.0;
/// A knot takes in what is seen so far to either side of it, in metres.
const REACH: f64 = 1.5;
/// A knot needs so many samples.
const FEWEST: usize = 3;

impl BeltLevel {
    /// One level all along.
    pub(super) fn steady(celsius: f64) -> BeltLevel {
        BeltLevel {
            knots: vec![(0.0, celsius)],
        }
    }

    /// Through knots (metres and °C) in order of their way; at least one.
    pub(super) fn through(knots: Vec<(f64, f64)>) -> BeltLevel {
        BeltLevel { knots }
    }

    /// From what was seen outside of the stretches that objects cover (in order of their beginnings): the
    /// median about each knot. `None` where nothing was.
    pub(super) fn between(trace: &ExitTrace, covered: &[(f64, f64)]) -> Option<BeltLevel> {
        let bare = bare(trace.seen(), covered);
        let (first, last) = (bare.first()?.0, bare.last()?.0);
        let mut knots = Vec::new();
        let mut way = first;
        while way <= last + KNOTS {
            let from = bare.partition_point(|sample| sample.0 < way - REACH);
            let to = bare.partition_point(|sample| sample.0 <= way + REACH);
            if to >= from + FEWEST {
                knots.push((way, median(&bare[from..to])));
            }
            way += KNOTS;
        }
        (!knots.is_empty()).then_some(BeltLevel { knots })
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

/// The bare belt beside an object that lies from `lead` to `trail` (metres of belt), between what objects cover, in °C:
/// what passed just before it, else just behind it. `None` where too little was seen there.
pub(super) fn beside(
    trace: &ExitTrace,
    covered: &[(f64, f64)],
    (lead, trail): (f64, f64),
) -> Option<f64> {
    let read = |from: f64, to: f64| {
        let bare = bare(trace.on(from, to), covered);
        (bare.len() >= FEWEST).then(|| median(&bare))
    };
    read(lead - BESIDE, lead).or_else(|| read(trail, trail + BEHIND))
}

/// What was seen outside of the stretches that objects cover, in order: metres and °C.
fn bare(seen: &[Seen], covered: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut next = 0;
    let mut bare = Vec::new();
    for seen in seen {
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
    bare
}

/// The middle one of some levels; there is one at least.
fn median(bare: &[(f64, f64)]) -> f64 {
    let mut levels: Vec<f64> = bare.iter().map(|sample| sample.1).collect();
    let middle = levels.len() / 2;
    *levels.select_nth_unstable_by(middle, f64::total_cmp).1
}
