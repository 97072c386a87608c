//! A whole shop, live: readings of all its inputs and ticks of time in, what happened out.
//!
//! [`Floor`] routes each reading to what it concerns: a probe in the ink of a print, the belt, the counter,
//! a zone. It knows which batch is open at which station, so that a pass is judged by the laws that held
//! when it began; numbers the prints; and says when a station leaves its recipe.
//!
//! Like the [`engine`](crate::engine) inside it reads no clock: the same readings, batches and ticks in the
//! same order give the same events. [`Floor::saved`] and [`Floor::restored`] put it away and take it up
//! again in the middle of a pass.

mod belt;
mod event;
pub mod exit;
mod plan;
mod prints;
mod settings;
mod time;
mod watch;

use std::collections::BTreeMap;

use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::shop::{Calibration, Place, Probe, Shop, SignalKind};
use inkdwell_config::station::{Station, StationKind};
use serde::{Deserialize, Serialize};

use belt::Belt;
use exit::{ExitPlan, ExitWatch, Rides, Step as Counted};
use plan::{FloorPlan, Role};
use prints::{Prints, Step, UnderEye};
use settings::{Change, Kept};
use watch::{Found, ProbeWatch};

pub use event::{Departure, FloorEvent, PrintLeft, SeenBy, SeenPass};
pub use plan::{BatchLaws, BatchPlan, InputId, LockedSettings};
pub use time::Micros;

use crate::judged::JudgedPass;
use crate::law::{Counts, Rate};
use crate::plan::{PrintLaws, ProbeDoubt};

/// What became of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It was used.
    Fed,
    /// The input has been read at this time or later before: it was not used.
    Late,
}

/// What an input said last.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Latest {
    /// When.
    pub at: Micros,
    /// What: °C of a probe, m/s of a belt, else the signal's own number; `None` where it was no number.
    pub value: Option<f64>,
}

/// What an input shows now, and of what: probes and signals by their numbers in the shop file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shows {
    /// A probe.
    Probe(usize, Option<Latest>),
    /// A signal.
    Signal(usize, Option<Latest>),
}

/// A station's state.
#[derive(Debug, Serialize, Deserialize)]
struct AtStation {
    id: String,
    /// How it was declared.
    declared: String,
    belt: Belt,
    prints: Prints,
    batch: Option<BatchPlan>,
    kept: Option<Kept>,
}

/// A probe's state.
#[derive(Debug, Default, Serialize, Deserialize)]
struct AtProbe {
    id: String,
    /// How it, its station and what lies beside it were declared.
    declared: String,
    /// What its reference junction's temperature is.
    junction: Option<Celsius>,
    latest: Option<Latest>,
    /// Where it judges passes.
    watch: Option<ProbeWatch>,
}

/// When an input was read last.
#[derive(Debug, Serialize, Deserialize)]
struct AtInput {
    source: String,
    channel: String,
    last: Micros,
}

/// Everything of a [`Floor`] that changes, to be serialised by whoever keeps it. Its form is of one version.
///
/// Stations, probes, inputs and signals stand in the order of the shop's plan.
#[derive(Debug, Serialize, Deserialize)]
pub struct Saved {
    /// Where the seconds inside count from.
    origin: Micros,
    inputs: Vec<AtInput>,
    stations: Vec<AtStation>,
    probes: Vec<AtProbe>,
    /// What each signal said last, with its id.
    signals: Vec<(String, Option<Latest>)>,
    /// What exit probes saw, by station.
    exits: Vec<(String, ExitWatch)>,
    /// The last tick.
    ticked: Micros,
    /// When each recipe was ridden last since it was locked, and found good.
    ridden: BTreeMap<u64, Micros>,
}

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

