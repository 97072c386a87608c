//! How long a print may stay under a flash unit.
//!
//! The longer the stay, the hotter the print: what it needs sets the shortest stay, what it must not reach
//! the longest. Both are looked for on a grid in ln of the stay, then by halving. As the platen
//! warms over a run the same stay gives a hotter print, so that both shorten.

use inkdwell_config::quantity::{CelsiusDifference, Seconds};

use super::Fit;
use super::limit::LimitName;
use super::ride::Trip;
use crate::heat::HeatError;
use crate::heat::oven::Backing;

/// What a stay is held to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Certainty {
    /// Every margin is positive with its doubt taken off.
    Proved,
    /// Every margin is most likely positive.
    Likely,
}

/// One end of the stays that are good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StayEnd {
    /// The stay.
    pub stay: Seconds,
    /// What lies beyond it.
    pub limit: LimitName,
}

impl StayEnd {
    /// What would be wrong beyond it, in words; `way` is where that lies, "shorter" or "longer".
    pub fn beyond(self, way: &str) -> String {
        match self.limit {
            LimitName::Cure => format!("{way} is not proved cured"),
            LimitName::Gel => format!("{way} is not proved gelled"),
            LimitName::OverGel => {
                format!("{way} may be past gelling, where the next colour does not bond")
            }
            LimitName::Harm(harm) => format!("{way} does not rule out {}", harm.name()),
        }
    }
}

/// Stays under the lamp at which a print is good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stays {
    /// The shortest: what the print needs is only just there.
    pub shortest: StayEnd,
    /// The longest; `None` where nothing limits it among the stays that are looked at.
    pub longest: Option<StayEnd>,
}

impl Stays {
    /// From where to where they go, in words.
    pub fn range(&self) -> String {
        let shortest = self.shortest.stay.0;
        match self.longest {
            Some(longest) => format!("from {shortest:.1} s to {:.1} s", longest.stay.0),
            None => format!("from {shortest:.1} s on"),
        }
    }
}

/// Stays are looked at from a ridden one divided by this to one times this.
const BEYOND: f64 = 4.0;
/// Steps of the grid.
const STEPS: u32 = 14;
/// Halvings between two grid points.
const HALVINGS: u32 = 7;

/// What a surface near room temperature radiates, in W/(m² K): 4 σ T³ with T = 300 K.
const ROOM_RADIATION: f64 = 6.1;

/// The least margin of what is needed and of what must not be, with their names, at one haste.
struct At {
    haste: f64,
    need: (f64, LimitName),
    harm: Option<(f64, LimitName)>,
}

impl At {
    fn harm_margin(&self) -> f64 {
        self.harm.map_or(f64::INFINITY, |(margin, _)| margin)
    }
}

impl Fit {
    /// The stays at which a print is good; `None` where there is none, or the rides are not of a flash unit.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn stays(&self, certainty: Certainty) -> Result<Option<Stays>, HeatError> {
        let ridden: Vec<f64> = self.rides.iter().map(|ride| ride.trip.haste()).collect();
        if self
            .rides
            .iter()
            .any(|ride| matches!(ride.trip, Trip::Belt(_)))
        {
            return Ok(None);
        }
        let longest = ridden.iter().copied().fold(f64::INFINITY, f64::min) - BEYOND.ln();
        let shortest = ridden.iter().copied().fold(f64::NEG_INFINITY, f64::max) + BEYOND.ln();
        // Grid from the shortest stay to the longest.
        let mut grid = Vec::new();
        for step in 0..=STEPS {
            let share = f64::from(step) / f64::from(STEPS);
            grid.push(self.at_stay(shortest + share * (longest - shortest), certainty)?);
        }
        let Some(enough) = grid.iter().position(|at| at.need.0 >= 0.0) else {
            return Ok(None);
        };
        let first = match enough.checked_sub(1) {
            Some(short) => {
                let good = |at: &At| at.need.0 >= 0.0;
                self.last_good(grid[enough].haste, grid[short].haste, certainty, good)?
            }
            None => self.at_stay(grid[enough].haste, certainty)?,
        };
        if first.harm_margin() < 0.0 {
            return Ok(None);
        }
        let unharmed = |at: &At| at.harm_margin() >= 0.0;
        let too_long = (enough..grid.len()).find(|number| !unharmed(&grid[*number]));
        let longest = match too_long {
            Some(number) => {
                let from = if number > enough {
                    grid[number - 1].haste
                } else {
                    first.haste
                };
                let edge = self.last_good(from, grid[number].haste, certainty, unharmed)?;
                grid[number].harm.map(|(_, limit)| StayEnd {
                    stay: stay_at(edge.haste),
                    limit,
                })
            }
            None => None,
        };
        Ok(Some(Stays {
            shortest: StayEnd {
                stay: stay_at(first.haste),
                limit: first.need.1,
            },
            longest,
        }))
    }

    /// The same fit on a platen that has warmed by so much since the rides. Cloth that waits there for its
    /// flash warms too, as far as contact with the platen outweighs what it loses to the room.
    #[must_use]
    pub fn on_warmer_platen(&self, by: CelsiusDifference) -> Fit {
        let mut fit = self.clone();
        let oven = &mut fit.problem.base.oven;
        if let Backing::Platen(platen) = &mut oven.backing {
            platen.temperature.0 += by.0;
            let lost = oven.room.convection.0 + ROOM_RADIATION;
            oven.room.temperature.0 += by.0 * platen.contact.0 / (platen.contact.0 + lost);
        }
        fit
    }

    fn at_stay(&self, haste: f64, certainty: Certainty) -> Result<At, HeatError> {
        let trip = Trip::Lamp(stay_at(haste));
        let margins: Vec<f64> = match certainty {
            Certainty::Proved => {
                let margins = self.margins(trip)?;
                margins.iter().map(|margin| margin.guarded().0).collect()
            }
            Certainty::Likely => {
                let margins = self.likely_margins(trip)?;
                margins.iter().map(|(_, margin)| margin.0).collect()
            }
        };
        let least = |sense: f64| {
            self.limits
                .iter()
                .zip(&margins)
                .filter(|(limit, _)| limit.sense() == sense)
                .map(|(limit, margin)| (*margin, limit.name))
                .reduce(|a, b| if b.0 < a.0 { b } else { a })
        };
        Ok(At {
            haste,
            need: least(1.0).unwrap_or((f64::INFINITY, LimitName::Cure)),
            harm: least(-1.0),
        })
    }

    /// The last good point between a good haste and a bad one.
    fn last_good(
        &self,
        good: f64,
        bad: f64,
        certainty: Certainty,
        is_good: impl Fn(&At) -> bool,
    ) -> Result<At, HeatError> {
        let (mut good, mut bad) = (good, bad);
        let mut edge = self.at_stay(good, certainty)?;
        for _ in 0..HALVINGS {
            let middle = self.at_stay(0.5 * (good + bad), certainty)?;
            if is_good(&middle) {
                good = middle.haste;
                edge = middle;
            } else {
                bad = middle.haste;
            }
        }
        Ok(edge)
    }
}

fn stay_at(haste: f64) -> Seconds {
    Seconds((-haste).exp())
}
