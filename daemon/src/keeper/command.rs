//! What people ask of the daemon, and why it may refuse.

use crate::record::{Calibrated, Judged, RecipeLocked, Settled};
use crate::time::Micros;

/// Opening a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenBatch {
    /// The station's id.
    pub station: String,
    /// The job's name.
    pub job: String,
    /// The ink's id.
    pub ink: String,
    /// The fabric's id.
    pub fabric: String,
    /// Whether a flash unit is the last heat.
    pub last_heat: bool,
    /// How many prints it is to have.
    pub quantity: Option<u64>,
    /// What a blank costs, in the shop's money.
    pub blank_cost: Option<f64>,
    /// The screen's mesh, in threads an inch.
    pub mesh_per_inch: Option<f64>,
    /// When the ink was mixed.
    pub ink_mixed: Option<Micros>,
    /// The recipe that the station is held against.
    pub recipe: Option<u64>,
    /// Who opens it.
    pub by: String,
}

/// Something that a person wants done.
#[derive(Debug, Clone, PartialEq)]
pub enum Command {
    /// Open a batch; the one before at that station is closed.
    OpenBatch(Box<OpenBatch>),
    /// Close a batch.
    CloseBatch {
        /// Its number.
        batch: u64,
        /// Who closes it.
        by: String,
    },
    /// Write a note to a batch.
    NoteBatch {
        /// Its number.
        batch: u64,
        /// What.
        note: String,
        /// Who writes it.
        by: String,
    },
    /// Give a pass that has no batch to one; it was judged anew by that batch's laws.
    AssignPass {
        /// The pass.
        pass: u64,
        /// Its station's id.
        station: String,
        /// The batch.
        batch: u64,
        /// The highest number that a print of that batch is known to have; 0 where it has none.
        printed: u64,
        /// Who says so.
        by: String,
        /// What is said of it by those laws.
        judged: Box<Judged>,
    },
    /// Settle a hold.
    SettleHold {
        /// The hold.
        hold: u64,
        /// How.
        outcome: Settled,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Lock a recipe; its number is given to it.
    LockRecipe(Box<RecipeLocked>),
    /// Retire a recipe.
    RetireRecipe {
        /// Its number.
        recipe: u64,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A probe was calibrated.
    Calibrate(Calibrated),
    /// Deal with an alarm.
    Alarm {
        /// Which, as `NAME@ID`, or `NAME` for the whole shop.
        alarm: String,
        /// What is to be done with it.
        deal: Deal,
        /// Who.
        by: String,
        /// Why; may be empty only where it is acknowledged.
        why: String,
    },
    /// Raise a test alarm.
    Drill {
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
}

/// What a person does with an alarm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Deal {
    /// See it.
    Acknowledge,
    /// Let a latched one go, having looked.
    Reset,
    /// Put it aside for so many seconds.
    Shelve(f64),
    /// Take it off the shelf.
    Unshelve,
    /// Take it out of service.
    TakeOut,
    /// Put it back into service.
    PutBack,
}

/// Why something is not done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// There is no such station.
    #[error("the shop file declares no station {id:?}; {remedy}")]
    NoStation {
        /// The id.
        id: String,
        /// Which there are.
        remedy: String,
    },
    /// There is no alarm of such a name.
    #[error("there is no alarm called {name:?}; {remedy}")]
    NoAlarm {
        /// As it was asked for.
        name: String,
        /// Which there are.
        remedy: String,
    },
    /// The alarm cannot be dealt with so.
    #[error("{alarm}: {why}")]
    AlarmNotSo {
        /// Which alarm.
        alarm: String,
        /// Why not.
        why: String,
    },
    /// There is no such probe.
    #[error("the shop file declares no probe {id:?}; {remedy}")]
    NoProbe {
        /// The id.
        id: String,
        /// Which there are.
        remedy: String,
    },
    /// There is no such ink or fabric.
    #[error("{0}")]
    NotInLibrary(#[from] inkdwell_config::library::UnknownId),
    /// The ink has no gel window, and the station flashes between colours.
    #[error(
        "ink {ink} has no gel window to be flashed in; add gel = {{ from = …, to = … }} to it, or say that \
         the flash unit is the last heat"
    )]
    NoGel {
        /// The ink's id.
        ink: String,
    },
    /// The batch is not open.
    #[error("batch {batch} is not open")]
    BatchNotOpen {
        /// Its number.
        batch: u64,
    },
    /// There never was such a batch.
    #[error("there is no batch {batch}")]
    NoBatch {
        /// Its number.
        batch: u64,
    },
    /// The hold is settled, or there is none.
    #[error("hold {hold} is not open: it was settled before, or there is none of that number")]
    HoldNotOpen {
        /// Its number.
        hold: u64,
    },
    /// There is no such recipe in force.
    #[error("recipe {recipe} is not in force")]
    NoRecipe {
        /// Its number.
        recipe: u64,
    },
    /// A recipe of another station, ink or fabric.
    #[error("recipe {recipe} was locked for {what}")]
    OtherRecipe {
        /// Its number.
        recipe: u64,
        /// Which station, ink and fabric.
        what: String,
    },
    /// Something that has to be said was not.
    #[error("{what} is empty; say {example}")]
    Empty {
        /// What.
        what: &'static str,
        /// For example.
        example: &'static str,
    },
    /// A number that cannot be.
    #[error("{what} cannot be {value}; {remedy}")]
    Senseless {
        /// What.
        what: &'static str,
        /// Its value.
        value: String,
        /// What it can be.
        remedy: &'static str,
    },
}
