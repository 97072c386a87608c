//! What lies on the belt, as an exit probe sees it.
//!
//! Every object of a batch has the shape of the reference's (see [`Template`]), whatever its parts show: a
//! margin or a print may be warmer or colder than the belt, or as warm. So objects are looked for by their
//! shape. At each place p of the belt two explanations of the samples under the shape are weighed: that they
//! are belt, and that they are an object whose three parts have even levels of their own. With x the
//! samples, n of them in a part with mean m and left-over squares Q, σ² the variance of what is even, l₀ what
//! a part showed of the reference, and c by how much all of the object is warmer than that,
//!
//!   gain(p) = Σ (x − belt)²/σ² − 2|c|/s − Σ over parts [ Q/σ² + (m − l₀ − c)²/(τ² + σ²/n) + ln(1 + n τ²/σ²) ],
//!
//! twice the logarithm of a Bayes factor, but for a constant. Of all sets of places that leave room for each other, the one
//! with the largest sum of gains is taken (by dynamic programming), the known pitch and the counter's steps
//! adding to the gain of what fits them. Beforehand the parts of an object may all be warmer or colder than the
//! reference's by the same, and each differ a little from that. So a bare margin, a gap between margins or a step of noise is no
//! object, and two prints are never one.

use super::belt::BeltLevel;
use super::template::Template;
use super::trace::{ExitTrace, Seen};

/// Something that passed the probe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Object {
    /// When its leading edge passed, in seconds of the trace.
    pub start: f64,
    /// When its trailing edge passed.
    pub end: f64,
    /// The belt's way when its print's place passed, in metres.
    pub place: f64,
    /// Whether the trace begins or ends inside it.
    pub cut: bool,
    /// Whether the counter counted it.
    pub counted: bool,
}

/// Step of the belt at which objects are looked for, in metres.
pub(super) const STEP: f64 = 0.01;
/// What is taken for belt counts as so many deviations off at most: an edge that lies a little off must not
/// outweigh all else.
const MOST_OFF: f64 = 6.0;
/// What is even is so within this, in °C, however quiet the probe.
const UNEVEN: f64 = 1.2;
/// s: how far all of an object may differ from the reference's, in °C (the scale of a two-sided exponential
/// distribution: most are near, a wet one is far off).
const ALTOGETHER: f64 = 6.0;
/// τ: how far a part differs by itself (one standard deviation), in °C.
const BY_ITSELF: f64 = 4.0;
/// Squares of a part's own difference count no more than this.
const MOST_BY_ITSELF: f64 = 30.0;
/// What is no further from the belt than this is not told from it by its temperature alone, in °C, nor what
/// is no further than a share of the reference's departure.
const LEAST_DEPARTURE: (f64, f64) = (2.5, 0.5);
/// An object must gain so much.
pub(super) const LEAST_GAIN: f64 = 20.0;
/// How far from a whole number of pitches prints are laid (one standard deviation), as a share of the
/// pitch, and what an odd distance costs at most.
const LAID: f64 = 0.08;
const ODD_DISTANCE: f64 = 10.0;
/// The outermost of an object is not looked at, in metres: its edge may lie a little off, and objects that
/// touch each other must not count a sample twice.
const RIM: f64 = 0.01;
/// Prints are laid no closer than this share of the pitch.
const CLOSEST: f64 = 0.6;
/// So much of an object must have been seen where the trace cuts it, in metres.
pub(super) const LEAST_SEEN: f64 = 0.08;
/// Beyond so many pitches nothing is said of a distance.
const PITCHES: f64 = 4.0;

/// The samples of a trace with sums over them, and the places of the belt at which objects may lie.
pub(super) struct Ground<'a> {
    /// Thinned where the belt stands.
    seen: Vec<Seen>,
    template: &'a Template,
    variance: f64,
    least_departure: f64,
    /// Σ w, Σ w x, Σ w x² and Σ w (x − belt)² before each sample, with w its weight.
    sums: Vec<[f64; 4]>,
    /// The belt's way at the first place, and how many there are.
    first: f64,
    pub(super) count: usize,
}

