//! A scenario: a shop, a job, what is recorded, and what goes wrong.
//!
//! A scenario file is TOML; the samples show its keys. It refers to a shop file, which declares the
//! station and its probes; what is really there is drawn from the scenario's seed around that.
//!
//! ```
//! use inkdwell_config::shop::Shop;
//! use inkdwell_simulated_traces::scenario::Scenario;
//!
//! let shop = Shop::parse("shop.toml", r#"
//! [[station]]
//! id = "belt-1"
//! kind = "belt-dryer"
//! heated_length = "2.4 m"
//! belt = "2.6 m/min"
//! print_pitch = "0.75 m"
//! zones = [ { length = "2.4 m", air = "190 C" } ]
//! "#).value;
//! let scenario = Scenario::parse("morning.toml", r#"
//! shop = "shop.toml"
//! station = "belt-1"
//! ink = "plastisol-standard"
//! fabric = "cotton-jersey"
//! seed = 7
//! record = "run"
//!
//! [[column]]
//! name = "belt_m_per_min"
//! sees = "belt"
//! "#, &shop).unwrap();
//! // Without `prints` the run has no end: take as many rows as you like.
//! let rows: Vec<_> = scenario.live().take(10).collect();
//! assert_eq!(rows[9].time, 9.0);
//! ```

mod columns;
mod faults;
mod file;
mod whole;

use std::path::Path;

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::library::Library;
use inkdwell_config::problem::Problem;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Shop;
use inkdwell_config::station::Station;

use crate::chance::Chance;
use crate::channel::{Channel, Scene};
use crate::events::{Event, belts, shifts};
use crate::flash_line::FlashLine;
use crate::likely::Batch;
use crate::line::{BeltLine, Spacing};
use crate::physics::{TrueFlash, TrueOven};
use crate::record::Live;

/// What is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// Rides: a probe goes along with one print after the other.
    Rides,
    /// A run: prints follow each other by the station's pitch.
    Run,
    /// Heatings under a flash unit.
    Flash,
}

/// What truly stands there.
#[derive(Debug, Clone, PartialEq)]
pub enum Heat {
    /// A belt dryer.
    Oven(Box<TrueOven>),
    /// A flash unit.
    Flash(Box<TrueFlash>),
}

/// A scenario, read and settled: everything that is drawn once has been drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Its name: the file's, without its ending.
    pub name: String,
    /// What it is meant to show.
    pub about: String,
    /// The seed of all its chances.
    pub seed: u64,
    /// When the trace began, RFC 3339; empty where it says nothing.
    pub started: Option<String>,
    /// The station as declared.
    pub station: Station,
    /// The ink of the job.
    pub ink: Ink,
    /// The fabric of the job.
    pub fabric: Fabric,
    /// What is recorded.
    pub record: Record,
    /// What truly stands there.
    pub heat: Heat,
    /// The garments.
    pub batch: Batch,
    /// The belt's set speed in m/s.
    pub belt: f64,
    /// Temperature of the room.
    pub room: Celsius,
    /// How many prints; `None`: no end.
    pub prints: Option<u32>,
    /// Every how many prints of a run a ride probe goes along; 0: never.
    pub ride_every: u32,
    /// When the first print is laid, in seconds of the scene's clock.
    pub first: f64,
    /// Flash: seconds from heating to heating, and that the panel stays.
    pub every: f64,
    /// Flash: seconds that the panel stays over a print.
    pub stay: f64,
    /// Flash: how warm the platens are at the start and become, in °C.
    pub platen: (f64, f64),
    /// Seconds between rows.
    pub interval: f64,
    /// When the trace begins, and when it ends at the latest, in seconds of the scene's clock.
    pub span: (f64, Option<f64>),
    /// The columns.
    pub channels: Vec<Channel>,
    /// What goes wrong.
    pub events: Vec<Event>,
    /// Expanded uncertainty that the trace notes, as it is written, such as `1.5 C`.
    pub uncertainty: Option<String>,
}

