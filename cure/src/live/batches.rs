//! Batches: which is open where, and what its prints are judged by.

use inkdwell_config::quantity::Celsius;

use super::Floor;
use super::event::FloorEvent;
use super::plan::{BatchLaws, BatchPlan};
use super::saved::AtStation;
use super::settings::Kept;
use super::time::Micros;
use super::watch::{Found, ProbeWatch};
use crate::law::{Counts, Rate};
use crate::plan::PrintLaws;

impl Floor {
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

    /// The station of a probe that judges passes, and what holds there.
    pub(super) fn laws_for(&self, number: usize) -> Option<(usize, Option<u64>, BatchLaws)> {
        let station = self.plan.probes[number].station?;
        let at = &self.state.stations[station];
        let batch = at.batch.as_ref();
        let laws = batch.map_or_else(no_laws, |batch| batch.laws.clone());
        Some((station, batch.map(|batch| batch.number), laws))
    }

    pub(super) fn change_laws(&mut self, station: &str, events: &mut impl FnMut(FloorEvent)) {
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
}

/// Laws that nothing is ever held against: no batch is open, so nobody knows what a print needs.
pub(super) fn no_laws() -> BatchLaws {
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
