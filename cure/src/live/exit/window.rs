//! What was read while a print went to the exit probes, cut out of the day: all that its verdict needs.

use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use super::plan::ExitPlan;
use super::ride::{RecipeExit, RecipeRide};
use crate::exit::run::{NOTED_DOUBT, Run};
use crate::exit::way::Way;
use crate::remark::Remark;

/// The room where no probe tells it.
const USUAL_ROOM: Celsius = Celsius(22.0);

/// Readings of one station over some metres of its belt. Times are in seconds of one clock, what is no number
/// is NaN.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// By the ride's exit probes; `None` for one that is declared otherwise by now.
    pub(super) exits: Vec<Option<Vec<(f64, f64)>>>,
    /// The belt's signal, in m/s.
    pub(super) speeds: Vec<(f64, f64)>,
    /// The print counter, where there is one.
    pub(super) count: Option<Vec<(f64, f64)>>,
    /// The belt's speed where no signal tells it, in m/s.
    pub(super) nominal: f64,
    /// Whether the station declares a belt signal.
    pub(super) belt_declared: bool,
    /// How far before the nearest probe the counter's eye sits, in metres.
    pub(super) eye: Option<f64>,
    /// From print to print, in metres.
    pub(super) pitch: Option<f64>,
    /// The room.
    pub(super) room: Option<f64>,
    /// Samples further apart are a gap, in seconds.
    pub(super) max_gap: f64,
    /// From when to when the print passed the nearest probe.
    pub(super) object: (f64, f64),
    /// Whether the readings begin or end inside it.
    pub(super) cut: bool,
    /// How old the last ride is and how old it may be, where it is too old.
    pub(super) too_old: Option<(Seconds, Seconds)>,
}

impl Window {
    /// A window without readings, as a ride and a station have it; `None` where the nearest probe is not declared
    /// any more as it was when the ride was made.
    pub(super) fn without_readings(ride: &RecipeRide, plan: &ExitPlan) -> Option<Window> {
        let nearest = ride.exits.first()?;
        let same = |exit: &RecipeExit| {
            plan.exits.iter().any(|own| {
                own.probe == exit.probe && own.distance == exit.distance && own.spot == exit.spot
            })
        };
        let exits = ride.exits.iter().map(|exit| same(exit).then(Vec::new));
        let nominal = plan.station.belt.filter(|_| !plan.belt_declared);
        same(nearest).then(|| Window {
            exits: exits.collect(),
            nominal: nominal.unwrap_or(ride.belt).0,
            belt_declared: plan.belt_declared,
            eye: plan.eye.map(|eye| nearest.distance.0 - eye),
            pitch: plan.pitch(),
            max_gap: plan.max_gap.0,
            ..Window::default()
        })
    }

    /// The room, told by a probe or taken as usual.
    pub(super) fn room(&self) -> Celsius {
        self.room.map_or(USUAL_ROOM, Celsius)
    }

    /// The window as a run that was recorded; `remarks` are what every print is told.
    pub(super) fn run(&self, mut remarks: Vec<Remark>) -> Run<'_> {
        let measured = Way::measured(&self.speeds, self.max_gap);
        if measured.is_none() && !self.belt_declared {
            remarks.push(Remark::BeltOnlyNoted {
                per_cent: 100.0 * NOTED_DOUBT.0,
            });
        }
        if self.room.is_none() {
            remarks.push(Remark::RoomAssumed { room: USUAL_ROOM });
        }
        Run {
            exits: self.exits.iter().map(Option::as_deref).collect(),
            way: measured.unwrap_or_else(|| Way::steady(self.nominal)),
            belt_declared: self.belt_declared,
            count: self.count.as_deref(),
            eye: self.eye,
            pitch: self.pitch,
            max_gap: Seconds(self.max_gap),
            remarks,
        }
    }
}
