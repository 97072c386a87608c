//! The zones of a chamber, one beside the other.

use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::statistics::median::median;

/// Whether one zone is out of line.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct InLine {
    edge: Edge,
}

impl InLine {
    /// Compares a zone with its neighbours. `off` is by how much it is above its set temperature, `others` the
    /// same of those neighbours with which nothing else is wrong.
    pub(in crate::alarm) fn compare(
        &mut self,
        (now, off): (f64, f64),
        others: &mut [f64],
        apart: f64,
        said: &mut Said,
    ) {
        let by = median(others).map(|median| off - median);
        let share = if self.edge.holds() { 0.6 } else { 1.0 };
        let out = by.filter(|by| by.abs() > apart * share);
        self.edge.set(out.is_some(), Kind::ZoneOutOfLine, said, || {
            Cause::OutOfLine {
                by: CelsiusDifference(out.unwrap_or_default()),
                now: Celsius(now),
            }
        });
    }

    /// There is nothing to compare.
    pub(in crate::alarm) fn rests(&mut self, said: &mut Said) {
        self.edge.clear(Kind::ZoneOutOfLine, said);
    }
}
