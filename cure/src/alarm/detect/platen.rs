//! A platen that is too hot.

use inkdwell_config::quantity::Celsius;
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;

/// One that was too hot is back this far below its limit, in °C.
const BACK: f64 = 3.0;

/// One platen.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Platen {
    hot: Edge,
}

impl Platen {
    /// Its probe shows a temperature.
    pub(in crate::alarm) fn read(&mut self, celsius: f64, limit: f64, said: &mut Said) {
        let held = if self.hot.holds() { BACK } else { 0.0 };
        let hot = celsius > limit - held;
        self.hot
            .set(hot, Kind::PlatenOverheating, said, || Cause::Above {
                now: Celsius(celsius),
                limit: Celsius(limit),
            });
    }
}
