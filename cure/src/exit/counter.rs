//! The print counter beside an exit probe: a photo-eye that steps once for every print.
//!
//! Where the eye sits along the belt is not known for sure, but it sits there all the time: one offset along the
//! belt brings every step to the object that made it. That offset is taken at which the steps fall on most
//! objects; along a regular row of prints, where several do nearly as well, the one that is nearest to
//! what is declared.

use super::objects::{Gain, Ground, STEP};
use super::way::Way;

/// A counter that jumps by more was reset or is broken; it is taken up anew.
const LARGEST_STEP: f64 = 50.0;
/// A counter may tell of a print so late, as a share of the pitch.
const LATE: f64 = 0.5;
/// An eye is looked for so far from the probe, in metres.
const FARTHEST: f64 = 4.0;
/// A step may be so far off its object, in metres, beside what sampling blurs.
const OFF: f64 = 0.06;
/// An offset that is nearer to what is declared may explain so much less, in gains of one object.
const NEARLY: f64 = 1.3;

/// The belt's way at each step of a counter.
///
/// `readings` are seconds and counts, NaN where bad. Steps of more than one lie `pitch` metres apart where
/// that is known and fits, else evenly over the belt since the reading before: side by side where it hardly moved.
pub(super) fn steps(readings: &[(f64, f64)], way: &Way, pitch: Option<f64>) -> Vec<f64> {
    let mut found = Vec::new();
    let mut before: Option<(f64, f64)> = None;
    for reading in readings.iter().filter(|reading| reading.1.is_finite()) {
        let Some((since, shown)) = before.replace(*reading) else {
            continue;
        };
        let step = if reading.1 < shown {
            reading.1
        } else {
            reading.1 - shown
        };
        if !(1.0..=LARGEST_STEP).contains(&step) {
            continue;
        }
        let (from, to) = (way.at(since), way.at(reading.0));
        let count = step as u32;
        let apart = match pitch {
            Some(pitch) if f64::from(count - 1) * pitch <= to - from + LATE * pitch => pitch,
            _ => (to - from) / f64::from(count),
        };
        // One step happened somewhere since the reading before: most likely half-way.
        let last = if count == 1 {
            0.5 * (from + to)
        } else {
            to - 0.5 * (to - from - f64::from(count - 1) * apart).max(0.0)
        };
        found.extend(
            (0..count)
                .rev()
                .map(|number| last - f64::from(number) * apart),
        );
    }
    found
}

/// How much the belt moves between two readings of the counter, in metres: the blur of its steps.
pub(super) fn blur(readings: &[(f64, f64)], way: &Way) -> f64 {
    let mut moves: Vec<f64> = readings
        .windows(2)
        .map(|pair| way.at(pair[1].0) - way.at(pair[0].0))
        .collect();
    if moves.is_empty() {
        return 0.0;
    }
    let middle = moves.len() / 2;
    *moves.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// The offset from a step to the place of the print that made it. `declared` is what follows from the
/// shop file, if it says where the eye sits.
pub(super) fn offset(
    steps: &[f64],
    ground: &Ground<'_>,
    gains: &[Gain],
    (blur, usual, declared): (f64, f64, Option<f64>),
) -> f64 {
    let reach = ((OFF + 0.5 * blur) / STEP).ceil() as usize;
    let best_near = highest_near(gains, reach);
    let score = |offset: f64| -> f64 {
        let on = steps.iter().filter_map(|step| ground.place(step + offset));
        on.map(|place| best_near[place].max(0.0)).sum()
    };
    let count = (2.0 * FARTHEST / STEP) as i32;
    let scores: Vec<(f64, f64)> = (0..=count)
        .map(|number| usual - FARTHEST + STEP * f64::from(number))
        .map(|offset| (offset, score(offset)))
        .collect();
    let best = scores.iter().map(|score| score.1).fold(0.0, f64::max);
    let wanted = declared.unwrap_or(usual);
    if best == 0.0 {
        return wanted;
    }
    let least = best * (1.0 - NEARLY / steps.len().max(2) as f64).max(0.3);
    // Of the offsets that do well, the summit of the one that is nearest to what is declared.
    let mut summits: Vec<(f64, f64)> = Vec::new();
    let mut open: Option<Vec<(f64, f64)>> = None;
    for candidate in scores.iter().chain([&(f64::NAN, -1.0)]) {
        if candidate.1 >= least {
            open.get_or_insert_default().push(*candidate);
        } else if let Some(run) = open.take() {
            let top = run.iter().map(|score| score.1).fold(0.0, f64::max);
            let level: Vec<f64> = run
                .iter()
                .filter(|score| score.1 >= top - 1e-9)
                .map(|score| score.0)
                .collect();
            summits.push((level[level.len() / 2], top));
        }
    }
    let nearest = summits
        .iter()
        .min_by(|a, b| (a.0 - wanted).abs().total_cmp(&(b.0 - wanted).abs()));
    nearest.map_or(wanted, |summit| summit.0)
}

/// The highest gain within so many places of each.
fn highest_near(gains: &[Gain], reach: usize) -> Vec<f64> {
    (0..gains.len())
        .map(|place| {
            let to = (place + reach + 1).min(gains.len());
            let near = &gains[place.saturating_sub(reach)..to];
            near.iter()
                .filter(|gain| gain.departs)
                .map(|gain| gain.gain)
                .fold(0.0, f64::max)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_lie_where_the_belt_was() {
        let way = Way::steady(0.05);
        let readings = [
            (0.0, 7.0),
            (10.0, 7.0),
            (11.0, 8.0),
            (40.0, 10.0),
            (41.0, 0.0),
            (60.0, 1.0),
        ];
        let found = steps(&readings, &way, Some(0.75));
        let expected = [0.525, 1.6625 - 0.375, 1.6625 + 0.0, 2.525];
        assert_eq!(found.len(), 4);
        assert!((found[0] - expected[0]).abs() < 1e-12);
        assert!((found[2] - found[1] - 0.75).abs() < 1e-12);
        assert!(found[1] > 0.55 && found[2] <= 2.0);
        assert!((found[3] - expected[3]).abs() < 1e-12);
    }

    #[test]
    fn a_counter_that_leaps_counts_nothing() {
        let readings = [(0.0, 0.0), (1.0, 4000.0), (2.0, 4001.0)];
        assert_eq!(steps(&readings, &Way::steady(0.05), None).len(), 1);
    }
}
