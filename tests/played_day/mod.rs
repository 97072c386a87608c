//! A day of the simulated shop, played into a journal by a clock of its own: the same every time, to the bit.
//!
//! The story is the demonstration's: five batches, each with its own trouble. People do their part too: they calibrate,
//! settle holds, see alarms, wash shirts.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use inkdwell_config::shop::{Place, Shop};
use inkdwell_config::written::declared;
use inkdwell_daemon::intake::{Delivery, Notice, Said, SourceId, Value};
use inkdwell_daemon::journal::{self, Batch, JournaledReading, Settings, Shown, Writer};
use inkdwell_daemon::keeper::{Command, Deal, Entry, Keeper, OpenBatch, TICKS};
use inkdwell_daemon::record::{
    Calibrated, HoldOpened, Occurrence, PassJudged, RecipeLocked, Record, Settled, SignedOff,
};
use inkdwell_daemon::time::Micros;
use inkdwell_simulated_traces::channel;
use inkdwell_simulated_traces::scenario::Scenario;

const SHOP: &str = include_str!("../../simulated-traces/demo/shop.toml");
const SOURCE: &str = "dryer";
/// 2026-03-02 07:00 UTC, 8:00 in Vienna.
const BEGIN: i64 = 1_772_434_800_000_000;
/// The batches: job, and what is simulated.
const CHAPTERS: [(&str, &str); 5] = [
    (
        "Harbour choir",
        include_str!("../../simulated-traces/demo/1-good-run.scenario.toml"),
    ),
    (
        "Night market",
        include_str!("../../simulated-traces/demo/2-heater-sags.scenario.toml"),
    ),
    (
        "Rowing club",
        include_str!("../../simulated-traces/demo/3-belt-stops.scenario.toml"),
    ),
    (
        "Book fair",
        include_str!("../../simulated-traces/demo/4-wrong-garment.scenario.toml"),
    ),
    (
        "Kite festival",
        include_str!("../../simulated-traces/demo/5-probe-breaks.scenario.toml"),
    ),
];

/// Plays the day into a new data folder, with so many prints in the good run.
pub fn play(folder: &Path, good: u32) {
    let mut day = Day::begin(folder);
    for number in 0..CHAPTERS.len() {
        let prints = (number == 0).then_some(good);
        day.chapter(number, prints);
        day.people(number);
    }
    day.end();
}

struct Day {
    shop: Shop,
    keeper: Keeper,
    writer: Writer,
    now: Micros,
    holds: Vec<HoldOpened>,
    raised: Vec<String>,
    last_pass: Option<PassJudged>,
    /// What each zone showed last, by its channel.
    zones: Vec<(String, f64)>,
    recipe: Option<u64>,
}

impl Day {
    fn begin(folder: &Path) -> Day {
        let settings = Settings {
            keep_free: Some(0),
            ..Settings::default()
        };
        let (writer, _) = journal::open(folder, settings).unwrap();
        let checked = Shop::parse("shop.toml", SHOP);
        assert_eq!(checked.problems, vec![]);
        let (shop, now) = (checked.value, Micros(BEGIN));
        let mut keeper = Keeper::new(shop.clone(), now, now);
        let version = env!("CARGO_PKG_VERSION").to_owned();
        keeper.occurred(now, None, Occurrence::Started { version });
        keeper.declare_shop(now, None);
        let mut day = Day {
            shop,
            keeper,
            writer,
            now,
            holds: Vec::new(),
            raised: Vec::new(),
            last_pass: None,
            zones: Vec::new(),
            recipe: None,
        };
        day.ask(Command::Calibrate(Calibrated {
            probe: "film".to_owned(),
            points_c: vec![(100.0, 100.3), (180.0, 180.4)],
            uncertainty_c: Some(0.6),
            date: "2025-03-10".to_owned(),
            due: Some("2026-03-10".to_owned()),
            by: "Ada".to_owned(),
        }));
        day
    }

