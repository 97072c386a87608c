//! The belt's own temperature along a run: guessed stretch by stretch, then read between the objects that are
//! found on it.

use super::belt::BeltLevel;
use super::objects::{Ground, LEAST_GAIN, LEAST_SEEN, chosen};
use super::template::Template;
use super::trace::ExitTrace;

/// How badly a stretch is explained where the belt is at a level: squares that are left over, and what
/// objects cost.
fn cost(ground: &Ground<'_>, belt: &BeltLevel, pitch: Option<f64>) -> f64 {
    let gains = ground.gains(belt);
    let taken = chosen(ground, &gains, &vec![0.0; gains.len()], pitch);
    let gained: f64 = taken
        .iter()
        .map(|place| gains[*place].gain - LEAST_GAIN)
        .sum();
    ground.all_belt() - gained
}

/// How badly objects of a template explain all of a trace.
pub(super) fn misfit(trace: &ExitTrace, template: &Template, spot: f64, pitch: Option<f64>) -> f64 {
    let (belt, _) = belt_between(trace, template, spot, pitch);
    Ground::new(trace, template, &belt).map_or(f64::INFINITY, |ground| cost(&ground, &belt, pitch))
}

/// The level of the belt after looking again: objects are looked for, and the belt between them is read once
/// more. With the stretches of the belt (metres) that objects were found to cover.
pub(super) fn belt_between(
    trace: &ExitTrace,
    template: &Template,
    spot: f64,
    pitch: Option<f64>,
) -> (BeltLevel, Vec<(f64, f64)>) {
    let mut belt = first_level(trace, template, pitch);
    let mut covered = Vec::new();
    for _ in 0..LOOKS {
        let Some(ground) = Ground::new(trace, template, &belt) else {
            break;
        };
        let gains = ground.gains(&belt);
        let taken = chosen(&ground, &gains, &vec![0.0; gains.len()], pitch);
        covered = taken
            .iter()
            .map(|place| {
                let way = ground.way(*place);
                let clear = CLEAR + 0.5 * spot;
                (way + template.lead - clear, way + template.trail + clear)
            })
            .collect();
        belt = BeltLevel::between(trace, &covered).unwrap_or(belt);
    }
    (belt, covered)
}

/// How often the belt is read again.
const LOOKS: usize = 3;
/// Belt is read no nearer to an object than this, in metres (and half the spot).
const CLEAR: f64 = 0.01;
/// A first guess of the belt's level is made for each stretch of so many metres.
const STRETCH: f64 = 6.0;
/// How far the belt's own temperature changes from one stretch to the next (one standard deviation), in °C.
const BELT_CHANGES: f64 = 5.0;

/// A first guess: on each stretch of the belt that level, of several, under which objects explain it best.
fn first_level(trace: &ExitTrace, template: &Template, pitch: Option<f64>) -> BeltLevel {
    let (Some(first), Some(last)) = (trace.seen().first(), trace.seen().last()) else {
        return BeltLevel::steady(template.belt);
    };
    let count = ((last.way - first.way) / STRETCH).ceil().max(1.0);
    let length = (last.way - first.way) / count;
    let mut knots = Vec::new();
    let mut before = template.belt;
    for number in 0..(count as u32) {
        let from = first.way + length * f64::from(number);
        let stretch = trace.stretch(from, from + length);
        before = level_of(&stretch, template, pitch, before);
        knots.push((from + 0.5 * length, before));
    }
    BeltLevel::through(knots)
}

/// The level of one stretch; `before` is that of the one before it.
fn level_of(stretch: &ExitTrace, template: &Template, pitch: Option<f64>, before: f64) -> f64 {
    let mut shown: Vec<f64> = stretch.seen().iter().map(|seen| seen.celsius).collect();
    shown.sort_by(f64::total_cmp);
    let quantile = |share: f64| shown.get((share * shown.len() as f64) as usize).copied();
    let mut guesses = vec![before, template.belt];
    let start = stretch.seen().first().map_or(0.0, |seen| seen.way);
    guesses.extend(
        stretch
            .mean_on(start, start + LEAST_SEEN)
            .map(|mean| mean.0),
    );
    guesses.extend(
        [0.05, 0.25, 0.5, 0.75, 0.95]
            .into_iter()
            .filter_map(quantile),
    );
    let cost = |level: f64| {
        let belt = BeltLevel::steady(level);
        let off = (level - before) / BELT_CHANGES;
        let ground = Ground::new(stretch, template, &belt);
        ground.map_or(f64::INFINITY, |ground| {
            cost(&ground, &belt, pitch) + off * off
        })
    };
    guesses
        .into_iter()
        .map(|level| (level, cost(level)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(before, |best| best.0)
}