impl<'a> Ground<'a> {
    pub(super) fn new(
        trace: &'a ExitTrace,
        template: &'a Template,
        belt: &BeltLevel,
    ) -> Option<Ground<'a>> {
        let seen = along(trace.seen());
        let (begin, end) = (seen.first()?.way, seen.last()?.way);
        let deviation = UNEVEN.max(trace.noise());
        let counts = weights(&seen, template.spot, deviation);
        let mut sums = vec![[0.0; 4]];
        for (number, sample) in seen.iter().enumerate() {
            let [weights, sum, squares, off] = sums[number];
            let w = counts[number];
            let x = sample.celsius;
            let most = MOST_OFF * deviation;
            let away = (x - belt.at(sample.way)).clamp(-most, most);
            sums.push([
                weights + w,
                sum + w * x,
                squares + w * x * x,
                off + w * away * away,
            ]);
        }
        let first = begin - template.trail + LEAST_SEEN;
        let last = end - template.lead - LEAST_SEEN;
        let count = if last > first {
            ((last - first) / STEP) as usize + 1
        } else {
            0
        };
        Some(Ground {
            seen,
            template,
            variance: deviation * deviation,
            least_departure: LEAST_DEPARTURE
                .0
                .min(LEAST_DEPARTURE.1 * template.departure())
                .max(2.0 * trace.noise()),
            sums,
            first,
            count,
        })
    }

    /// What is left over where all is taken for belt, as squares over their variance.
    pub(super) fn all_belt(&self) -> f64 {
        self.sums[self.seen.len()][3] / self.variance
    }

    /// The belt's way at a place.
    pub(super) fn way(&self, place: usize) -> f64 {
        self.first + STEP * place as f64
    }

    /// The place nearest to a way, if it is on the ground.
    pub(super) fn place(&self, way: f64) -> Option<usize> {
        let place = ((way - self.first) / STEP).round();
        (place >= 0.0 && place < self.count as f64).then_some(place as usize)
    }

    /// The gain of every place, and whether any part there departs from the belt.
    pub(super) fn gains(&self, belt: &BeltLevel) -> Vec<Gain> {
        let template = self.template;
        let edges = [
            template.lead + RIM,
            template.print_from.max(template.lead + RIM),
            template.print_to.min(template.trail - RIM),
            template.trail - RIM,
        ];
        let mut cursors = [0_usize; 4];
        (0..self.count)
            .map(|place| {
                let way = self.way(place);
                for (cursor, edge) in cursors.iter_mut().zip(edges) {
                    while *cursor < self.seen.len() && self.seen[*cursor].way < way + edge {
                        *cursor += 1;
                    }
                }
                self.gain(cursors, belt.at(way))
            })
            .collect()
    }

    fn gain(&self, edges: [usize; 4], belt: f64) -> Gain {
        let mut gain = (self.sums[edges[3]][3] - self.sums[edges[0]][3]) / self.variance;
        let mut departs = false;
        // Of each part its weight, and by how much it differs from the reference's.
        let mut parts = [(0.0, 0.0); 3];
        for (part, differs) in parts.iter_mut().enumerate() {
            let (from, to) = (edges[part], edges[part + 1]);
            if to <= from {
                continue;
            }
            let [n, sum, squares] = [0, 1, 2].map(|i| self.sums[to][i] - self.sums[from][i]);
            let mean = sum / n;
            gain -= (squares - n * mean * mean).max(0.0) / self.variance;
            *differs = (n, mean - belt - self.template.over_belt[part]);
            departs |= (mean - belt).abs() > self.least_departure;
        }
        let weights: f64 = parts.iter().map(|part| part.0).sum();
        let sum: f64 = parts.iter().map(|part| part.0 * part.1).sum();
        let altogether = sum / weights.max(1e-9);
        gain -= 2.0 * altogether.abs() / ALTOGETHER;
        for (n, differs) in parts.into_iter().filter(|part| part.0 > 0.0) {
            let spread = BY_ITSELF * BY_ITSELF;
            let square = (differs - altogether).powi(2) / (spread + self.variance / n);
            gain -= square.min(MOST_BY_ITSELF) + (1.0 + n * spread / self.variance).ln();
        }
        Gain { gain, departs }
    }
}

/// Samples that lie apart on the belt: what is seen while it stands counts once.
fn along(seen: &[Seen]) -> Vec<Seen> {
    let mut apart: Vec<Seen> = Vec::with_capacity(seen.len());
    for sample in seen {
        if apart
            .last()
            .is_none_or(|last| sample.way - last.way >= APART)
        {
            apart.push(*sample);
        }
    }
    apart
}

