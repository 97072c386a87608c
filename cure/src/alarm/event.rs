//! What can happen to an alarm.

use inkdwell_config::shop::Priority;
use serde::{Deserialize, Serialize};

use super::cause::Cause;
use super::kind::AlarmId;
use super::life::State;
use crate::live::Micros;

/// What has happened to an alarm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case")]
pub enum Change {
    /// Its condition holds.
    Raised,
    /// Its condition has come so many times while the alarm stood.
    Counted,
    /// Its condition holds no more.
    Returned,
    /// Somebody has seen it.
    Acknowledged {
        /// Who.
        by: String,
        /// What they say to it.
        why: String,
    },
    /// Somebody has looked, and lets a latched alarm go.
    Reset {
        /// Who.
        by: String,
        /// What they say to it.
        why: String,
    },
    /// Somebody has put it aside.
    Shelved {
        /// Until when.
        until: Micros,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Somebody has taken it off the shelf.
    Unshelved {
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Its time on the shelf is over.
    ShelfEnded,
    /// Its station is off: it means nothing now.
    Suppressed,
    /// Its station is on.
    Unsuppressed,
    /// Somebody has taken it out of service.
    TakenOut {
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Somebody has put it back.
    PutBack {
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// What it is of is not declared any more.
    Withdrawn,
}

impl Change {
    /// The word that contracts and screens use.
    pub fn name(&self) -> &'static str {
        match self {
            Change::Raised => "raised",
            Change::Counted => "counted",
            Change::Returned => "returned",
            Change::Acknowledged { .. } => "acknowledged",
            Change::Reset { .. } => "reset",
            Change::Shelved { .. } => "shelved",
            Change::Unshelved { .. } => "unshelved",
            Change::ShelfEnded => "shelf-ended",
            Change::Suppressed => "suppressed",
            Change::Unsuppressed => "unsuppressed",
            Change::TakenOut { .. } => "taken-out",
            Change::PutBack { .. } => "put-back",
            Change::Withdrawn => "withdrawn",
        }
    }

    /// Who did it, and why, where a person did.
    pub fn said(&self) -> Option<(&str, &str)> {
        match self {
            Change::Acknowledged { by, why }
            | Change::Reset { by, why }
            | Change::Shelved { by, why, .. }
            | Change::Unshelved { by, why }
            | Change::TakenOut { by, why }
            | Change::PutBack { by, why } => Some((by, why)),
            _ => None,
        }
    }
}

/// One transition of one alarm.
#[derive(Debug, Clone, PartialEq)]
pub struct AlarmEvent {
    /// Which alarm.
    pub id: AlarmId,
    /// Its station, where it has one.
    pub station: Option<String>,
    /// When.
    pub at: Micros,
    /// What happened.
    pub change: Change,
    /// The state before.
    pub from: State,
    /// The state now.
    pub state: State,
    /// How much it matters.
    pub priority: Priority,
    /// How many times its condition has come since the alarm was last normal.
    pub count: u64,
    /// Why it holds or held.
    pub cause: Option<Cause>,
    /// The alarm of the same group that was first and is not over; `None` where this is the first.
    pub follows: Option<AlarmId>,
    /// Whether people are to be told of it: not what is silenced, what merely follows a broken wire, and what
    /// a flood would drown them in. Everything is recorded either way.
    pub announce: bool,
    /// Whether it is a test.
    pub drill: bool,
}
