//! What the floor finds of prints and recipes, and which batches are open.

use inkdwell_config::shop::Place;
use inkdwell_config::station::StationKind;

use super::Watchman;
use crate::alarm::cause::OffRecipe;
use crate::alarm::event::AlarmEvent;
use crate::alarm::job::Job;
use crate::live::{Departure, FloorEvent, Micros, SeenBy, SeenPass};

impl Watchman {
    /// The floor has found something.
    pub fn floor(&mut self, event: &FloorEvent, events: &mut impl FnMut(AlarmEvent)) {
        match event {
            FloorEvent::PassStarted { station, probe, at } => {
                self.pass_began(station, probe, *at, true, events);
            }
            FloorEvent::PassDropped { station, probe, at } => {
                self.pass_began(station, probe, *at, false, events);
            }
            FloorEvent::PassEnded(pass) => self.pass_ended(pass, events),
            FloorEvent::RecipeLeft {
                station,
                recipe,
                what,
                at,
            } => {
                let now = self.now(*at);
                let Some(place) = self.plan.station(station) else {
                    return;
                };
                let off = departure(what);
                self.state.stations[place]
                    .recipe
                    .left(*recipe, off, &mut self.said);
                self.told(now, None, Some(place), events);
            }
            FloorEvent::RecipeMet { station, at, .. } => {
                let now = self.now(*at);
                let Some(place) = self.plan.station(station) else {
                    return;
                };
                self.state.stations[place].recipe.met(&mut self.said);
                self.told(now, None, Some(place), events);
            }
        }
    }

    fn pass_began(
        &mut self,
        station: &str,
        probe: &str,
        at: Micros,
        began: bool,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let now = self.now(at);
        let (Some(place), Some(number)) = (self.plan.station(station), self.plan.probe(probe))
        else {
            return;
        };
        self.state.probes[number].in_pass = began;
        let state = &mut self.state.stations[place];
        match (self.plan.stations[place].kind, began) {
            (StationKind::BeltDryer, true) => state.belt.ride_began(at),
            (StationKind::BeltDryer, false) => state.belt.no_ride(),
            (StationKind::FlashUnit, _) => state.lamp.moved(now, &mut self.said),
        }
        self.told(now, Some(number), Some(place), events);
    }

    fn pass_ended(&mut self, pass: &SeenPass, events: &mut impl FnMut(AlarmEvent)) {
        let now = self.now(pass.end);
        let Some(place) = self.plan.station(&pass.station) else {
            return;
        };
        let planned = &self.plan.stations[place];
        let limits = &planned.limits;
        let station = &mut self.state.stations[place];
        let said = &mut self.said;
        let number = pass
            .probe
            .as_deref()
            .and_then(|probe| self.plan.probe(probe));
        if let Some(number) = number {
            self.state.probes[number].in_pass = false;
        }
        if pass.by == SeenBy::Ride {
            let whole = pass.judged.as_ref().is_none_or(|judged| !judged.cut);
            let (length, slip) = (planned.heated_length, limits.belt_slip);
            station.belt.ride_ended(whole, length, slip, said);
            station.recipe.ridden(now, said);
        }
        match pass.batch {
            None => station.batches.passed_without(now, said),
            Some(_) => station.prints.ended(pass, limits.unproven_in_row, said),
        }
        if let (Some(number), Some(judged)) = (number, &pass.judged) {
            let drift = &mut self.state.probes[number].drift;
            let cured_at = station.job.as_ref().and_then(|job| job.cured_at);
            let horizon = limits.drift_horizon;
            drift.judged(now, pass.batch, (judged, cured_at), horizon, said);
        }
        self.told(now, None, Some(place), events);
        if let Some(number) = number.filter(|_| pass.by == SeenBy::Ride) {
            // What was wrong with the probes that went along is over with the ride; a broken one shows it anew.
            let along: Vec<usize> = self.plan.stations[place]
                .probes
                .iter()
                .copied()
                .filter(|own| *own == number || self.plan.probes[*own].place == Place::Cloth)
                .collect();
            for own in along {
                self.state.probes[own].health.rests(&mut self.said);
                self.told(now, Some(own), Some(place), events);
            }
        }
    }

    /// A batch was opened at a station.
    pub fn opened(
        &mut self,
        station: &str,
        at: Micros,
        job: Job,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let now = self.now(at);
        let Some(place) = self.plan.station(station) else {
            return;
        };
        self.close(place);
        let state = &mut self.state.stations[place];
        state.recipe.opened(now, &mut self.said);
        state.batches.opened(&mut self.said);
        state.job = Some(job);
        self.told(now, None, Some(place), events);
        self.power(place, now, events);
    }

    /// The batch of a station was closed.
    pub fn closed(&mut self, station: &str, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
        let now = self.now(at);
        let Some(place) = self.plan.station(station) else {
            return;
        };
        self.close(place);
        self.told(now, None, Some(place), events);
    }

    fn close(&mut self, place: usize) {
        let state = &mut self.state.stations[place];
        let said = &mut self.said;
        state.job = None;
        state.prints.closed(said);
        state.recipe.closed(said);
        state.batches.closed(said);
        for number in &self.plan.stations[place].probes {
            self.state.probes[*number].drift.closed(said);
        }
    }
}

fn departure(what: &Departure) -> OffRecipe {
    match what {
        Departure::Belt { now, locked } => OffRecipe::Belt {
            now: *now,
            locked: *locked,
        },
        Departure::Zone { probe, now, locked } | Departure::Exit { probe, now, locked } => {
            OffRecipe::Probe {
                probe: probe.clone(),
                now: *now,
                locked: *locked,
            }
        }
    }
}
