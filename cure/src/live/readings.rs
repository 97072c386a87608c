//! Where each reading goes.

use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::{Place, SignalKind};

use super::Floor;
use super::event::FloorEvent;
use super::exit::Step as Counted;
use super::looks::Latest;
use super::passes::{mean_speed, nobody_saw};
use super::plan::{InputId, Role};
use super::prints::{Step, UnderEye};
use super::settings::Change;
use super::time::Micros;
use super::watch::{Found, ProbeWatch};

/// What became of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It was used.
    Fed,
    /// The input has been read at this time or later before: it was not used.
    Late,
}

impl Floor {
    /// Takes a reading; `None` where the input said something that is no number.
    pub fn read(
        &mut self,
        input: InputId,
        at: Micros,
        value: Option<f64>,
        events: &mut impl FnMut(FloorEvent),
    ) -> Taken {
        let last = &mut self.state.inputs[input.0].last;
        if at <= *last {
            return Taken::Late;
        }
        *last = at;
        for number in 0..self.plan.inputs[input.0].roles.len() {
            match self.plan.inputs[input.0].roles[number] {
                Role::Junction(probe) => {
                    self.state.probes[probe].junction = value.map(Celsius);
                }
                Role::Temperature(probe) => self.read_probe(probe, at, value, events),
                Role::Signal(signal) => self.read_signal(signal, at, value, events),
            }
        }
        Taken::Fed
    }

    pub(super) fn read_probe(
        &mut self,
        number: usize,
        at: Micros,
        value: Option<f64>,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let planned = &self.plan.probes[number];
        let state = &mut self.state.probes[number];
        // Millivolts whose junction is not known are no temperature.
        let lacks_junction = planned.probe.junction.is_some() && state.junction.is_none();
        let celsius = value
            .filter(|_| !lacks_junction)
            .and_then(|value| planned.meter.celsius(value, state.junction));
        let value = celsius.map(|celsius| celsius.0);
        state.latest = Some(Latest { at, value });
        let (place, station) = (planned.probe.place, planned.station);
        if place == Place::Room {
            self.read_room(number, at, value);
        }
        let Some(station) = station else {
            return;
        };
        match place {
            Place::Cloth => self.read_cloth(number, at, celsius),
            Place::Zone => self.read_zone(station, number, at, celsius, events),
            Place::Exit if self.exit_plans[station].is_some() => {
                self.read_exit(station, number, at, celsius, events);
            }
            Place::Ride | Place::Exit => {
                let time = at.seconds_since(self.state.origin);
                let read = |watch: &mut ProbeWatch, mut found: &mut dyn FnMut(Found)| {
                    watch.read(time, celsius, &mut found);
                };
                self.with_watch(number, read, events);
            }
            Place::Platen | Place::Room => {}
        }
    }

    pub(super) fn read_exit(
        &mut self,
        station: usize,
        number: usize,
        at: Micros,
        celsius: Option<Celsius>,
        events: &mut impl FnMut(FloorEvent),
    ) {
        if self.rides.is_empty() {
            return;
        }
        let id = &self.plan.probes[number].probe.id;
        let celsius = celsius.map_or(f64::NAN, |celsius| celsius.0);
        self.state.exits[station].1.read_exit(id, at, celsius);
        self.look_at_exit(station, false, events);
    }

    /// A room's probe is of one station or, where it declares none, of all.
    fn read_room(&mut self, number: usize, at: Micros, celsius: Option<f64>) {
        let planned = &self.plan.probes[number];
        let celsius = celsius.unwrap_or(f64::NAN);
        for (station, (_, watch)) in self.state.exits.iter_mut().enumerate() {
            if planned.station.is_none_or(|own| own == station) {
                watch.read_room(&planned.probe.id, at, celsius);
            }
        }
    }

    pub(super) fn read_cloth(&mut self, number: usize, at: Micros, celsius: Option<Celsius>) {
        let time = at.seconds_since(self.state.origin);
        let station = self.plan.probes[number].station;
        let id = &self.plan.probes[number].probe.id;
        for (planned, state) in self.plan.probes.iter().zip(&mut self.state.probes) {
            if planned.station == station
                && let Some(watch) = &mut state.watch
            {
                watch.read_cloth(id, time, celsius);
            }
        }
    }

