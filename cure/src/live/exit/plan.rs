//! What a station declares for exit evidence.

use inkdwell_config::quantity::{Metres, Seconds};
use inkdwell_config::shop::{Place, SignalKind};
use inkdwell_config::station::{Station, StationKind};

use super::super::plan::FloorPlan;
use crate::plan::DEFAULT_MAX_GAP;

/// An exit probe as the shop file declares it.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct PlannedExit {
    pub(super) probe: String,
    pub(super) distance: Metres,
    pub(super) spot: Metres,
}

/// A belt dryer with exit probes.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct ExitPlan {
    pub(super) station: Station,
    pub(super) exits: Vec<PlannedExit>,
    /// Probes of its room, by id, the first that shows something being believed.
    pub(super) rooms: Vec<String>,
    pub(super) belt_declared: bool,
    pub(super) counted: bool,
    /// From the end of the heated length to the counter's eye, where that is declared, in metres.
    pub(super) eye: Option<f64>,
    pub(super) max_gap: Seconds,
}

impl ExitPlan {
    /// Of a station, by number; `None` for one that no exit probe looks at.
    pub(in super::super) fn of(plan: &FloorPlan, number: usize) -> Option<ExitPlan> {
        let station = plan.stations.get(number)?;
        if station.kind != StationKind::BeltDryer {
            return None;
        }
        let here = plan.probes.iter().filter(|planned| {
            planned.station == Some(number) && planned.probe.place == Place::Exit
        });
        let exits: Vec<PlannedExit> = here
            .filter_map(|planned| {
                Some(PlannedExit {
                    probe: planned.probe.id.clone(),
                    distance: planned.probe.distance?,
                    spot: planned.probe.spot?,
                })
            })
            .collect();
        let rooms = plan.probes.iter().filter(|planned| {
            let elsewhere = planned.station.is_some_and(|own| own != number);
            planned.probe.place == Place::Room && !elsewhere
        });
        let rooms = rooms.map(|planned| planned.probe.id.clone());
        let signals = plan.signals.iter();
        let signals = signals.filter(|planned| planned.station == number);
        let kinds: Vec<SignalKind> = signals.map(|planned| planned.signal.kind).collect();
        let is_belt = |kind: &SignalKind| matches!(kind, SignalKind::Belt { .. });
        let is_count = |kind: &SignalKind| matches!(kind, SignalKind::Count { .. });
        let eye = kinds.iter().find_map(|kind| match kind {
            SignalKind::Count { distance } => distance.map(|distance| distance.0),
            _ => None,
        });
        (!exits.is_empty()).then(|| ExitPlan {
            exits,
            rooms: rooms.collect(),
            belt_declared: kinds.iter().any(is_belt),
            counted: kinds.iter().any(is_count),
            eye,
            max_gap: station.max_gap.unwrap_or(DEFAULT_MAX_GAP),
            station: station.clone(),
        })
    }

    /// From print to print, in metres.
    pub(super) fn pitch(&self) -> Option<f64> {
        self.station.print_pitch.map(|pitch| pitch.0)
    }
}
