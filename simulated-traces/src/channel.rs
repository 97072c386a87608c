//! The columns of a trace: what each sees, through which sensor, in which unit.

use inkdwell_config::quantity::Celsius;
use inkdwell_cure::sensor::ThermocoupleType;

use crate::chance::Chance;
use crate::events::Event;
use crate::flash_line::Flashing;
use crate::line::Running;
use crate::sensor::{Flaws, Said, Sensor, rounded};

/// What a column sees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sees {
    /// The film's bottom of the print that a ride probe goes along with.
    Film,
    /// Unprinted cloth beside that print.
    Cloth,
    /// The surface of what passes below a fixed infrared probe.
    Exit {
        /// Metres from the end of the heated length.
        distance: f64,
        /// Diameter of the spot in metres.
        spot: f64,
    },
    /// The belt's speed.
    Belt,
    /// The number of prints that passed a photo-eye.
    Count {
        /// Metres from the end of the heated length.
        distance: f64,
    },
    /// The air of a zone, or its panel.
    Zone {
        /// Its number, from 1.
        number: usize,
        /// Whether it is the panel.
        panel: bool,
    },
    /// The surface under a flash unit.
    Surface,
    /// A platen.
    Platen,
    /// The reference junction of thermocouples.
    Junction,
    /// The room.
    Room,
}

impl Sees {
    /// How far beyond the heated length it looks, in metres.
    pub fn distance(&self) -> Option<f64> {
        match self {
            Sees::Exit { distance, .. } | Sees::Count { distance } => Some(*distance),
            _ => None,
        }
    }
}

/// The unit of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
    /// Millivolts of a thermocouple type against the trace's junction.
    Millivolts(ThermocoupleType),
    /// m/min.
    MetresPerMinute,
    /// ft/min.
    FeetPerMinute,
    /// A count.
    Count,
}

/// A column as it is set up.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Its whole name, unit included, such as `film_c`.
    pub name: String,
    /// What it sees.
    pub sees: Sees,
    /// Its unit.
    pub unit: Unit,
    /// How its sensor errs.
    pub flaws: Flaws,
}

/// The value of a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A number in the column's unit, rounded as its sensor rounds.
    Number(f64),
    /// Nothing came.
    Missing,
    /// The sensor says that its wire is open.
    Open,
}

/// What there is to see.
#[derive(Debug, Clone)]
pub enum Scene {
    /// A belt dryer.
    Belt(Box<Running>),
    /// A flash unit.
    Flash(Box<Flashing>),
}

impl Scene {
    /// Lets time go on.
    pub fn advance(&mut self, time: f64) {
        match self {
            Scene::Belt(line) => line.advance(time),
            Scene::Flash(line) => line.advance(time),
        }
    }

    /// When nothing more will happen, once that is known.
    pub fn over_at(&self) -> Option<f64> {
        match self {
            Scene::Belt(line) => line.over_at(),
            Scene::Flash(line) => line.over_at(),
        }
    }

    fn room(&self) -> f64 {
        match self {
            Scene::Belt(line) => line.line().oven.room.0,
            Scene::Flash(line) => line.line().unit.room.0,
        }
    }

    /// The truth that a column looks at: °C, m/s or a count.
    fn truth(&self, sees: Sees, time: f64) -> f64 {
        let room = self.room();
        match (self, sees) {
            // Electronics sit a little warmer than the room, and warm up with the shift.
            (_, Sees::Junction) => room + 4.0 - 1.5 * (-time / 600.0).exp(),
            (Scene::Belt(line), Sees::Film) => line.film(time),
            (Scene::Belt(line), Sees::Cloth) => line.cloth(time),
            (Scene::Belt(line), Sees::Exit { distance, spot }) => {
                line.surface(time, line.line().oven.heated_length() + distance, spot)
            }
            (Scene::Belt(line), Sees::Belt) => line.line().belt_signal.at(time),
            (Scene::Belt(line), Sees::Count { distance }) => {
                let eye = line.line().oven.heated_length() + distance;
                f64::from(line.counted(time, eye))
            }
            (Scene::Belt(line), Sees::Zone { number, panel }) => {
                line.zone(time, number, panel).unwrap_or(room)
            }
            (Scene::Flash(line), Sees::Surface) => line.surface(time),
            (Scene::Flash(line), Sees::Platen) => line.platen(),
            _ => room,
        }
    }
}

/// A column at work.
#[derive(Debug, Clone)]
pub(crate) struct Eye {
    pub(crate) channel: Channel,
    sensor: Sensor,
    /// What it said last, for probes that break by standing still.
    last: Value,
    spiked: Vec<usize>,
}

impl Eye {
    pub(crate) fn new(channel: Channel, seed: u64) -> Eye {
        let chance = Chance::new(seed, &channel.name);
        Eye {
            sensor: Sensor::new(channel.flaws.clone(), chance),
            channel,
            last: Value::Missing,
            spiked: Vec::new(),
        }
    }

    /// What the column says at a time.
    pub(crate) fn look(&mut self, scene: &Scene, time: f64, events: &[Event]) -> Value {
        let truth = scene.truth(self.channel.sees, time);
        let junction = scene.truth(Sees::Junction, time);
        let said = match self.channel.unit {
            Unit::Celsius | Unit::Fahrenheit | Unit::Millivolts(_) => self.sensor.look(time, truth),
            _ => Said::Celsius(truth),
        };
        let value = match said {
            Said::Celsius(celsius) => {
                let spike = self.spike(time, events);
                self.written(celsius + spike, junction)
            }
            Said::Nothing => Value::Missing,
            Said::Open => Value::Open,
        };
        let value = self.broken(time, events).unwrap_or(value);
        self.last = value;
        value
    }

    fn spike(&mut self, time: f64, events: &[Event]) -> f64 {
        let mut height = 0.0;
        for (number, event) in events.iter().enumerate() {
            if let Event::Spike { at, column, by } = event
                && *column == self.channel.name
                && time >= *at
                && !self.spiked.contains(&number)
            {
                self.spiked.push(number);
                height += by;
            }
        }
        height
    }

    fn broken(&self, time: f64, events: &[Event]) -> Option<Value> {
        events.iter().find_map(|event| match event {
            Event::ProbeBreak {
                at,
                column,
                open,
                until,
            } if *column == self.channel.name
                && time >= *at
                && until.is_none_or(|until| time < until) =>
            {
                Some(if *open { Value::Open } else { self.last })
            }
            Event::DropOut {
                at,
                lasting,
                column: Some(column),
            } if *column == self.channel.name && time >= *at && time < at + lasting => {
                Some(Value::Missing)
            }
            _ => None,
        })
    }

    fn written(&self, truth: f64, junction: f64) -> Value {
        let resolution = self.channel.flaws.resolution;
        let number = match self.channel.unit {
            Unit::Celsius => Some(truth),
            Unit::Fahrenheit => Some(1.8 * truth + 32.0),
            Unit::Millivolts(kind) => {
                let at = |celsius| kind.millivolts(Celsius(celsius)).ok();
                at(truth).zip(at(junction)).map(|(hot, cold)| hot - cold)
            }
            Unit::MetresPerMinute => Some(60.0 * truth),
            Unit::FeetPerMinute => Some(60.0 * truth / 0.3048),
            Unit::Count => Some(truth),
        };
        number.map_or(Value::Missing, |number| {
            Value::Number(rounded(number, resolution))
        })
    }
}
