//! What is measured on: a shop, its reference ride, and a run for every kind of fault.

use std::collections::BTreeMap;
use std::path::Path;

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_simulated_traces::chance::Chance;
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::events::{Event, GarmentChange};
use inkdwell_simulated_traces::record::PrintRecord;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::shop::{SimulatedShop, draw_shop};
use serde::{Deserialize, Serialize};

/// Prints of every run.
const PRINTS: u32 = 6;

/// Readings of a column: seconds and values, NaN where bad.
pub type Readings = Vec<(f64, f64)>;

/// What was recorded, and what was true.
#[derive(Debug, Serialize, Deserialize)]
pub struct Recorded {
    /// By column: seconds and values, none where the reading was bad.
    columns: BTreeMap<String, Vec<(f64, Option<f64>)>>,
    /// Every print, in order.
    pub truths: Vec<PrintRecord>,
}

impl Recorded {
    fn of(scenario: &Scenario) -> Recorded {
        let mut live = scenario.live();
        let names: Vec<String> = live
            .channels()
            .map(|channel| channel.name.clone())
            .collect();
        let mut columns: BTreeMap<String, Vec<(f64, Option<f64>)>> = BTreeMap::new();
        let mut truths = Vec::new();
        while let Some(row) = live.next() {
            for (name, value) in names.iter().zip(row.values) {
                let column = columns.entry(name.clone()).or_default();
                match value {
                    Value::Number(number) => column.push((row.time, Some(number))),
                    Value::Open => column.push((row.time, None)),
                    Value::Missing => {}
                }
            }
            truths.extend(live.take_done());
        }
        truths.extend(live.finish());
        truths.sort_by_key(|record| record.index);
        Recorded { columns, truths }
    }

    /// The readings of a column, none if it was not recorded.
    pub fn column(&self, name: &str) -> Readings {
        let readings = self.columns.get(name).into_iter().flatten();
        readings
            .map(|(time, value)| (*time, value.unwrap_or(f64::NAN)))
            .collect()
    }
}

/// A run and what is wrong with it.
#[derive(Debug, Serialize, Deserialize)]
pub struct FaultyRun {
    /// What is wrong.
    pub name: String,
    /// The speed that is noted (m/s), where no signal counts.
    pub noted: Option<f64>,
    /// The run.
    pub recorded: Recorded,
}

/// All that is measured on one shop.
#[derive(Debug, Serialize, Deserialize)]
pub struct Day {
    /// The reference's speed in m/s.
    pub belt: f64,
    /// The reference ride.
    pub ride: Recorded,
    /// Runs after it.
    pub runs: Vec<FaultyRun>,
}

impl Day {
    /// A shop and its day, taken from where days are kept if it is there; no day where the shop has no speed
    /// at which prints are truly good.
    pub fn of(seed: u64, kept: Option<&Path>) -> Result<(SimulatedShop, Option<Day>), String> {
        let shop = draw_shop(seed);
        let Some(kept) = kept else {
            let day = Day::drawn(&shop);
            return Ok((shop, day));
        };
        let path = kept.join(format!("shop-{seed}.json"));
        let told = |error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
        if let Ok(text) = std::fs::read_to_string(&path) {
            let day = serde_json::from_str(&text).map_err(|error| told(&error))?;
            return Ok((shop, day));
        }
        let day = Day::drawn(&shop);
        let text = serde_json::to_string(&day).map_err(|error| told(&error))?;
        std::fs::write(&path, text).map_err(|error| told(&error))?;
        Ok((shop, day))
    }

    fn drawn(shop: &SimulatedShop) -> Option<Day> {
        let fastest = shop.fastest_safe()?;
        let mut chance = Chance::new(shop.seed, "measure exit");
        let belt = chance.between(0.85, 0.95) * fastest.0;
        if !shop.truth_at(MetresPerSecond(belt)).is_good() {
            return None;
        }
        let ride = Recorded::of(&shop.ride(MetresPerSecond(belt), 1000 * shop.seed));
        let runs = (1..)
            .zip(faults(shop, belt, &mut chance))
            .map(|(number, fault)| {
                let seed = 1000 * shop.seed + number;
                let speed = MetresPerSecond(fault.belt);
                let mut scenario = shop.run_of(speed, seed, PRINTS, fault.events);
                // The first print is laid when the trace begins: a sagging chamber has settled then.
                scenario.span.0 = scenario.first;
                FaultyRun {
                    name: fault.name.to_owned(),
                    noted: fault.noted,
                    recorded: Recorded::of(&scenario),
                }
            })
            .collect();
        Some(Day { belt, ride, runs })
    }
}

/// A fault and the run that shows it.
struct Fault {
    name: &'static str,
    belt: f64,
    noted: Option<f64>,
    events: Vec<Event>,
}

fn faults(shop: &SimulatedShop, belt: f64, chance: &mut Chance) -> Vec<Fault> {
    let zones = shop.station.zones.len();
    let garments = |change| {
        vec![Event::Garments {
            from: 1,
            count: PRINTS,
            change: Box::new(change),
        }]
    };
    let sag = |by: f64, zones: std::ops::RangeInclusive<usize>| -> Vec<Event> {
        zones
            .map(|zone| Event::HeaterSag {
                at: 0.0,
                over: 0.0,
                zone,
                by,
                panel_by: 2.0 * by,
                until: None,
            })
            .collect()
    };
    let fault = |name, belt, noted, events| Fault {
        name,
        belt,
        noted,
        events,
    };
    let one = *chance.pick(&(1..=zones).collect::<Vec<usize>>());
    let by = chance.between(10.0, 25.0);
    let one_by = chance.between(10.0, 25.0);
    let wet = chance.between(0.1, 0.4);
    let heavy = chance.between(1.333, 2.0);
    let water = shop.batch.nominal.cloth.moisture.0;
    vec![
        fault("as the reference", belt, None, Vec::new()),
        fault("as the reference, noted belt", belt, Some(belt), Vec::new()),
        fault("15 % fast, signal", 1.15 * belt, None, Vec::new()),
        fault("15 % slow, signal", 0.85 * belt, None, Vec::new()),
        fault("15 % fast, not noted", 1.15 * belt, Some(belt), Vec::new()),
        fault("chamber sags by 10 to 25 C", belt, None, sag(by, 1..=zones)),
        fault("one zone sags so", belt, None, sag(one_by, one..=one)),
        fault(
            "wet garments",
            belt,
            None,
            garments(GarmentChange::Moisture(water + wet)),
        ),
        fault(
            "heavy garments",
            belt,
            None,
            garments(GarmentChange::Mass(heavy)),
        ),
    ]
}
