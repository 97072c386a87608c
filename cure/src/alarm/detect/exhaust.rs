//! An exhaust that is not proved while an ink that needs it is printed.

use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::live::Micros;

/// A signal that has been silent for so long proves nothing, in seconds.
const SILENT: f64 = 30.0;

/// The exhaust of a station.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Exhaust {
    /// When its signal was heard last, and whether that proves it.
    heard: Option<(Micros, Option<f64>)>,
    missing: Edge,
}

impl Exhaust {
    /// Its signal says something.
    pub(in crate::alarm) fn read(&mut self, at: Micros, value: Option<f64>) {
        self.heard = Some((at, value.filter(|value| value.is_finite())));
    }

    /// Time goes on, or the ink has changed.
    pub(in crate::alarm) fn look(
        &mut self,
        at: Micros,
        (needed, proved_from): (bool, f64),
        said: &mut Said,
    ) {
        let heard = self
            .heard
            .filter(|(heard, _)| at.seconds_since(*heard) <= SILENT);
        let now = heard.and_then(|(_, value)| value);
        let proved = now.is_some_and(|value| value >= proved_from);
        self.missing
            .set(needed && !proved, Kind::ExhaustNotProved, said, || {
                Cause::Exhaust { now, proved_from }
            });
    }
}