/// Laws that nothing is ever held against: no batch is open, so nobody knows what a print needs.
fn no_laws() -> BatchLaws {
    let never = inkdwell_config::law::Law::Hold {
        at: Celsius(crate::sieve::HOTTEST_BELIEVED),
        duration: inkdwell_config::quantity::Seconds(1.0),
    };
    BatchLaws {
        laws: PrintLaws {
            threshold: Celsius(crate::sieve::HOTTEST_BELIEVED),
            cure: Rate::new(&never, Counts::Cure),
            gel: None,
            harms: Vec::new(),
        },
        last_heat: false,
    }
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

    /// Takes up a floor that was put away, for a shop that is perhaps declared otherwise by now: what was
    /// changed or is gone is given up, its open passes judged as cut; what was not goes on as if nothing had
    /// happened.
    pub fn restored(shop: &Shop, saved: Saved, events: &mut impl FnMut(FloorEvent)) -> Floor {
        let plan = FloorPlan::new(shop);
        let (mut inputs, mut stations) = (saved.inputs, saved.stations);
        let (mut probes, mut signals) = (saved.probes, saved.signals);
        let inputs = plan.inputs.iter().map(|input| {
            let same = |at: &AtInput| at.source == input.source && at.channel == input.channel;
            taken(&mut inputs, same).unwrap_or_else(|| AtInput {
                source: input.source.clone(),
                channel: input.channel.clone(),
                last: Micros(i64::MIN),
            })
        });
        let (inputs, stations) = (
            inputs.collect(),
            plan.stations
                .iter()
                .map(|station| at_station(station, &mut stations))
                .collect(),
        );
        let signals = plan.signals.iter().map(|planned| {
            let id = &planned.signal.id;
            let before = taken(&mut signals, |(own, _)| own == id);
            before.unwrap_or_else(|| (id.clone(), None))
        });
        let signals = signals.collect();
        let numbers = 0..plan.stations.len();
        let exit_plans: Vec<Option<ExitPlan>> =
            numbers.map(|number| ExitPlan::of(&plan, number)).collect();
        let mut before = saved.exits;
        let exits = plan.stations.iter().map(|station| {
            let watch = taken(&mut before, |(own, _)| *own == station.id);
            watch.unwrap_or_else(|| (station.id.clone(), ExitWatch::default()))
        });
        let exits = exits.collect();
        let mut floor = Floor {
            exit_plans,
            rides: Rides::new(),
            plan,
            state: Saved {
                origin: saved.origin,
                inputs,
                stations,
                probes: Vec::new(),
                signals,
                exits,
                ticked: saved.ticked,
                ridden: saved.ridden,
            },
        };
        for number in 0..floor.plan.probes.len() {
            let at = floor.take_up(number, &mut probes, events);
            floor.state.probes.push(at);
        }
        for AtProbe { id, watch, .. } in probes {
            if let Some(mut watch) = watch {
                floor.give_up(&id, &mut watch, events);
            }
        }
        floor
    }

    /// What is to be kept of it.
    pub fn saved(&self) -> &Saved {
        &self.state
    }

    /// A probe's state, its former one where nothing was declared otherwise.
    fn take_up(
        &mut self,
        number: usize,
        before: &mut Vec<AtProbe>,
        events: &mut impl FnMut(FloorEvent),
    ) -> AtProbe {
        let probe = &self.plan.probes[number].probe;
        let beside = self.plan.cloth_beside(number).into_iter();
        let cloth: Vec<_> = beside.map(|cloth| &self.plan.probes[cloth].probe).collect();
        let station = self.plan.probes[number].station;
        let station = station.map(|station| &self.plan.stations[station]);
        let declared = format!("{station:?}{probe:?}{cloth:?}");
        // (A calibration made while it runs is not in the shop file, so that it does not count here.)
        let id = probe.id.clone();
        let before = taken(before, |at| at.id == id);
        if let Some(before) = before {
            if before.declared == declared {
                return before;
            }
            if let Some(mut watch) = before.watch {
                self.give_up(&id, &mut watch, events);
            }
        }
        let mut at = AtProbe {
            id,
            declared,
            ..AtProbe::default()
        };
        if let Some((_, batch, laws)) = self.laws_for(number)
            && let Some(plan) = self.plan.channel_plan(number, &laws)
        {
            let beside = self.plan.cloth_beside(number).into_iter();
            let beside = beside.map(|cloth| &self.plan.probes[cloth].probe);
            let doubts: Vec<_> = beside
                .map(|probe| (probe.id.clone(), plan::doubt(probe, laws.laws.threshold)))
                .collect();
            at.watch = Some(ProbeWatch::new(plan, batch, &doubts));
        }
        at
    }

    /// Judges what a probe that is gone was in the middle of.
    fn give_up(
        &mut self,
        probe: &str,
        watch: &mut ProbeWatch,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let mut found = Vec::new();
        watch.finish(&mut |found_now| found.push(found_now));
        let station = self.plan.probes.iter();
        let station = station
            .into_iter()
            .find(|planned| planned.probe.id == probe);
        if let Some(station) = station.and_then(|planned| planned.station) {
            self.tell(station, probe, found, events);
        }
    }

    /// The station of a probe that judges passes, and what holds there.
    fn laws_for(&self, number: usize) -> Option<(usize, Option<u64>, BatchLaws)> {
        let station = self.plan.probes[number].station?;
        let at = &self.state.stations[station];
        let batch = at.batch.as_ref();
        let laws = batch.map_or_else(no_laws, |batch| batch.laws.clone());
        Some((station, batch.map(|batch| batch.number), laws))
    }

    /// The input that a channel of a source is; `None` where nothing in the shop file reads it.
    pub fn input(&self, source: &str, channel: &str) -> Option<InputId> {
        self.plan.input(source, channel)
    }

    /// The channels of a source that something in the shop file reads.
    pub fn channels_of(&self, source: &str) -> impl Iterator<Item = (&str, InputId)> {
        let inputs = self.plan.inputs.iter().enumerate();
        inputs
            .filter(move |(_, input)| input.source == source)
            .map(|(number, input)| (input.channel.as_str(), InputId(number)))
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

    /// A probe as it is declared, with the calibration that holds now.
    pub fn probe(&self, id: &str) -> Option<&Probe> {
        let mut probes = self.plan.probes.iter().map(|planned| &planned.probe);
        probes.find(|probe| probe.id == id)
    }

    /// How sure a probe is, as it is calibrated now; `near` is where that matters.
    pub fn doubt(&self, id: &str, near: Celsius) -> Option<ProbeDoubt> {
        self.probe(id).map(|probe| plan::doubt(probe, near))
    }

    /// Whether readings of this input are needed to make sense of others that come with them (a reference
    /// junction): they are fed first.
    pub fn comes_first(&self, input: InputId) -> bool {
        let roles = &self.plan.inputs[input.0].roles;
        roles.iter().any(|role| matches!(role, Role::Junction(_)))
    }

    /// What the last reading of an input has told, of each probe and signal that reads it.
    pub fn shows(&self, input: InputId) -> impl Iterator<Item = Shows> + '_ {
        let roles = self.plan.inputs[input.0].roles.iter();
        roles.filter_map(|role| match *role {
            Role::Junction(_) => None,
            Role::Temperature(probe) => {
                let latest = self.state.probes[probe].latest;
                Some(Shows::Probe(probe, latest))
            }
            Role::Signal(signal) => {
                let latest = self.state.signals[signal].1;
                Some(Shows::Signal(self.plan.signals[signal].number, latest))
            }
        })
    }

    /// What a probe or signal said last.
    pub fn latest(&self, id: &str) -> Option<Latest> {
        let probe = self.state.probes.iter().find(|probe| probe.id == id);
        let signal = || self.state.signals.iter().find(|signal| signal.0 == id);
        probe.map_or_else(
            || signal().and_then(|signal| signal.1),
            |probe| probe.latest,
        )
    }

    /// The belt's speed at a station now: its signal's, else the nominal; `None` where nobody knows.
    pub fn belt(&self, station: &str, at: Micros) -> Option<MetresPerSecond> {
        let state = self.state.stations.iter().find(|own| own.id == station)?;
        let speed = state.belt.speed(at.seconds_since(self.state.origin));
        (speed > 0.0).then_some(MetresPerSecond(speed))
    }

    /// Whether the belt signal of a station is live.
    pub fn belt_is_live(&self, station: &str, at: Micros) -> bool {
        let mut stations = self.state.stations.iter();
        let state = stations.find(|own| own.id == station);
        state.is_some_and(|own| own.belt.is_live(at.seconds_since(self.state.origin)))
    }

    /// When the pass that a probe is in began.
    pub fn open_pass(&self, probe: &str) -> Option<Micros> {
        let state = self.state.probes.iter().find(|own| own.id == probe)?;
        let began = state.watch.as_ref()?.open()?;
        Some(self.moment(began))
    }

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

    fn read_probe(
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
        let Some(station) = planned.station else {
            return;
        };
        match planned.probe.place {
            Place::Cloth => self.read_cloth(number, at, celsius),
            Place::Zone => self.read_zone(station, number, at, celsius, events),
            Place::Exit if self.exit_plans[station].is_some() => {
                self.read_exit(station, number, at, celsius);
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

    fn read_exit(&mut self, station: usize, number: usize, at: Micros, celsius: Option<Celsius>) {
        if self.rides.is_empty() {
            return;
        }
        let time = at.seconds_since(self.state.origin);
        let id = &self.plan.probes[number].probe.id;
        let celsius = celsius.map_or(f64::NAN, |celsius| celsius.0);
        self.state.exits[station].1.read_exit(id, time, celsius);
    }

    fn read_cloth(&mut self, number: usize, at: Micros, celsius: Option<Celsius>) {
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

    fn read_zone(
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

    fn read_signal(
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

    fn read_belt(
        &mut self,
        station: usize,
        at: Micros,
        speed: f64,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let time = at.seconds_since(self.state.origin);
        if !self.rides.is_empty() {
            self.state.exits[station].1.read_belt(time, speed);
        }
        let state = &mut self.state.stations[station];
        state.belt.read(time, speed);
        if let Some(kept) = &mut state.kept {
            let change = kept.belt(speed);
            tell_change(&state.id, kept.recipe(), change, at, events);
        }
    }

    fn read_count(
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
        if !self.rides.is_empty() {
            self.state.exits[station].1.read_count(time, shown);
        }
        for step in unseen {
            self.nobody_rode(station, step, events);
        }
    }

    /// A print was counted that no probe in its ink saw. An exit probe may see it still.
    fn nobody_rode(&mut self, station: usize, step: Step, events: &mut impl FnMut(FloorEvent)) {
        let exits = &self.state.exits[station].1;
        let exit_plan = self.exit_plans[station].as_ref();
        let batch = step.batch;
        let awaits = |plan| batch.is_some_and(|batch| exits.awaits(batch, plan, &self.rides));
        if exit_plan.is_some_and(awaits) {
            let time = step.at.seconds_since(self.state.origin);
            let counted = Counted {
                time,
                way: self.state.stations[station].belt.way(time),
                batch,
                print: step.print,
            };
            self.state.exits[station].1.counted(counted);
            return;
        }
        let id = &self.plan.stations[station].id;
        events(FloorEvent::PassEnded(Box::new(nobody_saw(id, step))));
    }

    /// Makes events of what a probe's engine found.
    fn tell(
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
                    self.state.exits[station].1.ride(at.belt.way(began), batch);
                    events(FloorEvent::PassStarted {
                        station: self.plan.stations[station].id.clone(),
                        probe: probe.to_owned(),
                        at: self.moment(began),
                    });
                }
                Found::Dropped(began) => {
                    let at = &mut self.state.stations[station];
                    let counted = at.prints.no_ride(began);
                    self.state.exits[station].1.no_ride(at.belt.way(began));
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

    fn ended(
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

    fn moment(&self, time: f64) -> Micros {
        self.state.origin.plus_seconds(time)
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
            self.look_at_exit(station, at, false, events);
        }
    }

    /// Opens a batch at a station; the one before is closed. Passes that have begun keep their laws.
    pub fn open_batch(
        &mut self,
        station: &str,
        at: Micros,
        batch: BatchPlan,
        events: &mut impl FnMut(FloorEvent),
    ) {
        let time = at.seconds_since(self.state.origin);
        let own = |own: &&mut AtStation| own.id == station;
        if let Some(state) = self.state.stations.iter_mut().find(own) {
            state.prints.open(batch.number, time);
            let exits = self.state.exits.iter_mut();
            let exits = exits.map(|(own, watch)| (own.as_str(), watch));
            for (_, watch) in exits.filter(|(own, _)| *own == station) {
                match &batch.recipe {
                    Some(recipe) => watch.open(time, &batch, recipe),
                    None => watch.close(time),
                }
            }
            state.kept = batch.recipe.clone().map(Kept::new);
            state.batch = Some(batch);
        }
        self.change_laws(station, events);
    }

    /// Closes the batch of a station. Passes that have begun keep its laws.
    pub fn close_batch(&mut self, station: &str, at: Micros, events: &mut impl FnMut(FloorEvent)) {
        let time = at.seconds_since(self.state.origin);
        let own = |own: &&mut AtStation| own.id == station;
        if let Some(state) = self.state.stations.iter_mut().find(own) {
            state.prints.close(time);
            let exits = self.state.exits.iter_mut();
            for (_, watch) in exits.filter(|(own, _)| *own == station) {
                watch.close(time);
            }
            state.batch = None;
            state.kept = None;
        }
        self.change_laws(station, events);
    }

    /// The number that the next print of a batch has, `given` being the highest that one of its prints is
    /// known to have; a pass that is given to it later takes one.
    pub fn next_print(&mut self, station: &str, batch: u64, given: u64) -> u64 {
        let mut stations = self.state.stations.iter_mut();
        // A station that is not declared any more counts nothing itself.
        stations
            .find(|own| own.id == station)
            .map_or(given + 1, |state| state.prints.next(batch, given))
    }

    fn change_laws(&mut self, station: &str, events: &mut impl FnMut(FloorEvent)) {
        let plans: Vec<_> = (0..self.plan.probes.len())
            .map(|number| {
                let (place, batch, laws) = self.laws_for(number)?;
                let here = self.plan.stations[place].id == station;
                let plan = self.plan.channel_plan(number, &laws).filter(|_| here)?;
                Some((batch, plan))
            })
            .collect();
        for (number, plan) in plans.into_iter().enumerate() {
            if let Some((batch, plan)) = plan {
                let change = |watch: &mut ProbeWatch, mut found: &mut dyn FnMut(Found)| {
                    watch.change(batch, plan, &mut found);
                };
                self.with_watch(number, change, events);
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
            self.look_at_exit(station, self.state.ticked, true, events);
        }
    }

    /// Does something with a probe's watch, where it has one, and tells what was found.
    fn with_watch(
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
}

/// Takes out of a list what is looked for.
fn taken<T>(list: &mut Vec<T>, is: impl Fn(&T) -> bool) -> Option<T> {
    let place = list.iter().position(is)?;
    Some(list.swap_remove(place))
}

/// A station's state: its former one, as far as it is declared as before.
fn at_station(station: &Station, before: &mut Vec<AtStation>) -> AtStation {
    let declared = format!("{station:?}");
    let fresh = AtStation {
        id: station.id.clone(),
        declared,
        belt: Belt::new(station.belt.map_or(0.0, |speed| speed.0)),
        prints: Prints::default(),
        batch: None,
        kept: None,
    };
    match taken(before, |at| at.id == station.id) {
        Some(before) if before.declared == fresh.declared => before,
        Some(before) => AtStation {
            prints: before.prints,
            batch: before.batch,
            kept: before.kept,
            ..fresh
        },
        None => fresh,
    }
}

/// The mean speed of a belt over a stretch of time; `None` where it stood still or nobody knows.
fn mean_speed(belt: &Belt, from: f64, to: f64) -> Option<MetresPerSecond> {
    let speed = if to > from {
        (belt.way(to) - belt.way(from)) / (to - from)
    } else {
        belt.speed(to)
    };
    (speed > 0.0).then_some(MetresPerSecond(speed))
}

/// A print that was counted, and that no probe saw.
fn nobody_saw(station: &str, step: Step) -> SeenPass {
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

fn tell_change(
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
