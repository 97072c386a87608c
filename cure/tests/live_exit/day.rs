//! A floor under a recipe, fed by a line.

use std::sync::Arc;

use inkdwell_config::quantity::{Celsius, Seconds};
use inkdwell_cure::live::exit::RecipeRide;
use inkdwell_cure::live::{
    BatchLaws, BatchPlan, Floor, FloorEvent, LockedSettings, Micros, PrintLeft, SeenPass,
};

use crate::recorded::{laws, shop};

pub fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

/// A channel's name, its readings, and the factor to the unit in which the line sends them.
pub type Channel<'a> = (&'a str, &'a [(f64, f64)], f64);

/// A floor under a recipe, and all that it has said.
pub struct Day {
    pub floor: Floor,
    pub events: Vec<FloorEvent>,
    pub ticked: f64,
}

impl Day {
    pub fn new(ride: &RecipeRide, ride_every: Option<f64>) -> Day {
        Day::begun(ride, ride_every, at(-1000.0))
    }

    pub fn begun(ride: &RecipeRide, ride_every: Option<f64>, began: Micros) -> Day {
        let mut floor = Floor::new(&shop(), began);
        floor.know_ride(3, Arc::new(ride.clone()));
        let recipe = LockedSettings {
            recipe: 3,
            belt: None,
            belt_drift: 0.05,
            zones: Vec::new(),
            zone_drift: 8.0,
            // What the run's first print shows, to a degree.
            exit: Some(("exit".to_owned(), Celsius(130.0))),
            exit_drift: 6.0,
            ride_every: ride_every.map(Seconds),
        };
        let batch = BatchPlan {
            number: 7,
            laws: BatchLaws {
                laws: laws(),
                last_heat: false,
            },
            recipe: Some(recipe),
        };
        let mut events = Vec::new();
        floor.open_batch("belt-1", at(-900.0), batch, &mut |event| events.push(event));
        Day {
            floor,
            events,
            ticked: -1.0,
        }
    }

    pub fn read(&mut self, channel: &str, seconds: f64, value: f64) {
        let input = self.floor.input("line", channel).unwrap();
        let value = value.is_finite().then_some(value);
        let events = &mut self.events;
        let mut note = |event| events.push(event);
        self.floor.read(input, at(seconds), value, &mut note);
    }

    pub fn tick(&mut self, seconds: f64) {
        let events = &mut self.events;
        self.floor
            .tick(at(seconds), &mut |event| events.push(event));
        self.ticked = seconds;
    }

    /// Feeds columns of a trace in order of time, with a tick each second.
    pub fn feed(&mut self, columns: &[Channel<'_>], from: f64, to: f64) {
        let mut all: Vec<(f64, &str, f64)> = Vec::new();
        for (channel, readings, factor) in columns {
            let within = readings.iter().filter(|own| own.0 >= from && own.0 < to);
            all.extend(within.map(|own| (own.0, *channel, own.1 * factor)));
        }
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (time, channel, value) in all {
            while time >= self.ticked + 1.0 {
                self.tick(self.ticked + 1.0);
            }
            self.read(channel, time, value);
        }
    }

    pub fn finish(&mut self) {
        let events = &mut self.events;
        self.floor.finish(&mut |event| events.push(event));
    }

    pub fn left(&self) -> Vec<&PrintLeft> {
        let left = self.events.iter().filter_map(|event| match event {
            FloorEvent::PrintLeft(print) => Some(&**print),
            _ => None,
        });
        left.collect()
    }

    pub fn ended(&self) -> Vec<&SeenPass> {
        let ended = self.events.iter().filter_map(|event| match event {
            FloorEvent::PassEnded(pass) => Some(&**pass),
            _ => None,
        });
        ended.collect()
    }
}
