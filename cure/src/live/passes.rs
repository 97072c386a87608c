//! What the probes in the ink have found, as events.

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_config::shop::SignalKind;
use inkdwell_config::station::StationKind;

use super::Floor;
use super::belt::Belt;
use super::event::{FloorEvent, SeenBy, SeenPass};
use super::prints::Step;
use super::time::Micros;
use super::watch::{Found, ProbeWatch};
use crate::judged::JudgedPass;

impl Floor {
    /// Does something with a probe's watch, where it has one, and tells what was found.
    pub(super) fn with_watch(
        &mut self,
        number: usize,
        act: impl FnOnce(&mut ProbeWatch, &mut dyn FnMut(Found)),
        events: &mut impl FnMut(FloorEvent),
    ) {
        let (Some(station), Some(watch)) = (
            self.plan.probes[number].station,
            &mut self.state.probes[number].watch,
        ) else {
            return;
        };
        let mut found = Vec::new();
        act(watch, &mut |now| found.push(now));
        if !found.is_empty() {
            let id = self.state.probes[number].id.clone();
            self.tell(station, &id, found, events);
        }
    }

    /// Makes events of what a probe's engine found.
    pub(super) fn tell(
        &mut self,
        station: usize,
        probe: &str,
        found: Vec<Found>,
        events: &mut impl FnMut(FloorEvent),
    ) {
        for found in found {
            match found {
                Found::Started(began) => {
                    let at = &mut self.state.stations[station];
                    at.prints.ride(began, at.belt.way(began));
                    let batch = at.batch.as_ref().map(|batch| batch.number);
                    self.state.exits[station].1.ride(began, batch);
                    events(FloorEvent::PassStarted {
                        station: self.plan.stations[station].id.clone(),
                        probe: probe.to_owned(),
                        at: self.moment(began),
                    });
                }
                Found::Dropped(began) => {
                    let at = &mut self.state.stations[station];
                    let counted = at.prints.no_ride(began);
                    self.state.exits[station].1.no_ride(began);
                    if let Some(step) = counted {
                        self.nobody_rode(station, step, events);
                    }
                    events(FloorEvent::PassDropped {
                        station: self.plan.stations[station].id.clone(),
                        probe: probe.to_owned(),
                        at: self.moment(began),
                    });
                }
                Found::Ended(pass, batch) => {
                    let pass = self.ended(station, probe, *pass, batch);
                    events(FloorEvent::PassEnded(Box::new(pass)));
                }
            }
        }
    }

    pub(super) fn ended(
        &mut self,
        station: usize,
        probe: &str,
        mut pass: JudgedPass,
        batch: Option<u64>,
    ) -> SeenPass {
        let declared = &self.plan.stations[station];
        let is_belt = declared.kind == StationKind::BeltDryer;
        let counts = |kind: &SignalKind| matches!(kind, SignalKind::Count { .. });
        let has_counter = is_belt && self.plan.has_signal(station, counts);
        let (id, length) = (declared.id.clone(), declared.heated_length.0);
        let (start, end) = (pass.start.0, pass.end.0);
        let at = &mut self.state.stations[station];
        let print = at.prints.number(start, batch, has_counter);
        let out = at.belt.when(at.belt.way(start) + length).min(end);
        let belt = is_belt.then(|| mean_speed(&at.belt, start, out)).flatten();
        // Seconds from the start of the pass: whoever reads it does not know this floor's origin.
        (pass.start.0, pass.end.0) = (0.0, end - start);
        if pass.verdict.is_good() && batch.is_some() && is_belt {
            self.note_ridden(station, batch, end);
        }
        SeenPass {
            station: id,
            probe: Some(probe.to_owned()),
            by: if is_belt { SeenBy::Ride } else { SeenBy::Flash },
            start: self.moment(start),
            end: self.moment(end),
            batch,
            print,
            belt,
            peak: Some(pass.peak),
            judged: batch.map(|_| Box::new(pass)),
        }
    }

    pub(super) fn moment(&self, time: f64) -> Micros {
        self.state.origin.plus_seconds(time)
    }
}

/// The mean speed of a belt over a stretch of time; `None` where it stood still or nobody knows.
pub(super) fn mean_speed(belt: &Belt, from: f64, to: f64) -> Option<MetresPerSecond> {
    let speed = if to > from {
        (belt.way(to) - belt.way(from)) / (to - from)
    } else {
        belt.speed(to)
    };
    (speed > 0.0).then_some(MetresPerSecond(speed))
}

/// A print that was counted, and that no probe saw.
pub(super) fn nobody_saw(station: &str, step: Step) -> SeenPass {
    SeenPass {
        station: station.to_owned(),
        probe: None,
        by: SeenBy::Counter,
        start: step.at,
        end: step.at,
        batch: step.batch,
        print: step.print,
        belt: step.belt,
        judged: None,
        peak: None,
    }
}
