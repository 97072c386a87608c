//! All that passed an exit probe, in order: by shape and by count.

use super::belt::{BeltLevel, beside};
use super::belt_search::misfit;
use super::counter::{self, blur, steps};
use super::objects::{Ground, Object, STEP, chosen};
use super::template::Template;
use super::trace::ExitTrace;
use super::way::Way;
use crate::statistics::median::median;

/// What is known of a line besides the probe's trace.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Line<'a> {
    /// From print to print along the lane that the probe sees, in metres.
    pub pitch: Option<f64>,
    /// Diameter of what the probe sees, in metres.
    pub spot: f64,
    /// Readings of the print counter: seconds, and counts, NaN where bad.
    pub count: Option<&'a [(f64, f64)]>,
    /// How far before the probe the counter's eye sits along the belt, in metres, where that is declared.
    pub eye: Option<f64>,
}

/// What a step of the counter adds to the gain of a place near it.
const COUNTED: f64 = 30.0;
/// An object and a step this far apart are two prints, as a share of the pitch (else of the object).
const APART: f64 = 0.4;
/// Steps closer than this share of a garment are of one.
const SAME: f64 = 0.5;
/// What nothing counted is no nearer to what was counted than this share of the pitch: prints are laid to a tenth of it
/// or so.
const UNCOUNTED: f64 = 0.85;
/// It is held against so many that were counted, …
const BESIDE: usize = 3;
/// … if the nearest is within so many pitches: further on the counter may have failed.
const NEAR: f64 = 1.5;
/// What shows the same does so within so many °C.
const LIKE: f64 = 5.0;
/// An object is moved so often to where its edges say.
const ROUNDS: usize = 2;
/// Distances of objects are known to this share of them.
const ALIKE: f64 = 0.1;
/// An edge of an object is looked for so far from where the shape has it, in metres.
const EDGE_REACH: f64 = 0.05;
/// An edge that is no higher, in °C, is not seen by itself, and one that is higher surely is.
const EDGE: (f64, f64) = (2.5, 5.5);

/// A noted speed may be off by so much (one standard deviation, as a share).
const NOTED: f64 = 0.075;
/// Factors that are tried, in steps of 3 % to either side.
const FACTORS: i32 = 8;
const FACTOR_STEP: f64 = 0.03;
/// So much of the trace is looked at to find the factor, in metres.
const LOOKED_AT: f64 = 15.0;

/// By which factor the belt really ran faster than a speed that was only noted: that at which objects have
/// the reference's length and pitch.
pub fn pace(
    readings: &[(f64, f64)],
    way: &Way,
    template: &Template,
    spot: f64,
    pitch: Option<f64>,
) -> f64 {
    let cost = |factor: f64| {
        let trace = ExitTrace::new(readings, &way.faster(factor));
        let (Some(first), Some(last)) = (trace.seen().first(), trace.seen().last()) else {
            return f64::INFINITY;
        };
        // The same stretch of time at every factor: its last metres are most likely to hold prints.
        let middle = 0.5 * (first.way + last.way);
        let reach = 0.5 * LOOKED_AT * factor;
        let part = trace.stretch(middle - reach, middle + reach);
        misfit(&part, template, spot, pitch) + (factor.ln() / NOTED).powi(2)
    };
    let costs = (-FACTORS..=FACTORS).map(|step| {
        let factor = (FACTOR_STEP * f64::from(step)).exp();
        (factor, cost(factor))
    });
    let best = costs.min_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(1.0, |best| best.0)
}

/// Finds every object of a trace on a belt of such a level, of which objects seem to cover some stretches; with the bare
/// belt beside each in °C, where that was seen.
pub(super) fn find(
    trace: &ExitTrace,
    way: &Way,
    (template, belt, covered): (&Template, &BeltLevel, &[(f64, f64)]),
    line: Line<'_>,
) -> Vec<(Object, Option<f64>)> {
    let Some(ground) = Ground::new(trace, template, belt) else {
        return Vec::new();
    };
    let gains = ground.gains(belt);
    let mut bonus = vec![0.0; gains.len()];
    let mut expected: Vec<f64> = Vec::new();
    if let Some(count) = line.count {
        let steps = steps(count, way, line.pitch);
        let blur = blur(count, way);
        let usual = -template.lead;
        let declared = line.eye.map(|eye| eye + usual);
        if !steps.is_empty() {
            let offset = counter::offset(&steps, &ground, &gains, (blur, usual, declared));
            expected = steps.iter().map(|step| step + offset).collect();
            // Two steps so close are one garment: its sleeve was counted too, or another beside it.
            expected.sort_by(f64::total_cmp);
            let same = SAME * template.length();
            expected.dedup_by(|step, before| *step - *before < same);
        }
        for place in expected.iter().filter_map(|way| ground.place(*way)) {
            let reach = ((0.08 + 0.5 * blur) / STEP) as usize;
            let to = (place + reach + 1).min(bonus.len());
            bonus[place.saturating_sub(reach)..to].fill(COUNTED);
        }
    }
    let mut places: Vec<(f64, bool)> = chosen(&ground, &gains, &bonus, line.pitch)
        .into_iter()
        .map(|place| (ground.way(place), false))
        .collect();
    match_steps(&mut places, &expected, line.pitch, template);
    if line.count.is_some() {
        drop_belt(&mut places, trace, template, line.pitch);
    }
    let each = places.into_iter().map(|(place, counted)| {
        let (place, beside) = settled(trace, (template, belt, covered), place);
        (object(trace, way, template, place, counted), beside)
    });
    each.collect()
}

