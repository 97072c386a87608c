//! What is measured on: a shop, its reference ride, and a run for every kind of fault.

use std::collections::BTreeMap;
use std::path::Path;

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::engine::{Engine, EventKind};
use inkdwell_cure::heat::fit::{FitOptions, fit};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::Uncertainty;
use inkdwell_cure::tuning::{proved_window, recommend};
use inkdwell_simulated_traces::chance::Chance;
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::events::{Event, GarmentChange};
use inkdwell_simulated_traces::record::PrintRecord;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::shop::{SimulatedShop, draw_shop};
use inkdwell_simulated_traces::tryout::{CLASS_ONE, tried_rides};

use crate::reference::outlook;
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
    /// The same over the fastest speed that is truly good.
    pub of_fastest: f64,
    /// Where the exit probes look, in metres from the end of the heat.
    pub exits: [f64; 2],
    /// The reference ride.
    pub ride: Recorded,
    /// Runs after it.
    pub runs: Vec<FaultyRun>,
}

/// Why there is no day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum NoDay {
    /// No speed is truly good.
    Windowless,
    /// Tuning recommends no speed.
    NotRecommended,
    /// No ride at the recommended speed, or a little slower, is proved cured.
    NotProved,
}

/// How a shop chooses the speed that it runs at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chooses {
    /// It tunes with two rides, sets the belt to what is recommended, and rides there, slower each time, until a
    /// print that leaves as the ridden one did is proved.
    Tuning,
    /// At 85 to 95 % of the fastest good speed, which no shop knows; its probes 0.35 m behind the heat, and its
    /// reference as it comes.
    AnyMargin,
}

/// A person sets a belt by so many m/min, rounding down.
const DIAL: f64 = 0.05;
/// Where a ride does not do, the next goes so much slower, so often.
const SLOWER: f64 = 0.96;
const AGAIN: u64 = 6;

impl Day {
    /// A shop and its day, taken from where days are kept if it is there.
    pub fn of(
        seed: u64,
        chooses: Chooses,
        kept: Option<&Path>,
    ) -> Result<(SimulatedShop, Result<Day, NoDay>), String> {
        let shop = draw_shop(seed);
        let Some(kept) = kept else {
            let day = Day::drawn(&shop, chooses);
            return Ok((shop, day));
        };
        let path = kept.join(format!("shop-{seed}.json"));
        let told = |error: &dyn std::fmt::Display| format!("{}: {error}", path.display());
        if let Ok(text) = std::fs::read_to_string(&path) {
            let day = serde_json::from_str(&text).map_err(|error| told(&error))?;
            return Ok((shop, day));
        }
        let day = Day::drawn(&shop, chooses);
        let text = serde_json::to_string(&day).map_err(|error| told(&error))?;
        std::fs::write(&path, text).map_err(|error| told(&error))?;
        Ok((shop, day))
    }

    fn drawn(shop: &SimulatedShop, chooses: Chooses) -> Result<Day, NoDay> {
        let fastest = shop.fastest_safe().ok_or(NoDay::Windowless)?;
        let mut chance = Chance::new(shop.seed, "measure exit");
        let share = chance.between(0.85, 0.95);
        let (shop, belt, ride) = match chooses {
            Chooses::Tuning => settled(shop)?,
            Chooses::AnyMargin => {
                let belt = share * fastest.0;
                if !shop.truth_at(MetresPerSecond(belt)).is_good() {
                    return Err(NoDay::Windowless);
                }
                let ride = Recorded::of(&shop.ride(MetresPerSecond(belt), 1000 * shop.seed));
                (shop.clone(), belt, ride)
            }
        };
        let runs = (1..)
            .zip(faults(&shop, belt, &mut chance))
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
        Ok(Day {
            belt,
            of_fastest: belt / fastest.0,
            exits: shop.exits,
            ride,
            runs,
        })
    }
}

/// The shop with its exit probes in place, the speed that it settles on, and the ride that it keeps there: the first
/// of which the ride itself is proved and nine in ten prints that follow are said to be. It rides where it is told to,
/// a little slower where the ride itself is not proved; if no speed does, it keeps the most promising ride.
fn settled(shop: &SimulatedShop) -> Result<(SimulatedShop, f64, Recorded), NoDay> {
    let mut belt = recommended(shop).ok_or(NoDay::NotRecommended)?;
    let shop = shop.clone().probed_for(MetresPerSecond(belt));
    let laws = PrintLaws::new(&shop.ink, &shop.fabric);
    let mut kept: Option<(f64, f64, Recorded)> = None;
    for number in 0..=AGAIN {
        let on_dial = DIAL * (60.0 * belt / DIAL + 1e-6).floor().max(1.0) / 60.0;
        let ride =
            Recorded::of(&shop.ride(MetresPerSecond(on_dial), 1000 * shop.seed + 900 + number));
        if !is_proved(&laws, &ride) {
            belt = on_dial * SLOWER;
            continue;
        }
        let outlook = outlook(&shop, on_dial, &ride);
        let promised = outlook.map_or(0.0, |outlook| outlook.proved.0);
        if kept.as_ref().is_none_or(|kept| promised > kept.0) {
            kept = Some((promised, on_dial, ride));
        }
        match outlook.and_then(|outlook| outlook.elsewhere) {
            // A dial has steps: what is not slower than it was takes the next.
            Some(asked) if asked.belt.0 < on_dial => belt = asked.belt.0.min(on_dial - DIAL / 60.0),
            Some(asked) => belt = asked.belt.0,
            None => break,
        }
    }
    let (_, belt, ride) = kept.ok_or(NoDay::NotProved)?;
    Ok((shop, belt, ride))
}

/// The speed that tuning recommends after two rides, in m/s.
fn recommended(shop: &SimulatedShop) -> Option<f64> {
    let rides = tried_rides(shop, 2, false);
    let options = FitOptions::of_one_batch(&shop.fabric);
    let fitted = fit(&rides, &shop.station, &shop.ink, &shop.fabric, options).ok()?;
    let window = proved_window(&fitted, &shop.station).ok()??;
    let recommended = recommend(&fitted, &shop.station, &window).ok()?;
    Some(recommended.belt.0)
}

/// Whether a ride is proved cured by what it measured itself.
pub fn is_proved(laws: &PrintLaws, ride: &Recorded) -> bool {
    let doubt = ProbeDoubt {
        uncertainty: Uncertainty::constant(CLASS_ONE),
        assumed: None,
    };
    let mut engine = Engine::new();
    let film = engine.add_channel(ChannelPlan {
        laws: laws.clone(),
        watch: Watch::Ride,
        doubt,
        max_gap: DEFAULT_MAX_GAP,
        wake: DEFAULT_WAKE,
    });
    let cloth = engine.add_cloth(film, "cloth", doubt);
    let mut cured = false;
    let mut note = |event: inkdwell_cure::engine::Event| {
        if let EventKind::PassJudged(pass) = event.kind {
            cured |= pass.verdict == Verdict::Cured;
        }
    };
    engine.feed_cloth_all(cloth, &ride.column("cloth_c"));
    engine.feed_all(film, &ride.column("film_c"), &mut note);
    engine.finish(&mut note);
    cured
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
