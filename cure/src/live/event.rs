//! What the shop floor's engine finds out.

use inkdwell_config::quantity::{Celsius, MetresPerSecond};

use super::exit::Window;
use super::time::Micros;
use crate::judged::JudgedPass;
use crate::plan::PrintLaws;

/// How a pass was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SeenBy {
    /// By a probe in its ink.
    Ride,
    /// By a probe under a flash unit.
    Flash,
    /// By an exit probe.
    Exit,
    /// By the print counter alone: no probe saw it.
    Counter,
}

/// One print's trip through the heat.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenPass {
    /// The station's id.
    pub station: String,
    /// The probe's id; `None` where no probe saw it.
    pub probe: Option<String>,
    /// How it was seen.
    pub by: SeenBy,
    /// When it began, or when it passed the counter's eye.
    pub start: Micros,
    /// When it ended.
    pub end: Micros,
    /// The batch that was open when it began.
    pub batch: Option<u64>,
    /// Its number in that batch, from 1.
    pub print: Option<u64>,
    /// The belt's mean speed while it was in the heat; `None` where nobody knows it.
    pub belt: Option<MetresPerSecond>,
    /// What is said of it, its times counted from `start`; `None` without a batch, since then nobody knows
    /// what it needed, and where no probe saw it.
    pub judged: Option<Box<JudgedPass>>,
    /// The hottest sample that a probe gave.
    pub peak: Option<Celsius>,
}

/// A print that an exit probe saw, before anything is said of it.
#[derive(Debug, Clone)]
pub struct PrintLeft {
    /// Its trip, `judged` still being nothing.
    pub seen: SeenPass,
    /// The recipe through whose ride it is inferred.
    pub recipe: u64,
    /// What it is judged by.
    pub laws: PrintLaws,
    /// What was read of it.
    pub window: Window,
}

impl PartialEq for PrintLeft {
    /// (Laws are those of the batch, which is compared.)
    fn eq(&self, other: &PrintLeft) -> bool {
        let seen = self.seen == other.seen && self.recipe == other.recipe;
        seen && self.window == other.window
    }
}

/// What can happen.
#[derive(Debug, Clone, PartialEq)]
pub enum FloorEvent {
    /// A probe in a print has entered the heat.
    PassStarted {
        /// The station's id.
        station: String,
        /// The probe's id.
        probe: String,
        /// When.
        at: Micros,
    },
    /// What had begun was too short to be a print's pass.
    PassDropped {
        /// The station's id.
        station: String,
        /// The probe's id.
        probe: String,
        /// When it had begun.
        at: Micros,
    },
    /// A print has left the heat.
    PassEnded(Box<SeenPass>),
    /// A print has left the heat and passed an exit probe; what is said of it is still to be inferred.
    PrintLeft(Box<PrintLeft>),
    /// The station has left its recipe.
    RecipeLeft {
        /// The station's id.
        station: String,
        /// The recipe's number.
        recipe: u64,
        /// What is off.
        what: Departure,
        /// When.
        at: Micros,
    },
    /// The station is back in its recipe.
    RecipeMet {
        /// The station's id.
        station: String,
        /// The recipe's number.
        recipe: u64,
        /// When.
        at: Micros,
    },
}

/// What is off a recipe.
#[derive(Debug, Clone, PartialEq)]
pub enum Departure {
    /// The belt.
    Belt {
        /// Its speed now.
        now: MetresPerSecond,
        /// Its speed in the recipe.
        locked: MetresPerSecond,
    },
    /// A zone's temperature.
    Zone {
        /// The probe's id.
        probe: String,
        /// What it shows.
        now: Celsius,
        /// What it showed when the recipe was locked.
        locked: Celsius,
    },
    /// The temperature at which prints leave.
    Exit {
        /// The probe's id.
        probe: String,
        /// What it shows of the last print.
        now: Celsius,
        /// What it showed of the reference ride's print.
        locked: Celsius,
    },
}
