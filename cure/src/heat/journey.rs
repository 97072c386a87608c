//! Where a print is when: the steps in which its way is computed.
//!
//! Steps are laid along the belt, not in time, so that they fall at the same places at any speed: the
//! model then answers smoothly to all its parameters. They are short where zones meet and longer in
//! between; after the heat they grow by a fixed share.

use inkdwell_config::quantity::{Metres, MetresPerSecond, Seconds};

use super::march::GAMMA;
use super::oven::Oven;

/// How fine the steps are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Divides every step by this.
    pub finer: f64,
}

impl Pace {
    /// Fine enough that a finer one moves no temperature by more than a tenth of a degree or so.
    pub const USUAL: Pace = Pace { finer: 1.0 };
}

/// The knots of a way: when, and where along the belt from the entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Journey {
    /// Seconds from where the heat begins (a belt) or the lamp is reached (a flash unit).
    pub(crate) times: Vec<f64>,
    /// Metres from there.
    pub(crate) positions: Vec<f64>,
    /// When the heated stretch ends.
    pub(crate) exit: f64,
}

/// The way begins this far before the heat.
const RUN_UP: f64 = 0.25;
/// Spilled heat is past so far outside. (A constant, so that the steps do not depend on the oven's heat.)
const SPILL: f64 = 0.2;
/// How fast prints are moved under a flash unit and away, in m/s. Common practice, no source.
const INDEXING: f64 = 0.8;
/// No print stands still under a lamp for less than this, in seconds.
const SHORTEST_HOLD: f64 = 0.1;
/// Steps after the heat grow by this share.
const GROWTH: f64 = 0.15;

impl Journey {
    /// A ride at a steady speed that goes on for a while after the heat.
    pub fn by_belt(oven: &Oven, speed: MetresPerSecond, after: Seconds, pace: Pace) -> Journey {
        let edges = oven.edges();
        let length = oven.heated_length().0;
        let mut positions = vec![-RUN_UP];
        let mut position = -RUN_UP;
        let end = length + SPILL;
        while position < end {
            let half = position + 0.5 * step_at(&edges, length, position) / pace.finer;
            position += step_at(&edges, length, half) / pace.finer;
            positions.push(position);
        }
        let mut times: Vec<f64> = positions.iter().map(|x| x / speed.0).collect();
        let exit = length / speed.0;
        cool(&mut times, exit + after.0, pace);
        for time in &times[positions.len()..] {
            positions.push(time * speed.0);
        }
        Journey {
            times,
            positions,
            exit,
        }
    }

    /// A stay under the lamp of a flash unit, and what follows.
    ///
    /// The stay counts from when the print comes under the lamp's edge to when it passes it again.
    pub fn under_lamp(oven: &Oven, stay: Seconds, after: Seconds, pace: Pace) -> Journey {
        let half = 0.5 * oven.heated_length().0;
        let (spill, under) = (SPILL / INDEXING, half / INDEXING);
        let hold = (stay.0 + oven.lingering.0 - 2.0 * under).max(SHORTEST_HOLD);
        let count = |steps: f64| (steps * pace.finer).ceil();
        let mut journey = Journey {
            times: vec![-spill],
            positions: vec![-SPILL],
            exit: 2.0 * under + hold,
        };
        let way = half + SPILL;
        journey.extend(count(24.0), |share| {
            (share * (spill + under) - spill, -SPILL + share * way)
        });
        // Short at first, while the film follows the lamp fast.
        journey.extend(count(90.0), |share| {
            (under + hold * (0.3 * share + 0.7 * share * share), half)
        });
        journey.extend(count(24.0), |share| {
            (under + hold + share * (spill + under), half + share * way)
        });
        let end = journey.exit + spill + after.0;
        cool(&mut journey.times, end, pace);
        let last = 2.0 * half + SPILL;
        journey.positions.resize(journey.times.len(), last);
        journey
    }

    fn extend(&mut self, steps: f64, knot: impl Fn(f64) -> (f64, f64)) {
        for step in 1..=(steps as usize) {
            let (time, position) = knot(step as f64 / steps);
            self.times.push(time);
            self.positions.push(position);
        }
    }

    /// Place at the share γ of the step that begins at a knot.
    pub(crate) fn within(&self, knot: usize) -> f64 {
        self.positions[knot] + GAMMA * (self.positions[knot + 1] - self.positions[knot])
    }

    /// When the heated stretch begins (0) and ends.
    pub fn exit(&self) -> Seconds {
        Seconds(self.exit)
    }

    /// Place at the last knot.
    pub fn end(&self) -> Metres {
        Metres(self.positions.last().copied().unwrap_or(0.0))
    }
}

/// Length of the step at a place.
fn step_at(edges: &[f64], length: f64, position: f64) -> f64 {
    let nearest = edges
        .iter()
        .map(|edge| (position - edge).abs())
        .fold(f64::INFINITY, f64::min);
    // Smooth at an edge, straight away from it, and never longer than a twenty-fifth of the heat.
    let least = 0.02;
    let wanted = least + 0.25 * (nearest.hypot(0.05) - 0.05);
    let longest = length / 25.0;
    wanted * longest / (wanted + longest)
}

/// Adds times whose distances grow until an end.
fn cool(times: &mut Vec<f64>, end: f64, pace: Pace) {
    let [.., before, last] = times[..] else {
        return;
    };
    let growth = 1.0 + GROWTH / pace.finer;
    let mut step = last - before;
    let mut time = last;
    while time < end {
        step *= growth;
        time += step;
        times.push(time);
    }
}