    fn wait(&mut self, seconds: u32) {
        for _ in 0..seconds {
            self.now = self.now.plus_seconds(1.0);
            self.keeper.tick(self.now, self.now);
        }
        self.commit();
    }

    fn ask(&mut self, command: Command) -> Record {
        let done = self.keeper.command(command, self.now);
        self.commit();
        done.unwrap()
    }

    /// One batch from its opening to its closing.
    fn chapter(&mut self, number: usize, prints: Option<u32>) {
        let (job, text) = CHAPTERS[number];
        let mut scenario = Scenario::parse(job, text, &self.shop).unwrap();
        // Every chapter has garments of its own.
        scenario.seed = 8 + number as u64;
        scenario.prints = prints.or(scenario.prints);
        self.wait(60);
        let opened = self.ask(Command::OpenBatch(Box::new(OpenBatch {
            station: "belt-1".to_owned(),
            job: job.to_owned(),
            ink: scenario.ink.id.clone(),
            fabric: scenario.fabric.id.clone(),
            last_heat: false,
            quantity: scenario.prints.map(u64::from),
            blank_cost: Some(6.5),
            mesh_per_inch: Some(156.0),
            ink_mixed: None,
            recipe: self.recipe,
            by: "Mara".to_owned(),
        })));
        let Record::BatchOpened(opened) = opened else {
            panic!("{opened:?}");
        };
        self.trace(&scenario);
        if self.recipe.is_none() {
            self.lock(&scenario);
        }
        let (batch, by) = (opened.batch, "Mara".to_owned());
        self.ask(Command::CloseBatch { batch, by });
    }

    /// Plays a trace to its end.
    fn trace(&mut self, scenario: &Scenario) {
        let (source, begun) = (SourceId(0), self.now);
        self.keeper.notice(source, Notice::Up, begun);
        let names: Vec<Arc<str>> = scenario
            .channels
            .iter()
            .map(|own| spoken(&own.name))
            .collect();
        let mut committed = begun;
        for row in scenario.live() {
            let at = begun.plus_seconds(row.time);
            while self.now.plus_seconds(1.0) <= at {
                self.now = self.now.plus_seconds(1.0);
                self.keeper.tick(self.now, self.now);
            }
            let said = names
                .iter()
                .zip(&row.values)
                .filter_map(|(channel, value)| {
                    let value = match value {
                        channel::Value::Number(number) => Value::Number(*number),
                        channel::Value::Open => Value::NoNumber(Arc::from("OPEN")),
                        channel::Value::Missing => return None,
                    };
                    Some(Said {
                        channel: Arc::clone(channel),
                        value,
                        device_time: None,
                        sequence: None,
                    })
                });
            let delivery = Delivery {
                source,
                arrived: Instant::now(),
                said: said.collect(),
                mark: None,
                receipt: None,
            };
            self.keeper.take(delivery, at);
            if at.seconds_since(committed) >= 60.0 {
                committed = at;
                self.commit();
            }
        }
        self.keeper.notice(source, Notice::Ended, self.now);
        self.commit();
    }

    /// Locks a recipe from the last ride, with the chamber as it was then.
    fn lock(&mut self, scenario: &Scenario) {
        let ride = self.last_pass.clone().unwrap();
        let zones = self
            .shop
            .probes
            .iter()
            .filter(|own| own.place == Place::Zone);
        let zones = zones.filter_map(|zone| {
            let shown = self.zones.iter().find(|(id, _)| *id == zone.channel)?;
            Some((zone.id.clone(), shown.1))
        });
        let locked = self.ask(Command::LockRecipe(Box::new(RecipeLocked {
            recipe: 0,
            station: "belt-1".to_owned(),
            ink: scenario.ink.id.clone(),
            fabric: scenario.fabric.id.clone(),
            declared: declared(&scenario.ink, &scenario.fabric),
            ride: ride.pass,
            belt_m_per_min: ride.belt_m_per_min,
            zones_c: zones.collect(),
            exit_c: None,
            belt_drift: 0.05,
            zone_drift_c: 6.0,
            exit_drift_c: 6.0,
            ride_every_s: None,
            by: "Mara".to_owned(),
            reference: None,
        })));
        let Record::RecipeLocked(locked) = locked else {
            panic!("{locked:?}");
        };
        self.recipe = Some(locked.recipe);
    }