/// How much each sample counts: one near an edge shows two parts at once.
fn weights(seen: &[Seen], spot: f64, deviation: f64) -> Vec<f64> {
    let reach = 0.5 * spot + BLUR;
    let (mut from, mut to) = (0, 0);
    (0..seen.len())
        .map(|number| {
            let way = seen[number].way;
            while seen[from].way < way - reach {
                from += 1;
            }
            while to < seen.len() && seen[to].way <= way + reach {
                to += 1;
            }
            let near = seen[from..to].iter().map(|seen| seen.celsius);
            let (least, most) = near
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), x| {
                    (least.min(x), most.max(x))
                });
            if most - least > STEEP * deviation || is_between(seen, number, deviation) {
                BLURRED
            } else {
                1.0
            }
        })
        .collect()
}

/// Whether a sample lies between its neighbours on a steep slope, where samples are further apart than the
/// spot is wide.
fn is_between(seen: &[Seen], number: usize, deviation: f64) -> bool {
    let (Some(before), Some(after)) = (number.checked_sub(1), seen.get(number + 1)) else {
        return false;
    };
    let own = seen[number].celsius;
    let (up, on) = (own - seen[before].celsius, after.celsius - own);
    let (least, most) = (up.abs().min(on.abs()), (up + on).abs());
    up * on > 0.0 && most > 2.0 * STEEP * deviation && least > 0.5 * STEEP * deviation
}

/// Beside the spot a probe's lag blurs edges, in metres.
const BLUR: f64 = 0.006;
/// What changes by more than so many deviations within that is an edge.
const STEEP: f64 = 4.5;
/// What a blurred sample counts.
const BLURRED: f64 = 0.004;

/// Samples that are closer on the belt are one, in metres.
const APART: f64 = 0.002;

/// How much better a place is explained by an object than by belt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gain {
    pub(super) gain: f64,
    pub(super) departs: bool,
}

/// Which places are taken: the set of largest total gain. `bonus` adds to the gain of places.
pub(super) fn chosen(
    ground: &Ground<'_>,
    gains: &[Gain],
    bonus: &[f64],
    pitch: Option<f64>,
) -> Vec<usize> {
    let worth: Vec<f64> = gains
        .iter()
        .zip(bonus)
        .map(|(gain, bonus)| {
            if *bonus > 0.0 || (gain.departs && gain.gain > LEAST_GAIN) {
                gain.gain + bonus - LEAST_GAIN
            } else {
                f64::NEG_INFINITY
            }
        })
        .collect();
    let length = ground.template.length() - 2.0 * RIM;
    let least = pitch.map_or(length, |pitch| length.max(CLOSEST * pitch));
    let least = (least / STEP).ceil().max(1.0) as usize;
    let near = pitch
        .map_or(least, |pitch| (PITCHES * pitch / STEP) as usize)
        .max(least);
    let odd = |apart: usize| {
        pitch.map_or(0.0, |pitch| {
            let pitches = apart as f64 * STEP / pitch;
            let off = (pitches - pitches.round().max(1.0)) / LAID;
            (off * off).min(ODD_DISTANCE)
        })
    };
    let odds: Vec<f64> = (0..=near).map(odd).collect();
    // best[p]: of all sets whose last object is at p; before[p]: the best of these up to p.
    let mut best = vec![(f64::NEG_INFINITY, None); ground.count];
    let mut before: Vec<Option<usize>> = vec![None; ground.count];
    for place in 0..ground.count {
        if worth[place].is_finite() {
            let mut own: (f64, Option<usize>) = (worth[place], None);
            let mut consider = |last: usize, cost: f64| {
                let sum = best[last].0 + worth[place] - cost;
                if sum > own.0 {
                    own = (sum, Some(last));
                }
            };
            for apart in least..=near.min(place) {
                if best[place - apart].0.is_finite() {
                    consider(place - apart, odds[apart]);
                }
            }
            if let Some(last) = place.checked_sub(near + 1).and_then(|far| before[far]) {
                consider(last, 0.0);
            }
            best[place] = own;
        }
        let previous = place.checked_sub(1).and_then(|previous| before[previous]);
        before[place] = match previous {
            Some(previous) if best[previous].0 >= best[place].0 => Some(previous),
            _ => best[place].0.is_finite().then_some(place),
        };
    }
    let mut taken = Vec::new();
    let mut next = before.last().copied().flatten();
    while let Some(place) = next {
        taken.push(place);
        next = best[place].1;
    }
    taken.reverse();
    taken
}
