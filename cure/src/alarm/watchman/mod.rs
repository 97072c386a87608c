//! The watchman: fed with the same readings, findings and ticks as the floor, it says which alarms come and go.

mod people;
mod prints;
mod readings;

use inkdwell_config::shop::Shop;
use inkdwell_config::station::StationKind;
use serde::{Deserialize, Serialize};

use super::detect::Said;
use super::detect::batch::Batches;
use super::detect::belt::Belt;
use super::detect::chamber::Chamber;
use super::detect::drift::Drift;
use super::detect::exhaust::Exhaust;
use super::detect::flash::Lamp;
use super::detect::platen::Platen;
use super::detect::print::Prints;
use super::detect::probe::Health;
use super::detect::recipe::Recipe;
use super::detect::stacking::Stacking;
use super::detect::zones::InLine;
use super::event::AlarmEvent;
use super::job::Job;
use super::kind::{AlarmId, Concerns};
use super::life::NotNow;
use super::plan::{Plan, PlannedProbe};
use super::register::Register;
use crate::live::Micros;

/// A zone that shows this or more, in °C, tells that its dryer is on.
const WARM: f64 = 60.0;
/// What a zone showed longer ago than this, in seconds, says nothing about now.
const STALE: f64 = 120.0;

/// A probe's state.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct AtProbe {
    id: String,
    declared: String,
    in_pass: bool,
    health: Health,
    chamber: Chamber,
    in_line: InLine,
    platen: Platen,
    stacking: Stacking,
    drift: Drift,
}

/// A station's state.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct AtStation {
    id: String,
    job: Option<Job>,
    /// Since when it has been on; `None` while it is off.
    on: Option<Micros>,
    belt: Belt,
    lamp: Lamp,
    exhaust: Exhaust,
    prints: Prints,
    batches: Batches,
    recipe: Recipe,
}

/// Everything of a [`Watchman`] that changes, to be serialised by whoever keeps it. Its form is of one version.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Watched {
    now: Option<Micros>,
    probes: Vec<AtProbe>,
    stations: Vec<AtStation>,
    /// Sources that have come to their end.
    ended: Vec<String>,
    register: Register,
}

/// Why something that a person wants of an alarm is not done.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Unheeded {
    /// No such alarm can be.
    #[error("there is no alarm {id}; {known}")]
    NoSuch {
        /// As it was asked for.
        id: String,
        /// What there is.
        known: String,
    },
    /// It may not be shelved for so long.
    #[error(
        "an alarm is shelved for {longest} at most, and for longer than no time; take it out of service if it is to rest for longer"
    )]
    Shelf {
        /// How long, in words.
        longest: String,
    },
    /// It cannot be done in its state.
    #[error(transparent)]
    NotNow(#[from] NotNow),
}

/// See the module.
#[derive(Debug)]
pub struct Watchman {
    plan: Plan,
    state: Watched,
    said: Said,
}

impl Watchman {
    /// The watchman of a shop, nothing seen yet.
    pub fn new(shop: &Shop) -> Watchman {
        Watchman::restored(shop, Watched::default(), Micros(0), &mut |_| ())
    }

    /// Takes up what was put away, for a shop that is perhaps declared otherwise by now: alarms of what is gone
    /// are withdrawn.
    pub fn restored(
        shop: &Shop,
        before: Watched,
        at: Micros,
        events: &mut impl FnMut(AlarmEvent),
    ) -> Watchman {
        let plan = Plan::new(shop);
        let probes = plan.probes.iter().map(|planned| {
            let same = |own: &&AtProbe| own.id == planned.id && own.declared == planned.declared;
            before
                .probes
                .iter()
                .find(same)
                .cloned()
                .unwrap_or_else(|| AtProbe {
                    id: planned.id.clone(),
                    declared: planned.declared.clone(),
                    ..AtProbe::default()
                })
        });
        let stations = plan.stations.iter().map(|planned| {
            let known = before.stations.iter().find(|own| own.id == planned.id);
            known.cloned().unwrap_or_else(|| AtStation {
                id: planned.id.clone(),
                ..AtStation::default()
            })
        });
        let changed: Vec<String> = before
            .probes
            .iter()
            .filter(|own| {
                let same = |planned: &PlannedProbe| {
                    own.id == planned.id && own.declared == planned.declared
                };
                !plan.probes.iter().any(same)
            })
            .map(|own| own.id.clone())
            .collect();
        let mut watchman = Watchman {
            state: Watched {
                now: before.now,
                probes: probes.collect(),
                stations: stations.collect(),
                ended: before.ended,
                register: before.register,
            },
            plan,
            said: Said::new(),
        };
        watchman.withdraw_gone(at, &changed, events);
        watchman
    }

    fn withdraw_gone(
        &mut self,
        at: Micros,
        changed: &[String],
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let gone = |id: &AlarmId| {
            let of_probe = id.kind.sheet().concerns == Concerns::Probe;
            !self.plan.knows(id) || (of_probe && changed.contains(&id.of))
        };
        let alarms = self.state.register.alarms().map(|alarm| &alarm.id);
        let gone: Vec<AlarmId> = alarms.filter(|id| gone(id)).cloned().collect();
        for id in gone {
            self.state.register.withdraw(at, &id, events);
        }
    }