impl Scenario {
    /// Reads a scenario for a shop; `file` is what problems call it.
    ///
    /// # Errors
    /// What is wrong in it. (What is no TOML or of a wrong type is one problem, the first.)
    pub fn parse(file: &str, text: &str, shop: &Shop) -> Result<Scenario, Vec<Problem>> {
        whole::read(file, text, shop, None)
    }

    /// The same with another seed than the file's: other garments and probes, and another dryer too unless
    /// the file fixes it by a seed of its own (`[truth]`, `seed`).
    ///
    /// # Errors
    /// As [`Scenario::parse`].
    pub fn parse_with_seed(
        file: &str,
        text: &str,
        shop: &Shop,
        seed: u64,
    ) -> Result<Scenario, Vec<Problem>> {
        whole::read(file, text, shop, Some(seed))
    }

    /// Reads a scenario file and the shop file that it names, which is looked for beside it.
    ///
    /// # Errors
    /// What is wrong in either.
    pub fn load(path: &Path) -> Result<Scenario, Vec<Problem>> {
        Scenario::load_seeded(path, None)
    }

    /// The same with another seed than the file's, as [`Scenario::parse_with_seed`] has it.
    ///
    /// # Errors
    /// As [`Scenario::load`].
    pub fn load_with_seed(path: &Path, seed: u64) -> Result<Scenario, Vec<Problem>> {
        Scenario::load_seeded(path, Some(seed))
    }

    fn load_seeded(path: &Path, seed: Option<u64>) -> Result<Scenario, Vec<Problem>> {
        let name = path.display().to_string();
        let text = inkdwell_config::read_file(path).map_err(|problem| vec![problem])?;
        let shop = file::shop_named(&name, &text).map_err(|problem| vec![problem])?;
        let shop = Shop::load(&path.with_file_name(shop))?;
        whole::read(&name, &text, &shop, seed)
    }

    /// The scene, ready to begin.
    pub fn scene(&self) -> Scene {
        match &self.heat {
            Heat::Oven(oven) => Scene::Belt(Box::new(self.belt_line(oven).start())),
            Heat::Flash(unit) => Scene::Flash(Box::new(self.flash_line(unit).start())),
        }
    }

    /// The rows of its trace, one after the other.
    pub fn live(&self) -> Live {
        let (channels, events) = (self.channels.clone(), self.events.clone());
        Live::new(
            self.scene(),
            channels,
            events,
            self.seed,
            self.interval,
            self.span,
        )
    }

    fn belt_line(&self, oven: &TrueOven) -> BeltLine {
        let (belt, belt_signal) = belts(self.belt, &self.events);
        let furthest = self
            .channels
            .iter()
            .filter_map(|channel| channel.sees.distance());
        let beyond = furthest.fold(0.3, f64::max) + 0.1;
        BeltLine {
            oven: oven.clone(),
            belt,
            belt_signal,
            shifts: shifts(&self.station.zones, &self.events),
            batch: self.batch.clone(),
            ink: self.ink.clone(),
            fabric: self.fabric.clone(),
            events: self.events.clone(),
            spacing: match self.record {
                Record::Rides => Spacing::Rides,
                _ => Spacing::Pitch(self.station.print_pitch.map_or(0.75, |pitch| pitch.0)),
            },
            ride_every: match self.record {
                Record::Rides => 1,
                _ => self.ride_every,
            },
            first: self.first,
            prints: self.prints,
            follow_to: oven.heated_length() + beyond,
            seed: self.seed,
        }
    }

    fn flash_line(&self, unit: &TrueFlash) -> FlashLine {
        FlashLine {
            unit: *unit,
            batch: self.batch.clone(),
            ink: self.ink.clone(),
            fabric: self.fabric.clone(),
            events: self.events.clone(),
            stay: self.stay,
            every: self.every,
            first: self.first,
            prints: self.prints,
            platen: self.platen,
            platen_prints: 12.0,
            seed: self.seed,
        }
    }
}

/// Chances for what a scenario draws once.
fn chance(seed: u64, purpose: &str) -> Chance {
    Chance::new(seed, purpose)
}

/// All inks and fabrics that a shop knows.
fn library(shop: &Shop) -> Library {
    let mut library = Library::shipped();
    library.add(shop.library.clone());
    library
}