/// Where an object lies that was found about a place, and the bare belt beside it in °C. What lies on that stretch of
/// the belt decides it, and hardly what else is known of the run: it is the same when the object has only just left
/// and in a whole day's recording.
fn settled(
    trace: &ExitTrace,
    (template, belt, covered): (&Template, &BeltLevel, &[(f64, f64)]),
    mut place: f64,
) -> (f64, Option<f64>) {
    let beside = |place: f64| beside(trace, covered, template.about(place));
    // Again from a little nearer, so that where it was begun from is forgotten.
    for _ in 0..ROUNDS {
        let level = beside(place).unwrap_or_else(|| belt.at(place));
        place = refined(trace, template, place, level);
    }
    (place, beside(place))
}

/// Gives each step of the counter to an object; what was counted and not seen becomes one.
fn match_steps(
    places: &mut Vec<(f64, bool)>,
    expected: &[f64],
    pitch: Option<f64>,
    template: &Template,
) {
    let apart = APART * pitch.unwrap_or(template.length());
    let mut missing = Vec::new();
    for step in expected {
        let nearest = places
            .iter_mut()
            .filter(|place| !place.1 && (place.0 - step).abs() <= apart)
            .min_by(|a, b| (a.0 - step).abs().total_cmp(&(b.0 - step).abs()));
        match nearest {
            Some(place) => place.1 = true,
            None => missing.push((*step, true)),
        }
    }
    places.extend(missing);
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    // No two prints lie so close: what stands beside one that was counted is a part of it, or belt.
    let least = template
        .length()
        .max(UNCOUNTED * pitch.unwrap_or_default())
        .min(pitch.unwrap_or(f64::INFINITY));
    let counted: Vec<f64> = places.iter().filter(|p| p.1).map(|p| p.0).collect();
    let tolerated = 1.0 - ALIKE;
    places.retain(|place| {
        place.1
            || counted
                .iter()
                .all(|own| (own - place.0).abs() >= tolerated * least)
    });
}

/// Drops belt that was taken for an object since it is warmer or colder than elsewhere: what nothing counted, close to
/// prints that were counted, that shows what lies between those, or what the belt showed beside the reference, and not
/// what they show. A print that the eye missed is of their batch, and one that is unlike them is unlike the belt too.
fn drop_belt(
    places: &mut Vec<(f64, bool)>,
    trace: &ExitTrace,
    template: &Template,
    pitch: Option<f64>,
) {
    let pitch = pitch.unwrap_or(template.length());
    let counted: Vec<f64> = places.iter().filter(|p| p.1).map(|p| p.0).collect();
    places.retain(|place| {
        // Those before it, which are known when it passes; where there are none, those after it.
        let after = counted.partition_point(|own| *own < place.0);
        let beside = match after {
            0 => &counted[..counted.len().min(BESIDE)],
            after => &counted[after.saturating_sub(BESIDE)..after],
        };
        let near = |own: &f64| (own - place.0).abs() < NEAR * pitch;
        if place.1 || !beside.iter().any(near) {
            return true;
        }
        let prints = beside.iter().filter_map(|own| template.level(trace, *own));
        let follow = |pair: &&[f64]| pair[1] - pair[0] < NEAR * pitch;
        let gaps = beside.windows(2).filter(follow);
        let gaps = gaps.filter_map(|pair| template.level_between(trace, pair[0], pair[1]));
        let (mut prints, mut gaps): (Vec<f64>, Vec<f64>) = (prints.collect(), gaps.collect());
        let own = template.level(trace, place.0);
        let (Some(own), Some(print)) = (own, median(&mut prints)) else {
            return true;
        };
        let like = |level: f64| (own - level).abs() <= LIKE;
        like(print) || !(like(template.belt) || median(&mut gaps).is_some_and(like))
    });
}

