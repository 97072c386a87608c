//! The window of belt speeds.
//!
//! Margins change smoothly with ln speed: the cure's falls as the belt gets faster, a harm's rises. So
//! each end is looked for on a grid in ln speed, then between two grid points by halving.

use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_config::station::Station;
use thiserror::Error;

use crate::heat::HeatError;
use crate::heat::fit::{Fit, LimitName, Trip};

/// What ends a window on one side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The ink would not be proved cured.
    Cure,
    /// The fabric would not be proved unharmed.
    Harm(Harm),
    /// The drive goes no further.
    Belt,
}

impl Side {
    /// The word that contracts and screens use.
    pub fn name(self) -> &'static str {
        match self {
            Side::Cure => "cure",
            Side::Harm(harm) => harm.name(),
            Side::Belt => "belt",
        }
    }

    /// What would be wrong beyond it, in words; `way` is where that lies, "faster" or "slower".
    pub fn beyond(self, way: &str) -> String {
        match self {
            Side::Cure => format!("{way} is not proved cured"),
            Side::Harm(harm) => format!("{way} does not rule out {}", harm.name()),
            Side::Belt => format!("the drive goes no {way}"),
        }
    }
}

/// One end of a window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// The speed.
    pub belt: MetresPerSecond,
    /// What is beyond.
    pub limit: Side,
}

/// Speeds between which every print is good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// The slow end; `None` where nothing harms however slow the belt.
    pub slow: Option<Edge>,
    /// The fast end.
    pub fast: Edge,
}

impl Window {
    /// From where to where it goes, in words and in these units.
    pub fn range(&self, units: Units) -> String {
        let fast = units.speed(self.fast.belt);
        match self.slow {
            Some(slow) => format!("from {} to {fast}", units.speed(slow.belt)),
            None => format!("up to {fast}"),
        }
    }
}

/// Why no window was looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum WindowError {
    /// The model has no answer.
    #[error(transparent)]
    Heat(#[from] HeatError),
    /// The fit is not of a belt dryer.
    #[error("only a belt dryer has a window of belt speeds")]
    NotABelt,
}

/// How far beyond the rides' speeds is looked, as a factor.
const BEYOND: f64 = 4.0;
/// Steps of the grid for each factor of e.
const STEPS: f64 = 6.0;
/// Halvings between two grid points: to a thousandth of the speed.
const HALVINGS: u32 = 7;

/// The window in which every margin is positive with its doubt taken off.
///
/// # Errors
/// Where the model has no answer, or the fit is not of a belt dryer.
pub fn proved_window(fit: &Fit, station: &Station) -> Result<Option<Window>, WindowError> {
    let guard = Guard::Proved;
    Scan {
        fit,
        station,
        guard,
    }
    .window()
}

/// The window of the most likely margins.
///
/// # Errors
/// As [`proved_window`].
pub fn best_window(fit: &Fit, station: &Station) -> Result<Option<Window>, WindowError> {
    let guard = Guard::Likely;
    Scan {
        fit,
        station,
        guard,
    }
    .window()
}

/// The window of the most likely margins with a doubt taken off that was reckoned elsewhere: many times
/// faster than [`proved_window`], for trying out what a change would open.
///
/// # Errors
/// As [`proved_window`].
pub(super) fn window_with(
    fit: &Fit,
    station: &Station,
    doubts: &Doubts,
) -> Result<Option<Window>, WindowError> {
    let guard = Guard::Borrowed(doubts);
    Scan {
        fit,
        station,
        guard,
    }
    .window()
}

/// What is taken off a margin before it counts.
#[derive(Debug, Clone, Copy)]
enum Guard<'a> {
    /// Its doubt.
    Proved,
    /// Nothing.
    Likely,
    /// The doubt of another fit at that speed.
    Borrowed(&'a Doubts),
}

/// The doubts of all margins at some speeds.
#[derive(Debug, Clone)]
pub(super) struct Doubts {
    /// ln speed, rising, and the doubts in the order of the margins.
    known: Vec<(f64, Vec<f64>)>,
}

/// At how many speeds doubts are reckoned.
const DOUBTS: u32 = 8;

impl Doubts {
    /// Reckons the doubts of a fit over the speeds that a window may lie in.
    pub(super) fn of(fit: &Fit, station: &Station) -> Result<Doubts, WindowError> {
        let guard = Guard::Likely;
        let [(slow, _), (fast, _)] = Scan {
            fit,
            station,
            guard,
        }
        .range()?;
        let mut known = Vec::new();
        for step in 0..=DOUBTS {
            let ln_speed = slow + (fast - slow) * f64::from(step) / f64::from(DOUBTS);
            let margins = fit.margins(Trip::Belt(MetresPerSecond(ln_speed.exp())))?;
            let doubts = margins.iter().map(|estimate| estimate.doubt.0);
            known.push((ln_speed, doubts.collect()));
        }
        Ok(Doubts { known })
    }

    /// The doubt of a margin at a speed, in a straight line between those known.
    fn at(&self, ln_speed: f64, number: usize) -> f64 {
        let after = self
            .known
            .partition_point(|known| known.0 < ln_speed)
            .clamp(1, self.known.len() - 1);
        let ((x0, from), (x1, to)) = (&self.known[after - 1], &self.known[after]);
        let share = ((ln_speed - x0) / (x1 - x0)).clamp(0.0, 1.0);
        from[number] + share * (to[number] - from[number])
    }
}

struct Scan<'a> {
    fit: &'a Fit,
    station: &'a Station,
    guard: Guard<'a>,
}

/// The margins at one speed: the cure's, and the least of the harms with its name.
#[derive(Debug, Clone, Copy)]
struct At {
    ln_speed: f64,
    cure: f64,
    harm: Option<(Harm, f64)>,
}