    /// What is to be kept of it.
    pub fn saved(&self) -> &Watched {
        &self.state
    }

    /// All alarms as they stand.
    pub fn register(&self) -> &Register {
        &self.state.register
    }

    /// How long an alarm may be shelved at most, in seconds.
    pub fn shelve_longest(&self) -> f64 {
        self.plan.shelve_longest
    }

    /// What time it is here, the steady time being `at`: readings may be ahead of it, and time never goes back.
    pub fn time(&self, at: Micros) -> Micros {
        self.state.now.map_or(at, |now| now.max(at))
    }

    /// Time never goes back here.
    fn now(&mut self, at: Micros) -> Micros {
        let now = self.state.now.map_or(at, |now| now.max(at));
        self.state.now = Some(now);
        now
    }

    fn is_off(&self, place: Option<usize>) -> bool {
        place.is_some_and(|place| self.state.stations[place].on.is_none())
    }

    /// Time goes on. `ahead` is how far the wall clock is ahead of the steady time, in microseconds.
    pub fn tick(&mut self, at: Micros, ahead: i64, events: &mut impl FnMut(AlarmEvent)) {
        let now = self.now(at);
        for place in 0..self.plan.stations.len() {
            self.power(place, now, events);
            self.tick_station(place, now, events);
        }
        let wall = now.0.saturating_add(ahead) as f64 / 1e6;
        for number in 0..self.plan.probes.len() {
            let bounds = self.health_bounds(number);
            let state = &mut self.state.probes[number];
            state.health.tick(now, bounds, &mut self.said);
            let due = self.plan.probes[number].due;
            // On that day itself it is not overdue yet.
            let since = due.map(|day| wall - (day + 1) as f64 * 86_400.0);
            state.health.due(since, &mut self.said);
            self.told(now, Some(number), self.plan.probes[number].station, events);
        }
        self.state.register.tick(now, events);
    }

    fn tick_station(&mut self, place: usize, now: Micros, events: &mut impl FnMut(AlarmEvent)) {
        self.look_at_exhaust(place, now);
        let around = self.around(place, now);
        let limits = &self.plan.stations[place].limits;
        let state = &mut self.state.stations[place];
        let said = &mut self.said;
        if self.plan.stations[place].kind == StationKind::BeltDryer {
            state.belt.look(now, around, said);
        }
        state.lamp.tick(now, limits.flash_idle, said);
        let job = state.job.as_ref();
        let ink = job.and_then(|job| Some((now.seconds_since(job.ink_mixed?), job.pot_life?.0)));
        state.batches.tick(now, ink, said);
        let every = job.and_then(|job| job.ride_every);
        state.recipe.tick(now, every, said);
        self.told(now, None, Some(place), events);
    }

    /// Whether a station is on; where that changes, its alarms are suppressed, or not any more.
    fn power(&mut self, place: usize, now: Micros, events: &mut impl FnMut(AlarmEvent)) {
        let planned = &self.plan.stations[place];
        let state = &self.state.stations[place];
        let working = state.job.is_some();
        let is_on = match planned.kind {
            StationKind::FlashUnit => working || state.lamp.is_lit(),
            StationKind::BeltDryer => {
                let hottest = self.around(place, now).hottest;
                // Where its probes have fallen silent, it is as it was.
                let silent = !planned.zones.is_empty() && hottest.is_none();
                let warm = hottest.map_or_else(
                    || planned.zones.is_empty() && state.belt.runs(now, planned.belt),
                    |hottest| hottest >= WARM,
                );
                working || warm || (silent && state.on.is_some())
            }
        };
        if is_on == state.on.is_some() {
            return;
        }
        self.state.stations[place].on = is_on.then_some(now);
        let id = self.plan.stations[place].id.clone();
        if !is_on {
            for number in self.plan.stations[place].probes.clone() {
                let probe = &mut self.state.probes[number];
                probe.chamber.rests(&mut self.said);
                probe.in_line.rests(&mut self.said);
                probe.health.rests(&mut self.said);
                self.told(now, Some(number), Some(place), events);
            }
        }
        self.state.register.suppress(now, &id, !is_on, events);
    }

    /// Hands what detectors have said to the register.
    fn told(
        &mut self,
        now: Micros,
        probe: Option<usize>,
        place: Option<usize>,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        if self.said.is_empty() {
            return;
        }
        for (kind, says) in std::mem::take(&mut self.said) {
            let of = match kind.sheet().concerns {
                Concerns::Probe => probe.map(|number| self.plan.probes[number].id.clone()),
                Concerns::Station => place.map(|place| self.plan.stations[place].id.clone()),
                Concerns::Shop | Concerns::Source | Concerns::Sink => Some(String::new()),
            };
            let Some(of) = of else { continue };
            let id = AlarmId::new(kind, of);
            let origin = self.plan.origin(&id);
            let limits = place.map(|place| &self.plan.stations[place].limits);
            let delays = limits.unwrap_or(&self.plan.whole_shop).delays(kind);
            let off = self.is_off(place);
            let register = &mut self.state.register;
            register.says(now, (id, origin), says, delays, off, events);
        }
    }
}
