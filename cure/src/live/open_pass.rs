//! The pass that a probe is in the middle of.
//!
//! A stop cuts it, and it is told then as cut: a print has one verdict. What the probe shows of the same print once
//! readings go on is the rest of that pass, and is not told again.

use inkdwell_config::quantity::Celsius;
use serde::{Deserialize, Serialize};

use super::watch::Found;
use crate::engine::{Event, EventKind};
use crate::sieve::HOTTEST_BELIEVED;

/// A film that is hot so long after a stop is another print's, in seconds: a garment is out of the heat and cool by
/// then. Common practice, no source.
const RIDE_IS_OVER: f64 = 120.0;
/// A heating under a lamp is over so long after a stop, in seconds.
const HEATING_IS_OVER: f64 = 20.0;

/// See the module. Times are in seconds.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct OpenPass {
    /// When it began.
    began: Option<f64>,
    /// Its hottest reading, and when.
    hottest: (f64, f64),
    /// When a pass was cut by a stop, as long as what was cut may go on.
    cut: Option<f64>,
    /// It is the rest of one that was cut.
    is_rest: bool,
}

impl OpenPass {
    pub(super) fn none() -> OpenPass {
        OpenPass {
            began: None,
            hottest: (0.0, f64::NEG_INFINITY),
            cut: None,
            is_rest: false,
        }
    }

    pub(super) fn began(&self) -> Option<f64> {
        self.began
    }

    pub(super) fn is_open(&self) -> bool {
        self.began.is_some()
    }

    /// So long ago its hottest reading was taken.
    pub(super) fn cools_since(&self, time: f64) -> f64 {
        time - self.hottest.0
    }

    /// A reading came; `wake` is where a ride is over, none for a heating under a lamp.
    pub(super) fn read(&mut self, time: f64, celsius: Option<Celsius>, wake: Option<Celsius>) {
        let Some(celsius) = celsius.filter(|celsius| celsius.0 <= HOTTEST_BELIEVED) else {
            return;
        };
        if celsius.0 > self.hottest.1 {
            self.hottest = (time, celsius.0);
        }
        let over = wake.map_or(HEATING_IS_OVER, |_| RIDE_IS_OVER);
        let cool = wake.is_some_and(|wake| celsius.0 < wake.0);
        self.cut = self.cut.filter(|cut| !cool && time - cut <= over);
    }

    /// The trace has ended; `cut` is when its last reading was taken, where that cut a pass that was told.
    pub(super) fn end(&mut self, cut: Option<f64>) {
        self.began = None;
        self.cut = cut;
    }

    /// Notes an event; says whether a pass has ended.
    pub(super) fn note(
        &mut self,
        event: Event,
        batch: Option<u64>,
        found: &mut impl FnMut(Found),
    ) -> bool {
        let ended = match event.kind {
            EventKind::PassStarted { at } => {
                self.began = Some(at.0);
                self.hottest = (at.0, f64::NEG_INFINITY);
                self.is_rest = self.cut.take().is_some();
                if !self.is_rest {
                    found(Found::Started(at.0));
                }
                return false;
            }
            EventKind::PassDropped { start, .. } => Found::Dropped(start.0),
            EventKind::PassJudged(pass) => Found::Ended(pass, batch),
        };
        self.began = None;
        if !std::mem::take(&mut self.is_rest) {
            found(ended);
        }
        true
    }
}