/// A place moved to where its object's edges say, if they stand out from the belt.
fn refined(trace: &ExitTrace, template: &Template, place: f64, belt: f64) -> f64 {
    let (lead, trail) = (place + template.lead, place + template.trail);
    let own = |from: f64, to: f64| trace.mean_on(from, to).map(|mean| mean.0);
    let inside = 0.5 * (template.print_from - template.lead).max(EDGE_REACH);
    let after = 0.5 * (template.trail - template.print_to).max(EDGE_REACH);
    let leading = own(lead + 0.3 * inside, lead + 1.3 * inside);
    let trailing = own(trail - 1.3 * after, trail - 0.3 * after);
    let (mut moved, mut weights) = (0.0, 0.0);
    for (edge, level) in [(lead, leading), (trail, trailing)] {
        let Some(level) = level else { continue };
        // One that hardly stands out says little: no reading that is a hair higher moves an object by a step.
        let weight = (((level - belt).abs() - EDGE.0) / (EDGE.1 - EDGE.0)).clamp(0.0, 1.0);
        if let Some(crossed) = crossing(trace, edge, 0.5 * (level + belt)) {
            moved += weight * (crossed - edge);
            weights += weight;
        }
    }
    place + moved / f64::max(weights, 1.0)
}

/// Where the trace crosses a level nearest to an edge.
fn crossing(trace: &ExitTrace, edge: f64, level: f64) -> Option<f64> {
    let near = trace.on(edge - 2.0 * EDGE_REACH, edge + 2.0 * EDGE_REACH);
    let crossed = near.windows(2).filter_map(|pair| {
        let (a, b) = (pair[0].celsius - level, pair[1].celsius - level);
        (a * b <= 0.0 && a != b).then(|| pair[0].way + (pair[1].way - pair[0].way) * a / (a - b))
    });
    crossed
        .filter(|way| (way - edge).abs() <= EDGE_REACH)
        .min_by(|a, b| (a - edge).abs().total_cmp(&(b - edge).abs()))
}

fn object(trace: &ExitTrace, way: &Way, template: &Template, place: f64, counted: bool) -> Object {
    let (first, last) = match (trace.seen().first(), trace.seen().last()) {
        (Some(first), Some(last)) => (first.time, last.time),
        _ => (0.0, 0.0),
    };
    let inside = |metres: f64| {
        let time = way.when(metres).unwrap_or(f64::INFINITY);
        (time.clamp(first, last), (first..=last).contains(&time))
    };
    let (start, begins) = inside(place + template.lead);
    let (end, ends) = inside(place + template.trail);
    Object {
        start,
        end,
        place,
        cut: !begins || !ends,
        counted,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A garment of 0.62 m, its print in the middle.
    fn template() -> Template {
        Template {
            lead: -0.31,
            print_from: -0.16,
            print_to: 0.16,
            trail: 0.31,
            over_belt: [0.0, 10.0, 0.0],
            belt: 110.0,
            spot: 0.03,
            print: 120.0,
            margin: None,
            read_at: 0.0,
            half_window: 0.06,
        }
    }

    #[test]
    fn what_stands_beside_a_counted_print_is_a_part_of_it() {
        // Prints are counted 0.75 m apart, at 2.00 and 2.75 m. What was found at 2.35 m lies 0.35 and 0.40 m from
        // them, less than a garment: a margin. At 3.50 m there is room for one that the eye missed.
        let mut places = vec![(2.01, false), (2.35, false), (3.50, false)];
        match_steps(&mut places, &[2.0, 2.75], Some(0.75), &template());
        assert_eq!(places, [(2.01, true), (2.75, true), (3.50, false)]);
    }

    /// A belt of 110 °C, on it garments 0.75 m apart with prints of 140 °C, at some places prints of another temperature.
    fn passed(others: &[(f64, f64)]) -> ExitTrace {
        let readings: Vec<(f64, f64)> = (0..900)
            .map(|number| {
                let way = 0.01 * f64::from(number);
                let shown = |place: f64, print: f64| {
                    let away = (way - place).abs();
                    (away < 0.31).then_some(if away < 0.16 { print } else { 125.0 })
                };
                let usual = (1..=4).map(|number| (0.75 * f64::from(number), 140.0));
                let mut all = usual.chain(others.iter().copied());
                let level = all.find_map(|(place, print)| shown(place, print));
                (way / 0.05, level.unwrap_or(110.0))
            })
            .collect();
        ExitTrace::new(&readings, &Way::steady(0.05))
    }

    #[test]
    fn belt_that_nothing_counted_is_dropped_and_a_print_is_not() {
        let counted = [(0.75, true), (1.5, true), (2.25, true), (3.0, true)];
        let left = |others: &[(f64, f64)], at: f64| {
            let mut places = counted.to_vec();
            places.push((at, false));
            drop_belt(&mut places, &passed(others), &template(), Some(0.75));
            places.len() > counted.len()
        };
        // Bare belt behind the last print.
        assert!(!left(&[], 3.9));
        // Prints that the eye missed: one like the others, and ones far hotter and far colder than the belt.
        for print in [138.0, 190.0, 70.0] {
            assert!(left(&[(3.75, print)], 3.75), "{print}");
        }
        // So far behind what was counted last, the counter may have failed.
        assert!(left(&[], 5.5));
    }
}
