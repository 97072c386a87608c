//! What of a floor changes, and is put away and taken up again.

use std::collections::BTreeMap;

use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Shop;
use inkdwell_config::station::Station;
use serde::{Deserialize, Serialize};

use super::Floor;
use super::belt::Belt;
use super::event::FloorEvent;
use super::exit::{ExitPlan, ExitWatch, Rides};
use super::looks::Latest;
use super::passes::nobody_saw;
use super::plan::{self, BatchPlan, FloorPlan};
use super::prints::Prints;
use super::settings::Kept;
use super::time::Micros;
use super::watch::ProbeWatch;

/// A station's state.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct AtStation {
    pub(super) id: String,
    /// How it was declared.
    pub(super) declared: String,
    /// How what is played to it was declared.
    pub(super) scripts: String,
    pub(super) belt: Belt,
    pub(super) prints: Prints,
    pub(super) batch: Option<BatchPlan>,
    pub(super) kept: Option<Kept>,
}

/// A probe's state.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(super) struct AtProbe {
    pub(super) id: String,
    /// How it, its station and what lies beside it were declared.
    pub(super) declared: String,
    /// What its reference junction's temperature is.
    pub(super) junction: Option<Celsius>,
    pub(super) latest: Option<Latest>,
    /// Where it judges passes.
    pub(super) watch: Option<ProbeWatch>,
}

/// When an input was read last.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct AtInput {
    pub(super) source: String,
    pub(super) channel: String,
    /// How its source was declared, if that plays something.
    pub(super) script: String,
    pub(super) last: Micros,
}

/// Everything of a [`Floor`] that changes, to be serialised by whoever keeps it. Its form is of one version.
///
/// Stations, probes, inputs and signals stand in the order of the shop's plan.
#[derive(Debug, Serialize, Deserialize)]
pub struct Saved {
    /// Where the seconds inside count from.
    pub(super) origin: Micros,
    pub(super) inputs: Vec<AtInput>,
    pub(super) stations: Vec<AtStation>,
    pub(super) probes: Vec<AtProbe>,
    /// What each signal said last, with its id.
    pub(super) signals: Vec<(String, Option<Latest>)>,
    /// What exit probes saw, by station.
    pub(super) exits: Vec<(String, ExitWatch)>,
    /// The last tick.
    pub(super) ticked: Micros,
    /// When each recipe was ridden last since it was locked, and found good.
    pub(super) ridden: BTreeMap<u64, Micros>,
}

impl Floor {
    /// Takes up a floor that was put away, for a shop that is perhaps declared otherwise by now: what was
    /// changed or is gone is given up, its open passes judged as cut; what was not goes on as if nothing had
    /// happened.
    pub fn restored(shop: &Shop, saved: Saved, events: &mut impl FnMut(FloorEvent)) -> Floor {
        let plan = FloorPlan::new(shop);
        let (mut inputs, mut stations) = (saved.inputs, saved.stations);
        let (mut probes, mut signals) = (saved.probes, saved.signals);
        let inputs = plan.inputs.iter().map(|input| {
            let script = plan.script(Some(&input.source));
            let same = |at: &AtInput| {
                at.source == input.source && at.channel == input.channel && at.script == script
            };
            taken(&mut inputs, same).unwrap_or_else(|| AtInput {
                source: input.source.clone(),
                channel: input.channel.clone(),
                script: script.to_owned(),
                last: Micros(i64::MIN),
            })
        });
        let inputs = inputs.collect();
        // Stations whose belt is not the one that was known.
        let mut anew = Vec::new();
        let stations = plan.stations.iter().enumerate().map(|(number, station)| {
            let scripts = plan.scripts_at(number);
            let (at, begins) = at_station(station, scripts, &mut stations);
            anew.extend(begins.then_some(number));
            at
        });
        let stations = stations.collect();
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
        for station in anew {
            floor.begin_anew(station, events);
        }
        floor
    }

    /// What is to be kept of it.
    pub fn saved(&self) -> &Saved {
        &self.state
    }

    /// The belt of a station is another one, or another time: what lay on it is given up.
    fn begin_anew(&mut self, station: usize, events: &mut impl FnMut(FloorEvent)) {
        let counted = self.state.stations[station].prints.begin_anew();
        let waiting = self.state.exits[station].1.begin_anew();
        let waiting = waiting.iter().map(|step| self.unseen(station, step));
        let id = &self.plan.stations[station].id;
        let counted = counted.into_iter().map(|step| nobody_saw(id, step));
        for seen in counted.chain(waiting) {
            events(FloorEvent::PassEnded(Box::new(seen)));
        }
        let declared = &self.plan.stations[station];
        self.state.stations[station].belt = new_belt(declared);
    }

    /// A probe's state, its former one where nothing was declared otherwise.
    pub(super) fn take_up(
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
        let script = self.plan.script(probe.source.as_deref());
        let declared = format!("{station:?}{probe:?}{cloth:?}{script}");
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
    pub(super) fn give_up(
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
}

/// Takes out of a list what is looked for.
pub(super) fn taken<T>(list: &mut Vec<T>, is: impl Fn(&T) -> bool) -> Option<T> {
    let place = list.iter().position(is)?;
    Some(list.swap_remove(place))
}

/// A station's state, its former one as far as it is declared as before; and whether its belt begins anew.
fn at_station(
    station: &Station,
    scripts: String,
    before: &mut Vec<AtStation>,
) -> (AtStation, bool) {
    let declared = format!("{station:?}");
    let fresh = AtStation {
        id: station.id.clone(),
        declared,
        scripts,
        belt: new_belt(station),
        prints: Prints::default(),
        batch: None,
        kept: None,
    };
    match taken(before, |at| at.id == station.id) {
        Some(before) if before.declared == fresh.declared && before.scripts == fresh.scripts => {
            (before, false)
        }
        Some(before) => {
            let anew = AtStation {
                belt: before.belt,
                prints: before.prints,
                batch: before.batch,
                kept: before.kept,
                ..fresh
            };
            (anew, true)
        }
        None => (fresh, false),
    }
}

/// A belt of which nothing is known but how it was declared.
fn new_belt(station: &Station) -> Belt {
    Belt::new(station.belt.map_or(0.0, |speed| speed.0))
}
