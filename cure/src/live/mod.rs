//! A whole shop, live: readings of all its inputs and ticks of time in, what happened out.
//!
//! [`Floor`] routes each reading to what it concerns: a probe in the ink of a print, the belt, the counter,
//! a zone. It knows which batch is open at which station, so that a pass is judged by the laws that held
//! when it began; numbers the prints; and says when a station leaves its recipe.
//!
//! Like the [`engine`](crate::engine) inside it reads no clock: the same readings, batches and ticks in the
//! same order give the same events. [`Floor::saved`] and [`Floor::restored`] put it away and take it up
//! again in the middle of a pass.

mod batches;
mod belt;
mod event;
pub mod exit;
mod looks;
mod open_pass;
mod passes;
mod plan;
mod prints;
mod readings;
mod saved;
mod settings;
mod time;
mod watch;

use std::collections::BTreeMap;

use inkdwell_config::shop::{Calibration, Shop};

use exit::{ExitPlan, Rides};
use plan::FloorPlan;
use watch::{Found, ProbeWatch};

pub use event::{Departure, FloorEvent, PrintLeft, SeenBy, SeenPass};
pub use looks::{Latest, Shows};
pub use plan::{BatchLaws, BatchPlan, InputId, LockedSettings};
pub use readings::Taken;
pub use saved::Saved;
pub use time::Micros;

/// A whole shop, live.
#[derive(Debug)]
pub struct Floor {
    plan: FloorPlan,
    state: Saved,
    /// By station.
    exit_plans: Vec<Option<ExitPlan>>,
    /// Not put away: whoever keeps the recipes gives them again.
    rides: Rides,
}

impl Floor {
    /// The floor of a shop, nothing seen yet.
    pub fn new(shop: &Shop, at: Micros) -> Floor {
        let empty = Saved {
            origin: at,
            inputs: Vec::new(),
            stations: Vec::new(),
            probes: Vec::new(),
            signals: Vec::new(),
            exits: Vec::new(),
            ticked: at,
            ridden: BTreeMap::new(),
        };
        Floor::restored(shop, empty, &mut |_| ())
    }

    /// A probe was calibrated: its readings are corrected by these points from now on.
    ///
    /// Its doubt changes with its next batch, since a pass is judged by what held when it began.
    pub fn calibrate(&mut self, probe: &str, calibration: &Calibration) {
        for planned in &mut self.plan.probes {
            if planned.probe.id == probe {
                planned.meter.calibrate(calibration);
                planned.probe.calibration = Some(calibration.clone());
            }
        }
    }

    /// Time goes on though nothing is read.
    pub fn tick(&mut self, at: Micros, events: &mut impl FnMut(FloorEvent)) {
        let time = at.seconds_since(self.state.origin);
        for number in 0..self.plan.probes.len() {
            let tick = |watch: &mut ProbeWatch, mut found: &mut dyn FnMut(Found)| {
                watch.tick(time, &mut found);
            };
            self.with_watch(number, tick, events);
        }
        self.state.ticked = at;
        for station in 0..self.plan.stations.len() {
            if self.state.exits[station].1.tick(at) {
                self.look_at_exit(station, true, events);
            }
        }
    }

    /// All traces end here: open passes are judged as cut.
    pub fn finish(&mut self, events: &mut impl FnMut(FloorEvent)) {
        for number in 0..self.plan.probes.len() {
            let finish = |watch: &mut ProbeWatch, mut found: &mut dyn FnMut(Found)| {
                watch.finish(&mut found);
            };
            self.with_watch(number, finish, events);
        }
        for station in 0..self.plan.stations.len() {
            self.look_at_exit(station, true, events);
        }
    }
}
