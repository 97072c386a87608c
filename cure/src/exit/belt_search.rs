//! The belt's own temperature along a run: guessed stretch by stretch, then read between the objects that are
//! found on it.
//!
//! Where prints lie close and leave nearly as warm as the belt, the trace alone may be explained the wrong way
//! round: the prints for belt, and the belt between them for margins. Two things tell. A belt hardly changes from
//! one metre to the next, and the counter steps where a print is, not where none is.

use super::belt::BeltLevel;
use super::counter::Expected;
use super::objects::{Ground, LEAST_GAIN, LEAST_SEEN, chosen};
use super::template::Template;
use super::trace::ExitTrace;

/// A belt's level along a run, and the stretches (metres) that objects were found to cover, in order.
pub(super) type Belt = (BeltLevel, Vec<(f64, f64)>);

/// A trace in which the belt is looked for between objects of a template.
#[derive(Clone, Copy)]
pub(super) struct Search<'a> {
    pub(super) trace: &'a ExitTrace,
    pub(super) template: &'a Template,
    /// Diameter of what the probe sees, in metres.
    pub(super) spot: f64,
    /// From print to print, in metres, where that is known.
    pub(super) pitch: Option<f64>,
}

/// How badly a stretch is explained where the belt is at a level: squares that are left over, and what
/// objects cost.
pub(super) fn cost(
    ground: &Ground<'_>,
    belt: &BeltLevel,
    expected: &Expected,
    pitch: Option<f64>,
) -> f64 {
    let (gains, bonus) = (ground.gains(belt), expected.bonus(ground));
    let taken = chosen(ground, &gains, &bonus, pitch);
    let gained: f64 = taken
        .iter()
        .map(|place| gains[*place].gain + bonus[*place] - LEAST_GAIN)
        .sum();
    ground.all_belt() - gained
}

/// How badly objects of a template explain all of a trace.
pub(super) fn misfit(trace: &ExitTrace, template: &Template, spot: f64, pitch: Option<f64>) -> f64 {
    let search = Search {
        trace,
        template,
        spot,
        pitch,
    };
    let (belt, _) = search.unaided();
    let ground = Ground::new(trace, template, &belt);
    ground.map_or(f64::INFINITY, |ground| {
        cost(&ground, &belt, &Expected::default(), pitch)
    })
}

impl Search<'_> {
    /// The belt as the trace alone has it.
    pub(super) fn unaided(&self) -> Belt {
        self.look(&Expected::default(), BELT_CHANGES)
    }

    /// The same if it hardly changes along the way.
    pub(super) fn hardly_changing(&self) -> Belt {
        self.look(&Expected::default(), BELT_HARDLY_CHANGES)
    }

    /// The belt with prints where the counter has them.
    pub(super) fn counted(&self, expected: &Expected) -> Belt {
        self.look(expected, BELT_CHANGES)
    }

    /// The level of the belt after looking again: objects are looked for, and the belt between them is read
    /// once more.
    fn look(&self, expected: &Expected, changes: f64) -> Belt {
        let mut belt = self.first_level(expected, changes);
        let mut covered = Vec::new();
        for _ in 0..LOOKS {
            let Some(ground) = Ground::new(self.trace, self.template, &belt) else {
                break;
            };
            let gains = ground.gains(&belt);
            let taken = chosen(&ground, &gains, &expected.bonus(&ground), self.pitch);
            let clear = CLEAR + 0.5 * self.spot;
            covered = taken
                .iter()
                .map(|place| {
                    let (lead, trail) = self.template.about(ground.way(*place));
                    (lead - clear, trail + clear)
                })
                .collect();
            belt = BeltLevel::between(self.trace, &covered).unwrap_or(belt);
        }
        (belt, covered)
    }

    /// A first guess: on each stretch of the belt that level, of several, under which objects explain it best.
    fn first_level(&self, expected: &Expected, changes: f64) -> BeltLevel {
        let seen = self.trace.seen();
        let (Some(first), Some(last)) = (seen.first(), seen.last()) else {
            return BeltLevel::steady(self.template.belt);
        };
        let count = ((last.way - first.way) / STRETCH).ceil().max(1.0);
        let length = (last.way - first.way) / count;
        let mut knots = Vec::new();
        let mut before = self.template.belt;
        for number in 0..(count as u32) {
            let from = first.way + length * f64::from(number);
            let stretch = self.trace.stretch(from, from + length);
            // The first stretch may be at any level: the reference was another run.
            let changes = if number == 0 { BELT_CHANGES } else { changes };
            before = self.level_of(&stretch, expected, (before, changes));
            knots.push((from + 0.5 * length, before));
        }
        BeltLevel::through(knots)
    }

    /// The level of one stretch, given that of the one before it and how far it changes.
    fn level_of(
        &self,
        stretch: &ExitTrace,
        expected: &Expected,
        (before, changes): (f64, f64),
    ) -> f64 {
        let mut shown: Vec<f64> = stretch.seen().iter().map(|seen| seen.celsius).collect();
        shown.sort_by(f64::total_cmp);
        let quantile = |share: f64| shown.get((share * shown.len() as f64) as usize).copied();
        let mut guesses = vec![before, self.template.belt];
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
            let off = ((level - before) / changes).powi(2).min(MOST_CHANGED);
            let ground = Ground::new(stretch, self.template, &belt);
            ground.map_or(f64::INFINITY, |ground| {
                cost(&ground, &belt, expected, self.pitch) + off
            })
        };
        guesses
            .into_iter()
            .map(|level| (level, cost(level)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(before, |best| best.0)
    }
}

/// How often the belt is read again.
const LOOKS: usize = 3;
/// Belt is read no nearer to an object than this, in metres (and half the spot).
const CLEAR: f64 = 0.01;
/// A first guess of the belt's level is made for each stretch of so many metres.
const STRETCH: f64 = 6.0;
/// How far the belt's own temperature changes from one stretch to the next (one standard deviation), in °C, …
const BELT_CHANGES: f64 = 5.0;
/// … and how far if nothing happens to belt or chamber meanwhile.
const BELT_HARDLY_CHANGES: f64 = 0.5;
/// A change is held against a level by no more than this: a belt that stood in the heat comes out far hotter.
const MOST_CHANGED: f64 = 400.0;