    pub(super) fn read_zone(
        &mut self,
        station: usize,
        number: usize,
        at: Micros,
        celsius: Option<Celsius>,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let id = &self.plan.probes[number].probe.id;
        let state = &mut self.state.stations[station];
        if let (Some(celsius), Some(kept)) = (celsius, &mut state.kept) {
            let change = kept.zone(id, celsius);
            tell_change(&state.id, kept.recipe(), change, at, events);
        }
    }

    pub(super) fn read_signal(
        &mut self,
        number: usize,
        at: Micros,
        value: Option<f64>,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let planned = &self.plan.signals[number];
        let (kind, station) = (planned.signal.kind, planned.station);
        let value = value.map(|value| match kind {
            SignalKind::Belt { metres_per_second } => value * metres_per_second,
            SignalKind::Count { .. } | SignalKind::Exhaust { .. } => value,
        });
        self.state.signals[number].1 = Some(Latest { at, value });
        let Some(value) = value.filter(|value| value.is_finite()) else {
            return;
        };
        match kind {
            SignalKind::Belt { .. } => self.read_belt(station, at, value, events),
            SignalKind::Count { distance } => {
                let behind = distance.map_or(0.0, |distance| distance.0);
                self.read_count(station, at, value, behind, events);
            }
            SignalKind::Exhaust { .. } => {}
        }
    }

    pub(super) fn read_belt(
        &mut self,
        station: usize,
        at: Micros,
        speed: f64,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let time = at.seconds_since(self.state.origin);
        if !self.rides.is_empty() {
            self.state.exits[station].1.read_belt(at, speed);
        }
        let state = &mut self.state.stations[station];
        state.belt.read(time, speed);
        if let Some(kept) = &mut state.kept {
            let change = kept.belt(speed);
            tell_change(&state.id, kept.recipe(), change, at, events);
        }
        if !self.rides.is_empty() {
            self.look_at_exit(station, false, events);
        }
    }

    pub(super) fn read_count(
        &mut self,
        station: usize,
        at: Micros,
        shown: f64,
        behind: f64,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let time = at.seconds_since(self.state.origin);
        let declared = &self.plan.stations[station];
        let state = &mut self.state.stations[station];
        let way = state.belt.way(time) - declared.heated_length.0 - behind;
        let entered = state.belt.when(way).min(time);
        let eye = UnderEye {
            at,
            way,
            began: state.belt.when(way + state.prints.lag()).min(time),
            belt: mean_speed(&state.belt, entered, time),
        };
        let pitch = declared.print_pitch.map(|pitch| pitch.0);
        let mut unseen = Vec::new();
        state
            .prints
            .counted(shown, eye, pitch, &mut |step| unseen.push(step));
        for step in unseen {
            self.nobody_rode(station, step, events);
        }
        if !self.rides.is_empty() {
            self.state.exits[station].1.read_count(at, shown);
            self.look_at_exit(station, false, events);
        }
    }

    /// A print was counted that no probe in its ink saw. An exit probe may see it still.
    pub(super) fn nobody_rode(
        &mut self,
        station: usize,
        step: Step,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let exits = &self.state.exits[station].1;
        let exit_plan = self.exit_plans[station].as_ref();
        let batch = step.batch;
        let awaits = |plan| batch.is_some_and(|batch| exits.awaits(batch, plan, &self.rides));
        if exit_plan.is_some_and(awaits) {
            let time = step.at.seconds_since(self.state.origin);
            let counted = Counted {
                time,
                batch,
                print: step.print,
            };
            self.state.exits[station].1.counted(counted);
            return;
        }
        let id = &self.plan.stations[station].id;
        events(FloorEvent::PassEnded(Box::new(nobody_saw(id, step))));
    }
}

pub(super) fn tell_change(
    station: &str,
    recipe: u64,
    change: Option<Change>,
    at: Micros,
    events: &mut impl FnMut(FloorEvent),
) {
    let station = station.to_owned();
    match change {
        Some(Change::Left(what)) => events(FloorEvent::RecipeLeft {
            station,
            recipe,
            what,
            at,
        }),
        Some(Change::Met) => events(FloorEvent::RecipeMet {
            station,
            recipe,
            at,
        }),
        None => {}
    }
}
