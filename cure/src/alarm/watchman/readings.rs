//! What probes and signals show.

use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::{Place, SignalKind};
use inkdwell_config::station::StationKind;

use super::{STALE, Watchman};
use crate::alarm::detect::belt::Around;
use crate::alarm::detect::{chamber, probe};
use crate::alarm::event::AlarmEvent;
use crate::live::Micros;

impl Watchman {
    /// A probe was read: its number in the shop file, the number as it came, and the temperature that it is.
    pub fn probe(
        &mut self,
        number: usize,
        at: Micros,
        raw: Option<f64>,
        celsius: Option<Celsius>,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let now = self.now(at);
        let celsius = celsius.map(|celsius| celsius.0);
        let bounds = self.health_bounds(number);
        let Some(state) = self.state.probes.get_mut(number) else {
            return;
        };
        state
            .health
            .read(at, (raw, celsius), bounds, &mut self.said);
        let believed = crate::sieve::COOLEST_BELIEVED..=crate::sieve::HOTTEST_BELIEVED;
        if let Some(celsius) = celsius.filter(|celsius| believed.contains(celsius)) {
            self.probe_shows(number, at, celsius);
        }
        self.told(now, Some(number), self.plan.probes[number].station, events);
    }

    /// A believable temperature.
    fn probe_shows(&mut self, number: usize, at: Micros, celsius: f64) {
        let planned = &self.plan.probes[number];
        let Some(place) = planned.station else { return };
        let (kind, limits) = (self.plan.stations[place].kind, &planned.limits);
        let said = &mut self.said;
        let station = &mut self.state.stations[place];
        if kind == StationKind::FlashUnit && planned.place != Place::Platen {
            station.lamp.read(at, celsius, limits.flash_lit_from, said);
        }
        let state = &mut self.state.probes[number];
        match planned.place {
            Place::Platen => state.platen.read(celsius, limits.platen_limit, said),
            Place::Exit if kind == StationKind::BeltDryer => {
                let from = station.job.as_ref().and_then(|job| job.migrates_from);
                let limit = self.plan.stack_limit(number, from.map(|from| from.0));
                state.stacking.read(celsius, limit, said);
            }
            Place::Ride if state.in_pass => station.belt.ride_read(at, celsius),
            Place::Zone if kind == StationKind::BeltDryer => {
                self.zone_shows(number, place, at, celsius);
            }
            _ => {}
        }
    }

    fn zone_shows(&mut self, number: usize, place: usize, at: Micros, celsius: f64) {
        let planned = &self.plan.probes[number];
        let station = &self.state.stations[place];
        let on_for = station.on.map(|since| at.seconds_since(since));
        let limits = &planned.limits;
        let bounds = chamber::Bounds {
            limit: self.plan.chamber_limit(number),
            rise: match planned.is_air {
                true => Some(limits.air_rise),
                false => limits.panel_rise,
            },
            set: planned.set,
            reach: limits.zone_reach,
            sag: limits.zone_sag,
            working: station.job.is_some(),
            warm: on_for.is_some_and(|on_for| on_for > limits.warm_up),
        };
        let state = &mut self.state.probes[number];
        state.chamber.read(at, celsius, bounds, &mut self.said);
        self.compare_zone(number, place, celsius, bounds.working);
        let around = self.around(place, at);
        let belt = &mut self.state.stations[place].belt;
        belt.look(at, around, &mut self.said);
    }

    /// Holds a zone against its neighbours of the same kind, air against air and panel against panel.
    fn compare_zone(&mut self, number: usize, place: usize, celsius: f64, working: bool) {
        let planned = &self.plan.probes[number];
        let own_off = planned.set.map(|set| celsius - set);
        let sound = working && !self.state.probes[number].chamber.is_off();
        let Some(own_off) = own_off.filter(|_| sound) else {
            self.state.probes[number].in_line.rests(&mut self.said);
            return;
        };
        let zones = self.plan.stations[place].zones.iter();
        let mut others: Vec<f64> = zones
            .filter(|other| **other != number && self.plan.probes[**other].is_air == planned.is_air)
            .filter(|other| !self.state.probes[**other].chamber.is_off())
            .filter_map(|other| {
                let (_, shown) = self.state.probes[*other].chamber.latest()?;
                Some(shown - self.plan.probes[*other].set?)
            })
            .collect();
        let state = &mut self.state.probes[number];
        let apart = planned.limits.zone_apart;
        state
            .in_line
            .compare((celsius, own_off), &mut others, apart, &mut self.said);
    }

