//! What was read about a station's exit lately, channel by channel.
//!
//! Channels do not keep step: one is polled, another comes through a broker, and what was read at one moment
//! arrives a little apart. So nothing is looked at up to a moment before every channel was heard up to it
//! ([`Lately::settled`]); what is seen then depends on what was read, and neither on what came first nor on when
//! anybody looked.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::super::time::Micros;
use super::plan::ExitPlan;
use super::ride::RecipeRide;
use super::window::Window;

/// A channel that is so much behind the others is not waited for, in seconds: a counter that speaks only when it
/// counts, a probe that is dead.
pub(super) const PATIENCE: f64 = 1.0;
/// No more readings of one channel are kept, …
const MOST_KEPT: usize = 40_000;
/// … and of a room's probe, of which only the latest matter.
const MOST_OF_ROOM: usize = 256;

/// The readings of one channel, in order of time; NaN for what was no number.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(super) struct Series(Vec<(Micros, f64)>);

impl Series {
    /// Adds a reading; the oldest half goes where there are too many (a belt that stands for long). A source
    /// that was played faster than true was ahead; what it said of times that are still to come goes.
    fn push(&mut self, at: Micros, value: f64, most: usize) {
        while self.0.last().is_some_and(|last| last.0 >= at) {
            self.0.pop();
        }
        if self.0.len() >= most {
            self.0.drain(..most / 2);
        }
        self.0.push((at, value));
    }

    fn first(&self) -> Option<Micros> {
        self.0.first().map(|reading| reading.0)
    }

    fn last(&self) -> Option<Micros> {
        self.0.last().map(|reading| reading.0)
    }

    /// Readings up to a moment, that moment included.
    fn until(&self, at: Micros) -> &[(Micros, f64)] {
        &self.0[..self.0.partition_point(|reading| reading.0 <= at)]
    }

    /// The first reading after a moment.
    fn next(&self, after: Micros) -> Option<Micros> {
        self.0.get(self.until(after).len()).map(|reading| reading.0)
    }

    /// Forgets what lies before a moment, but for the reading that still says what held from there on.
    fn forget(&mut self, before: Micros) {
        let kept = self.0.partition_point(|reading| reading.0 < before);
        self.0.drain(..kept.saturating_sub(1));
    }
}

/// What was read lately.
#[derive(Debug, Default, Serialize, Deserialize)]
pub(super) struct Lately {
    /// By the id of the probe.
    exits: BTreeMap<String, Series>,
    /// By the id of the probe.
    rooms: BTreeMap<String, Series>,
    speeds: Series,
    count: Series,
}

impl Lately {
    pub(super) fn read_exit(&mut self, probe: &str, at: Micros, celsius: f64) {
        add(&mut self.exits, probe, (at, celsius), MOST_KEPT);
    }

    pub(super) fn read_room(&mut self, probe: &str, at: Micros, celsius: f64) {
        add(&mut self.rooms, probe, (at, celsius), MOST_OF_ROOM);
    }

    pub(super) fn read_belt(&mut self, at: Micros, speed: f64) {
        self.speeds.push(at, speed, MOST_KEPT);
    }

    pub(super) fn read_count(&mut self, at: Micros, shown: f64) {
        self.count.push(at, shown, MOST_KEPT);
    }

    /// Only what the rooms' probes said last is known any more.
    pub(super) fn begin_anew(&mut self) {
        let mut rooms = std::mem::take(&mut self.rooms);
        for series in rooms.values_mut() {
            series.forget(Micros(i64::MAX));
        }
        *self = Lately {
            rooms,
            ..Lately::default()
        };
    }

    /// What tells of prints; the room is beside it.
    fn telling(&self) -> impl Iterator<Item = &Series> {
        self.exits.values().chain([&self.speeds, &self.count])
    }

    /// The newest reading.
    pub(super) fn heard(&self) -> Option<Micros> {
        self.telling().filter_map(Series::last).max()
    }

