//! Prints that leave too hot to be stacked on a fabric that migrates.

use inkdwell_config::quantity::Celsius;
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;

/// They are cool again this far below the limit, in °C.
const BACK: f64 = 5.0;

/// What one exit probe sees leave.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Stacking {
    hot: Edge,
}

impl Stacking {
    /// The probe shows a temperature; there is a limit only while a fabric that migrates is printed.
    pub(in crate::alarm) fn read(&mut self, celsius: f64, limit: Option<f64>, said: &mut Said) {
        let held = if self.hot.holds() { BACK } else { 0.0 };
        let hot = limit.filter(|limit| celsius > limit - held);
        self.hot
            .set(hot.is_some(), Kind::TooHotToStack, said, || Cause::Above {
                now: Celsius(celsius),
                limit: Celsius(hot.unwrap_or(celsius)),
            });
    }
}
