//! Prints without a batch, and ink past its pot life.

use inkdwell_config::quantity::Seconds;
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::live::Micros;

/// Nothing has passed without a batch for so long, in seconds: then nothing does.
const OVER_AFTER: f64 = 600.0;

/// The batches of a station.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Batches {
    passed: Option<Micros>,
    none_open: Edge,
    old_ink: Edge,
}

impl Batches {
    /// A print has passed without one.
    pub(in crate::alarm) fn passed_without(&mut self, at: Micros, said: &mut Said) {
        self.passed = Some(at);
        self.none_open
            .again(Kind::NoBatchOpen, said, Cause::NoBatch);
    }

    /// One was opened.
    pub(in crate::alarm) fn opened(&mut self, said: &mut Said) {
        self.none_open.clear(Kind::NoBatchOpen, said);
    }

    /// One was closed.
    pub(in crate::alarm) fn closed(&mut self, said: &mut Said) {
        self.old_ink.clear(Kind::InkPastPotLife, said);
    }

    /// Time goes on. The ink's age and how old it may be, where both are known.
    pub(in crate::alarm) fn tick(&mut self, at: Micros, ink: Option<(f64, f64)>, said: &mut Said) {
        if self
            .passed
            .is_some_and(|passed| at.seconds_since(passed) >= OVER_AFTER)
        {
            self.none_open.clear(Kind::NoBatchOpen, said);
        }
        let old = ink.filter(|(age, limit)| age > limit);
        self.old_ink
            .set(old.is_some(), Kind::InkPastPotLife, said, || {
                let (age, limit) = old.unwrap_or_default();
                Cause::PotLife {
                    age: Seconds(age),
                    limit: Seconds(limit),
                }
            });
    }
}
