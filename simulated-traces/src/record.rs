//! A simulated day as a stream of rows, and the truth that goes with it.

use serde::{Deserialize, Serialize};

use crate::channel::{Channel, Eye, Scene, Value};
use crate::events::Event;
use crate::line::Print;
use crate::truth::PrintTruth;

/// One row of a trace: what every column said at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Seconds since the trace began.
    pub time: f64,
    /// A value for each column, in their order.
    pub values: Vec<Value>,
}

/// Readings on demand, row by row; without an end where the scene has none.
#[derive(Debug, Clone)]
pub struct Live {
    scene: Scene,
    eyes: Vec<Eye>,
    events: Vec<Event>,
    interval: f64,
    /// On the scene's clock: when the trace begins and when it ends at the latest.
    begin: f64,
    until: Option<f64>,
    next: u64,
    done: Vec<PrintRecord>,
}

impl Live {
    /// Rows of a scene: one every `interval` seconds from `begin` on.
    pub fn new(
        scene: Scene,
        channels: Vec<Channel>,
        events: Vec<Event>,
        seed: u64,
        interval: f64,
        (begin, until): (f64, Option<f64>),
    ) -> Live {
        Live {
            scene,
            eyes: channels
                .into_iter()
                .map(|channel| Eye::new(channel, seed))
                .collect(),
            events,
            interval,
            begin,
            until,
            next: 0,
            done: Vec::new(),
        }
    }

    /// The columns, in the order of a row's values.
    pub fn channels(&self) -> impl Iterator<Item = &Channel> {
        self.eyes.iter().map(|eye| &eye.channel)
    }

    /// The prints that were over since the last call, with their truth.
    pub fn take_done(&mut self) -> Vec<PrintRecord> {
        std::mem::take(&mut self.done)
    }

    /// All prints that are left, with their truth.
    pub fn finish(mut self) -> Vec<PrintRecord> {
        let prints = match self.scene {
            Scene::Belt(line) => line.into_prints(),
            Scene::Flash(line) => line.into_prints(),
        };
        self.done.extend(
            prints
                .iter()
                .map(|print| PrintRecord::of(print, self.begin)),
        );
        self.done
    }

    /// Lets time go on; of prints that are over only their records stay.
    fn advance(&mut self, time: f64) {
        self.scene.advance(time);
        let prints = match &mut self.scene {
            Scene::Belt(line) => line.take_done(),
            Scene::Flash(line) => line.take_done(),
        };
        self.done.extend(
            prints
                .iter()
                .map(|print| PrintRecord::of(print, self.begin)),
        );
    }

    fn row(&mut self, time: f64) -> Row {
        let values = self.eyes.iter_mut();
        let values = values
            .map(|eye| eye.look(&self.scene, time, &self.events))
            .collect();
        Row {
            time: time - self.begin,
            values,
        }
    }

    fn is_dropped(&self, time: f64) -> bool {
        self.events.iter().any(|event| {
            matches!(event, Event::DropOut { at, lasting, column: None }
            if time >= *at && time < at + lasting)
        })
    }
}

impl Iterator for Live {
    type Item = Row;

    fn next(&mut self) -> Option<Row> {
        loop {
            let time = self.begin + self.next as f64 * self.interval;
            self.next += 1;
            self.advance(time);
            let over = self.until.or_else(|| self.scene.over_at());
            if over.is_some_and(|over| time > over + 1e-9) {
                return None;
            }
            let row = self.row(time);
            if !self.is_dropped(time) {
                return Some(row);
            }
        }
    }
}

/// The truth file beside a trace.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TruthFile {
    /// `inkdwell.truth/1`.
    pub schema: String,
    /// The trace file.
    pub file: String,
    /// What the trace is meant to show.
    pub about: String,
    /// The seed it was made with.
    pub seed: u64,
    /// Station, by id.
    pub station: String,
    /// Ink, by id.
    pub ink: String,
    /// Fabric, by id.
    pub fabric: String,
    /// Every print that was on its way during the trace, in the order in which they were laid.
    pub prints: Vec<PrintRecord>,
    /// How each temperature column errs.
    pub sensors: Vec<SensorRecord>,
}

/// One print with its truth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PrintRecord {
    /// Its number, from 1.
    pub index: u32,
    /// When it was laid on the belt (or the flash panel began to swing in), in seconds of the trace.
    pub laid_s: f64,
    /// When its middle entered the heated length; null where it never did.
    pub enters_s: Option<f64>,
    /// When it left it.
    pub leaves_s: Option<f64>,
    /// Its mean speed in between, in m/min; 0 under a flash unit.
    pub belt_m_per_min: f64,
    /// Whether a ride probe went along.
    pub ride: bool,
    /// What was wrong with it; empty for a garment of the batch.
    pub faults: Vec<String>,
    /// Mass of one layer of its cloth, in g/m².
    pub mass_g_per_m2: f64,
    /// Water that its cloth brought along, in kilograms for each of dry fibre.
    pub moisture: f64,
    /// Thickness of its wet film, in µm.
    pub film_um: f64,
    /// What it truly got.
    #[serde(flatten)]
    pub truth: PrintTruth,
}

/// How a temperature column errs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SensorRecord {
    /// The column.
    pub column: String,
    /// By how much it reads too high at 160 °C, in °C, without lag and noise.
    pub error_at_160_c: f64,
    /// Its lag in seconds.
    pub lag_s: f64,
    /// The standard deviation of its noise in °C.
    pub noise_c: f64,
}

impl PrintRecord {
    fn of(print: &Print, begin: f64) -> PrintRecord {
        let garment = &print.garment;
        PrintRecord {
            index: print.number,
            laid_s: print.laid - begin,
            enters_s: print.enters.map(|time| time - begin),
            leaves_s: print.leaves.map(|time| time - begin),
            belt_m_per_min: 60.0 * print.speed,
            ride: print.rides,
            faults: print.faults.clone(),
            mass_g_per_m2: 1000.0 * garment.cloth.mass.0,
            moisture: garment.cloth.moisture.0,
            film_um: 1e6 * garment.film.thickness.0,
            truth: print.truth.clone(),
        }
    }
}