impl Scan<'_> {
    fn at(&self, ln_speed: f64) -> Result<At, WindowError> {
        let mut at = At {
            ln_speed,
            cure: f64::INFINITY,
            harm: None,
        };
        for (limit, margin) in self.margins(ln_speed)? {
            match limit {
                LimitName::Cure => at.cure = at.cure.min(margin),
                LimitName::Harm(harm) if at.harm.is_none_or(|(_, least)| margin < least) => {
                    at.harm = Some((harm, margin));
                }
                _ => {}
            }
        }
        Ok(at)
    }

    /// What is left of each margin at a speed, in °C.
    fn margins(&self, ln_speed: f64) -> Result<Vec<(LimitName, f64)>, WindowError> {
        let trip = Trip::Belt(MetresPerSecond(ln_speed.exp()));
        if let Guard::Proved = self.guard {
            let margins = self.fit.margins(trip)?;
            return Ok(margins
                .iter()
                .map(|estimate| (estimate.limit, estimate.guarded().0))
                .collect());
        }
        let margins = self.fit.likely_margins(trip)?;
        Ok(margins
            .iter()
            .enumerate()
            .map(|(number, (limit, margin))| match self.guard {
                Guard::Borrowed(doubts) => (*limit, margin.0 - doubts.at(ln_speed, number)),
                _ => (*limit, margin.0),
            })
            .collect())
    }

    /// The speeds that are looked at, and whether the drive ends them.
    fn range(&self) -> Result<[(f64, bool); 2], WindowError> {
        let speeds: Vec<f64> = self
            .fit
            .rides()
            .iter()
            .filter_map(|ride| match ride.trip {
                Trip::Belt(speed) => Some(speed.0),
                Trip::Lamp(_) => None,
            })
            .collect();
        let (Some(least), Some(most)) = (
            speeds.iter().copied().reduce(f64::min),
            speeds.iter().copied().reduce(f64::max),
        ) else {
            return Err(WindowError::NotABelt);
        };
        let (slow, fast) = (least / BEYOND, most * BEYOND);
        let slowest = self.station.belt_slowest.filter(|speed| speed.0 > slow);
        let fastest = self.station.belt_fastest.filter(|speed| speed.0 < fast);
        Ok([
            (
                slowest.map_or(slow, |speed| speed.0).ln(),
                slowest.is_some(),
            ),
            (
                fastest.map_or(fast, |speed| speed.0).ln(),
                fastest.is_some(),
            ),
        ])
    }

    fn window(&self) -> Result<Option<Window>, WindowError> {
        let [(slow, slow_is_belt), (fast, fast_is_belt)] = self.range()?;
        let steps = ((fast - slow) * STEPS).ceil().max(2.0);
        let mut grid = Vec::new();
        for step in 0..=(steps as u32) {
            grid.push(self.at(slow + (fast - slow) * f64::from(step) / steps)?);
        }
        // The fastest speed at which the ink is cured, then the slowest from there down at which nothing
        // is harmed.
        let Some(last_cured) = grid.iter().rposition(|at| at.cure >= 0.0) else {
            return Ok(None);
        };
        let fast = match grid.get(last_cured + 1) {
            Some(beyond) => {
                let good = |at: &At| at.cure >= 0.0;
                let edge = self.between(grid[last_cured].ln_speed, beyond.ln_speed, good)?;
                Edge {
                    belt: MetresPerSecond(edge.ln_speed.exp()),
                    limit: Side::Cure,
                }
            }
            None if fast_is_belt => Edge {
                belt: MetresPerSecond(fast.exp()),
                limit: Side::Belt,
            },
            None => Edge {
                belt: MetresPerSecond(fast.exp()),
                limit: Side::Cure,
            },
        };
        let at_fast = self.at(fast.belt.0.ln())?;
        if at_fast.harm.is_some_and(|(_, margin)| margin < 0.0) {
            return Ok(None);
        }
        let unharmed = |at: &At| at.harm.is_none_or(|(_, margin)| margin >= 0.0);
        let slower = grid.iter().take_while(|at| at.ln_speed < fast.belt.0.ln());
        let slow = match slower
            .collect::<Vec<_>>()
            .iter()
            .rposition(|at| !unharmed(at))
        {
            Some(harmed) => {
                let (from, harm) = (grid[harmed].ln_speed, grid[harmed].harm);
                let to = grid
                    .get(harmed + 1)
                    .map_or(fast.belt.0.ln(), |at| at.ln_speed);
                let edge = self.between(to.min(fast.belt.0.ln()), from, unharmed)?;
                let limit = harm.map_or(Side::Belt, |(harm, _)| Side::Harm(harm));
                Some(Edge {
                    belt: MetresPerSecond(edge.ln_speed.exp()),
                    limit,
                })
            }
            None if slow_is_belt => Some(Edge {
                belt: MetresPerSecond(slow.exp()),
                limit: Side::Belt,
            }),
            None => None,
        };
        Ok(Some(Window { slow, fast }))
    }

    /// The last good point between a good speed and a bad one.
    fn between(
        &self,
        good: f64,
        bad: f64,
        is_good: impl Fn(&At) -> bool,
    ) -> Result<At, WindowError> {
        let (mut good, mut bad) = (good, bad);
        let mut edge = self.at(good)?;
        for _ in 0..HALVINGS {
            let middle = self.at(0.5 * (good + bad))?;
            if is_good(&middle) {
                good = middle.ln_speed;
                edge = middle;
            } else {
                bad = middle.ln_speed;
            }
        }
        Ok(edge)
    }
}