    /// What people do after a batch.
    fn people(&mut self, number: usize) {
        self.wait(90);
        if let Some(alarm) = self.raised.pop() {
            let (deal, by) = (Deal::Acknowledge, "Jon".to_owned());
            let why = String::new();
            let seen = Command::Alarm {
                alarm,
                deal,
                by,
                why,
            };
            self.ask(seen);
        }
        self.wait(30);
        let test = |batch, pass, method: &str, passed, result: &str| {
            Command::SignOff(SignedOff {
                batch,
                pass: Some(pass),
                method: method.to_owned(),
                passed,
                result: result.to_owned(),
                by: "Ada".to_owned(),
            })
        };
        match number {
            0 => {
                self.ask(test(1, 1, "ISO 105-C06", true, "grade 4-5"));
                self.ask(test(
                    1,
                    2,
                    "AATCC TM8",
                    false,
                    "grade 2, colour on the cloth",
                ));
            }
            1 => {
                self.settle(
                    Settled::ReRun,
                    "sent through once more, and then washed well",
                );
                let note = "The element of zone 2 was loose.".to_owned();
                let by = "Jon".to_owned();
                self.ask(Command::NoteBatch { batch: 2, note, by });
            }
            2 => self.settle(Settled::Scrapped, "brown along the hem"),
            _ => {}
        }
    }

    /// Settles the newest hold.
    fn settle(&mut self, outcome: Settled, why: &str) {
        let hold = self.holds.pop().unwrap().hold;
        let (by, why) = ("Jon".to_owned(), why.to_owned());
        self.ask(Command::SettleHold {
            hold,
            outcome,
            by,
            why,
        });
    }

    fn end(mut self) {
        self.wait(60);
        self.keeper.finish(self.now);
        self.keeper.occurred(self.now, None, Occurrence::Stopped);
        self.commit();
    }

    fn commit(&mut self) {
        let entry = self.keeper.take_entry();
        for (_, record) in &entry.records {
            match record {
                Record::HoldOpened(hold) => self.holds.push(hold.clone()),
                Record::PassJudged(pass) => self.last_pass = Some(pass.clone()),
                Record::AlarmChanged(changed) if changed.announce => {
                    self.raised.push(changed.alarm.clone());
                }
                _ => {}
            }
        }
        for taking in &entry.readings {
            if let (Value::Number(number), true) =
                (&taking.value, taking.channel.starts_with("zone"))
            {
                let name = taking.channel.to_string();
                self.zones.retain(|(own, _)| *own != name);
                self.zones.push((name, *number));
            }
        }
        write(&mut self.writer, entry);
    }
}

fn write(writer: &mut Writer, entry: Entry) {
    let readings = entry
        .readings
        .iter()
        .filter(|taking| taking.source != TICKS);
    let readings: Vec<JournaledReading> = readings
        .map(|taking| JournaledReading {
            channel: writer.channel(SOURCE, &taking.channel),
            at: taking.at,
            shown: match &taking.value {
                Value::Number(number) => Shown::Number(*number),
                Value::NoNumber(word) => Shown::Word(writer.word(word)),
            },
            fed: taking.fed,
        })
        .collect();
    let batch = Batch {
        readings,
        records: entry.records,
        ..Batch::default()
    };
    writer.commit(&batch).unwrap();
}

/// A column's name without its unit, as the simulated source says it.
fn spoken(column: &str) -> Arc<str> {
    let units = ["_c", "_m_per_min", "_count"];
    let name = units.iter().find_map(|unit| column.strip_suffix(unit));
    Arc::from(name.unwrap_or(column))
}