    /// The oldest reading.
    pub(super) fn first(&self) -> Option<Micros> {
        self.telling().filter_map(Series::first).min()
    }

    /// The first reading after a moment.
    pub(super) fn next(&self, after: Micros) -> Option<Micros> {
        self.telling().filter_map(|own| own.next(after)).min()
    }

    /// Up to when all is known that was read: every channel that the station declares was heard since, or is
    /// not waited for any longer.
    pub(super) fn settled(&self, plan: &ExitPlan) -> Option<Micros> {
        let heard = self.heard()?;
        let exits = plan.exits.iter().map(|exit| self.exits.get(&exit.probe));
        let rooms = plan.rooms.iter().map(|room| self.rooms.get(room));
        let signals = [
            plan.belt_declared.then_some(&self.speeds),
            plan.counted.then_some(&self.count),
        ];
        let signals = signals.into_iter().flatten().map(Some);
        let last = |series: Option<&Series>| series.and_then(Series::last);
        let all = exits.chain(rooms).chain(signals).map(last);
        let slowest = all.min().flatten();
        let waited = heard.plus_seconds(-PATIENCE);
        Some(slowest.map_or(waited, |slowest| slowest.max(waited)))
    }

    /// What a ride's probes, the belt and the counter said up to a moment: a window without its print, and the
    /// moment from which its seconds count. `None` without a reading, and where the nearest probe is not declared
    /// any more as it was when the ride was made.
    pub(super) fn window(
        &self,
        ride: &RecipeRide,
        plan: &ExitPlan,
        until: Micros,
    ) -> Option<(Window, Micros)> {
        let mut window = Window::without_readings(ride, plan)?;
        let exits = ride.exits.iter().map(|exit| self.exits.get(&exit.probe));
        let exits = exits.map(|series| series.map_or(&[][..], |series| series.until(until)));
        let exits: Vec<_> = exits.collect();
        let (speeds, count) = (self.speeds.until(until), self.count.until(until));
        let all = exits.iter().chain([&speeds, &count]);
        let began = all.filter_map(|own| Some(own.first()?.0)).min()?;
        let seconds = |readings: &[(Micros, f64)]| {
            let readings = readings.iter();
            readings
                .map(|(at, value)| (at.seconds_since(began), *value))
                .collect::<Vec<_>>()
        };
        for (own, readings) in window.exits.iter_mut().zip(exits) {
            if let Some(own) = own {
                *own = seconds(readings);
            }
        }
        window.speeds = seconds(speeds);
        window.count = plan.counted.then(|| seconds(count));
        window.room = self.room(plan, until).or(ride.room.map(|room| room.0));
        Some((window, began))
    }

    /// What the room's probe showed last, to a whole degree: a model is made ready for one room at a time.
    fn room(&self, plan: &ExitPlan, until: Micros) -> Option<f64> {
        let rooms = plan.rooms.iter().filter_map(|room| self.rooms.get(room));
        let mut shown = rooms.filter_map(|series| Some(series.until(until).last()?.1));
        let believed = |celsius: &f64| (-20.0..60.0).contains(celsius);
        shown.find(believed).map(f64::round)
    }

    /// Forgets what exit probes said before one moment, and all else before another.
    pub(super) fn forget(&mut self, exits: Option<Micros>, others: Option<Micros>) {
        if let Some(before) = exits {
            self.exits.values_mut().for_each(|own| own.forget(before));
        }
        if let Some(before) = others {
            let rooms = self.rooms.values_mut();
            rooms
                .chain([&mut self.speeds, &mut self.count])
                .for_each(|own| own.forget(before));
        }
    }
}

/// Adds a reading to the series of a probe. (Readings are many, and an entry would take its own copy of the id each
/// time.)
fn add(all: &mut BTreeMap<String, Series>, probe: &str, reading: (Micros, f64), most: usize) {
    match all.get_mut(probe) {
        Some(series) => series.push(reading.0, reading.1, most),
        None => {
            let series = Series(vec![reading]);
            all.insert(probe.to_owned(), series);
        }
    }
}
