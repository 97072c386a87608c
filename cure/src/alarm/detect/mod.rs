//! What raises alarms: one file for each kind of thing that is watched.
//!
//! A detector takes what concerns it and says when a condition begins and ends, with its figures. It says
//! nothing twice; delays, counts and who is told are the register's.

pub(super) mod batch;
pub(super) mod belt;
pub(super) mod chamber;
pub(super) mod chart;
pub(super) mod drift;
pub(super) mod exhaust;
pub(super) mod flash;
pub(super) mod notice;
pub(super) mod platen;
pub(super) mod print;
pub(super) mod probe;
pub(super) mod recipe;
pub(super) mod stacking;
pub(super) mod zones;

use serde::{Deserialize, Serialize};

use super::cause::Cause;
use super::kind::Kind;
use super::register::Says;

/// What detectors have said of one thing.
pub(super) type Said = Vec<(Kind, Says)>;

/// Whether a condition holds: it is told when that changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Edge(bool);

impl Edge {
    pub(super) fn holds(self) -> bool {
        self.0
    }

    /// Tells of a change.
    pub(super) fn set(
        &mut self,
        holds: bool,
        kind: Kind,
        said: &mut Said,
        cause: impl FnOnce() -> Cause,
    ) {
        if holds == self.0 {
            return;
        }
        self.0 = holds;
        let says = if holds { Says::On(cause()) } else { Says::Off };
        said.push((kind, says));
    }

    /// It holds no more.
    pub(super) fn clear(&mut self, kind: Kind, said: &mut Said) {
        if std::mem::take(&mut self.0) {
            said.push((kind, Says::Off));
        }
    }

    /// It has come, perhaps once more.
    pub(super) fn again(&mut self, kind: Kind, said: &mut Said, cause: Cause) {
        let before = std::mem::replace(&mut self.0, true);
        let says = match before {
            true => Says::Again(cause),
            false => Says::On(cause),
        };
        said.push((kind, says));
    }
}
