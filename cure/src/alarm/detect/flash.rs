//! A flash unit that is lit while nothing moves under it.

use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::live::Micros;

/// A unit that was lit is dark once it is this much cooler, in °C.
const DARK: f64 = 15.0;

/// The lamp of a station.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Lamp {
    lit: Edge,
    moved: Option<Micros>,
    now: f64,
    idle: Edge,
}

impl Lamp {
    /// Whether it is lit, as far as its probes tell.
    pub(in crate::alarm) fn is_lit(&self) -> bool {
        self.lit.holds()
    }

    /// Something has moved under it: a print came, or was counted.
    pub(in crate::alarm) fn moved(&mut self, at: Micros, said: &mut Said) {
        self.moved = Some(at);
        self.idle.clear(Kind::FlashLitIdle, said);
    }

    /// One of its probes shows a temperature.
    pub(in crate::alarm) fn read(
        &mut self,
        at: Micros,
        celsius: f64,
        lit_from: f64,
        said: &mut Said,
    ) {
        self.now = celsius;
        let from = if self.lit.holds() {
            lit_from - DARK
        } else {
            lit_from
        };
        let lit = celsius >= from;
        if lit && !self.lit.holds() {
            self.moved = Some(at);
        }
        if lit != self.lit.holds() {
            self.lit = match lit {
                true => Edge(true),
                false => Edge::default(),
            };
        }
        if !lit {
            self.idle.clear(Kind::FlashLitIdle, said);
        }
    }

    /// Time goes on.
    pub(in crate::alarm) fn tick(&mut self, at: Micros, idle_for: f64, said: &mut Said) {
        let since = self.moved.map_or(0.0, |moved| at.seconds_since(moved));
        if self.lit.holds() && since >= idle_for {
            let now = self.now;
            self.idle
                .set(true, Kind::FlashLitIdle, said, || Cause::Idle {
                    lasting: Seconds(since),
                    now: Celsius(now),
                });
        }
    }
}