    /// The chamber as the belt needs to know it.
    pub(super) fn around(&self, place: usize, at: Micros) -> Around {
        let planned = &self.plan.stations[place];
        let fresh = |zone: &usize| {
            let chamber = &self.state.probes[*zone].chamber;
            let (when, shown) = chamber.latest()?;
            (at.seconds_since(when) <= STALE).then_some((*zone, shown))
        };
        let shown = || planned.zones.iter().filter_map(fresh);
        let air = || shown().filter(|(zone, _)| self.plan.probes[*zone].is_air);
        let hotter = |a: &(usize, f64), b: &(usize, f64)| a.1.total_cmp(&b.1);
        let hottest = air().max_by(hotter).or_else(|| shown().max_by(hotter));
        Around {
            hottest: hottest.map(|(_, shown)| shown),
            cooling: hottest.is_some_and(|(zone, _)| self.state.probes[zone].chamber.is_cooling()),
            working: self.state.stations[place].job.is_some(),
            cooled_below: planned.limits.cooled_below,
            usual: planned.belt,
        }
    }

    pub(super) fn health_bounds(&self, number: usize) -> probe::Bounds {
        let Some(planned) = self.plan.probes.get(number) else {
            return probe::Bounds {
                attended: false,
                in_pass: false,
                silent_after: f64::INFINITY,
                stuck_after: f64::INFINITY,
                noise: f64::INFINITY,
            };
        };
        let on_belt = planned
            .station
            .is_some_and(|place| self.plan.stations[place].kind == StationKind::BeltDryer);
        let rides = on_belt && matches!(planned.place, Place::Ride | Place::Cloth);
        let in_pass = match planned.station {
            Some(place) if rides => {
                let probes = self.plan.stations[place].probes.iter();
                let mut probes = probes.map(|own| &self.state.probes[*own]);
                probes.any(|own| own.in_pass)
            }
            _ => false,
        };
        let is_on = planned
            .station
            .is_none_or(|place| self.state.stations[place].on.is_some());
        let ended = planned
            .source
            .as_ref()
            .is_some_and(|own| self.state.ended.contains(own));
        probe::Bounds {
            attended: !ended
                && if rides {
                    in_pass
                } else {
                    is_on && planned.source.is_some()
                },
            in_pass,
            silent_after: planned.limits.silent_after,
            stuck_after: planned.limits.stuck_after,
            noise: planned.limits.noise_limit,
        }
    }

    /// A signal was read: its number in the shop file, and what it says, a belt's speed in m/s.
    pub fn signal(
        &mut self,
        number: usize,
        at: Micros,
        value: Option<f64>,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let now = self.now(at);
        let Some(planned) = self.plan.signals.get(number) else {
            return;
        };
        let (Some(place), kind) = (planned.station, planned.kind) else {
            return;
        };
        let value = value.filter(|value| value.is_finite());
        match (kind, value) {
            (SignalKind::Belt { .. }, Some(speed)) => {
                let around = self.around(place, at);
                let belt = &mut self.state.stations[place].belt;
                belt.read(at, speed.max(0.0), around, &mut self.said);
            }
            (SignalKind::Exhaust { .. }, value) => {
                self.state.stations[place].exhaust.read(at, value);
                self.look_at_exhaust(place, at);
            }
            (SignalKind::Belt { .. } | SignalKind::Count { .. }, _) => {}
        }
        self.told(now, None, Some(place), events);
    }

    pub(super) fn look_at_exhaust(&mut self, place: usize, at: Micros) {
        let Some(proved_from) = self.plan.stations[place].proved_from else {
            return;
        };
        let station = &mut self.state.stations[place];
        let needed = station.job.as_ref().is_some_and(|job| job.needs_exhaust);
        station
            .exhaust
            .look(at, (needed, proved_from), &mut self.said);
    }
}
