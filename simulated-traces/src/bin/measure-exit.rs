//! Measures how often a print that was judged by its exit temperature is judged wrongly.
//!
//! Shops are drawn; each rides one print at a sensible speed for a reference and then runs prints, good ones and
//! ones with every kind of fault. Their traces go the same way as those of `inkdwell judge --place exit`: objects
//! found, films inferred, laws held against them. What is true is known from the simulation, whose physics
//! is not that of the fitted model.
//!
//!     cargo run -p inkdwell-simulated-traces --bin measure-exit -- --shops 40 [--second-probe] [--first-seed 1]

use std::collections::BTreeMap;
use std::process::ExitCode;

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds};
use inkdwell_cure::exit::run::{REPEATS, Run, judge_run};
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::exit::{Probe, Reference};
use inkdwell_cure::heat::fit::{FitOptions, Ride, Trip, fit};
use inkdwell_cure::judged::{JudgedPass, Verdict};
use inkdwell_cure::plan::PrintLaws;
use inkdwell_cure::remark::Remark;
use inkdwell_simulated_traces::chance::Chance;
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::events::{Event, GarmentChange};
use inkdwell_simulated_traces::record::PrintRecord;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::shop::{
    EXIT_DISTANCE, EXIT_SPOT, SECOND_EXIT_DISTANCE, SimulatedShop, draw_shop,
};

/// Prints of every run.
const PRINTS: u32 = 6;
/// A type K thermocouple of class 1, ±1.5 °C rectangular (IEC 60584-1), k = 2.
const CLASS_ONE: CelsiusDifference = CelsiusDifference(1.73);

/// Readings by column name: seconds and values, NaN where bad.
type Columns = BTreeMap<String, Vec<(f64, f64)>>;

fn columns(scenario: &Scenario) -> (Columns, Vec<PrintRecord>) {
    let mut live = scenario.live();
    let names: Vec<String> = live
        .channels()
        .map(|channel| channel.name.clone())
        .collect();
    let mut columns = Columns::new();
    let mut records = Vec::new();
    while let Some(row) = live.next() {
        for (name, value) in names.iter().zip(row.values) {
            let column = columns.entry(name.clone()).or_default();
            match value {
                Value::Number(number) => column.push((row.time, number)),
                Value::Open => column.push((row.time, f64::NAN)),
                Value::Missing => {}
            }
        }
        records.extend(live.take_done());
    }
    records.extend(live.finish());
    records.sort_by_key(|record| record.index);
    (columns, records)
}

fn way(columns: &Columns, noted: Option<f64>) -> Option<Way> {
    if let Some(speed) = noted {
        return Some(Way::steady(speed));
    }
    let readings = columns.get("belt_m_per_min")?;
    let speeds: Vec<(f64, f64)> = readings
        .iter()
        .map(|(time, speed)| (*time, speed / 60.0))
        .collect();
    Way::measured(&speeds, 5.0)
}

/// What happened to prints of one kind.
#[derive(Debug, Default, Clone)]
struct Tally {
    good: [u32; 3],
    bad: [u32; 3],
    /// Prints that were not found, or found twice, or where there was none.
    lost: u32,
}

impl Tally {
    fn add(&mut self, truth: &PrintRecord, pass: &JudgedPass) {
        let row = if truth.truth.is_good() {
            &mut self.good
        } else {
            &mut self.bad
        };
        match pass.verdict {
            Verdict::Cured => row[0] += 1,
            Verdict::Unproven => row[2] += 1,
            _ => row[1] += 1,
        }
    }
}

struct Call {
    shops: u64,
    first_seed: u64,
    second_probe: bool,
    counter: bool,
    verbose: bool,
    mass_scatter: Option<f64>,
}

fn call() -> Result<Call, String> {
    let mut call = Call {
        shops: 20,
        first_seed: 1,
        second_probe: false,
        counter: true,
        verbose: false,
        mass_scatter: None,
    };
    let mut typed = std::env::args().skip(1);
    while let Some(option) = typed.next() {
        let mut number = || {
            let value = typed.next().unwrap_or_default();
            value
                .parse::<f64>()
                .map_err(|_| format!("{option} takes a number, not {value:?}"))
        };
        match option.as_str() {
            "--shops" => call.shops = number()? as u64,
            "--first-seed" => call.first_seed = number()? as u64,
            "--mass-scatter" => call.mass_scatter = Some(number()?),
            "--second-probe" => call.second_probe = true,
            "--no-counter" => call.counter = false,
            "--verbose" => call.verbose = true,
            other => return Err(format!("{other} is no option of this program")),
        }
    }
    Ok(call)
}

fn main() -> ExitCode {
    let call = match call() {
        Ok(call) => call,
        Err(error) => {
            eprintln!("measure-exit: {error}");
            return ExitCode::from(2);
        }
    };
    let mut tallies: Vec<(String, Tally)> = Vec::new();
    let (mut measured, mut skipped) = (0, 0);
    for seed in call.first_seed..call.first_seed + call.shops {
        match measure(&draw_shop(seed), &call, &mut tallies) {
            Ok(true) => measured += 1,
            Ok(false) => skipped += 1,
            Err(error) => {
                skipped += 1;
                println!("shop {seed}: {error}");
            }
        }
    }
    println!("{measured} shops; {skipped} without a speed at which prints are truly good");
    println!(
        "{:<34}{:>16}{:>8}{:>10}{:>10}{:>16}{:>8}",
        "", "faulty: cured", "", "of good:", "rejected", "unproven", "lost"
    );
    let mut all_bad = (0, 0);
    for (name, tally) in &tallies {
        let (bad, good): (u32, u32) = (tally.bad.iter().sum(), tally.good.iter().sum());
        let share = |part: u32, all: u32| 100.0 * f64::from(part) / f64::from(all.max(1));
        println!(
            "{name:<34}{:>6} of {:<5}{:>6.2} %{:>10}{:>6} {:>4.1} %{:>7} {:>4.1} %{:>8}",
            tally.bad[0],
            bad,
            share(tally.bad[0], bad),
            good,
            tally.good[1],
            share(tally.good[1], good),
            tally.good[2],
            share(tally.good[2], good),
            tally.lost
        );
        if !name.contains("not noted") && !name.contains("heavy") {
            all_bad = (all_bad.0 + tally.bad[0], all_bad.1 + bad);
        }
    }
    println!(
        "with a live belt signal, heavy garments apart: {} of {} faulty prints called cured",
        all_bad.0, all_bad.1
    );
    ExitCode::SUCCESS
}

/// A fault and the run that shows it.
struct Fault {
    name: &'static str,
    belt: f64,
    /// The speed that is noted, where no signal is recorded.
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
    let mass = shop.batch.nominal.cloth.moisture.0;
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
            garments(GarmentChange::Moisture(mass + wet)),
        ),
        fault(
            "heavy garments",
            belt,
            None,
            garments(GarmentChange::Mass(heavy)),
        ),
    ]
}

/// Measures one shop; `false` where no speed is truly good.
fn measure(
    shop: &SimulatedShop,
    call: &Call,
    tallies: &mut Vec<(String, Tally)>,
) -> Result<bool, String> {
    let Some(fastest) = shop.fastest_safe() else {
        return Ok(false);
    };
    let mut chance = Chance::new(shop.seed, "measure exit");
    let belt = chance.between(0.85, 0.95) * fastest.0;
    if !shop.truth_at(MetresPerSecond(belt)).is_good() {
        return Ok(false);
    }
    let (ride, ridden_truth) = columns(&shop.ride(MetresPerSecond(belt), 1000 * shop.seed));
    let film = |name: &str| -> Vec<(Seconds, Celsius)> {
        let readings = ride.get(name).into_iter().flatten();
        readings
            .map(|(time, celsius)| (Seconds(*time), Celsius(*celsius)))
            .collect()
    };
    let ridden = Ride {
        trip: Trip::Belt(MetresPerSecond(belt)),
        film: film("film_c"),
        cloth: film("cloth_c"),
        room: Some(shop.oven.room),
        uncertainty: CLASS_ONE,
    };
    let mut options = FitOptions::default();
    if let Some(scatter) = call.mass_scatter {
        options.mass_scatter.0 = scatter;
    }
    let fitted = fit(&[ridden], &shop.station, &shop.ink, &shop.fabric, options)
        .map_err(|error| error.to_string())?;
    let ride_way = way(&ride, None).ok_or("no belt")?;
    let names = if call.second_probe {
        vec![("exit_c", EXIT_DISTANCE), ("exit2_c", SECOND_EXIT_DISTANCE)]
    } else {
        vec![("exit_c", EXIT_DISTANCE)]
    };
    let probes: Vec<(Probe, &[(f64, f64)])> = names
        .iter()
        .map(|(name, distance)| {
            let probe = Probe {
                distance: Metres(*distance),
                spot: Metres(EXIT_SPOT),
                uncertainty: REPEATS,
            };
            (probe, ride[*name].as_slice())
        })
        .collect();
    let pitch = shop.station.print_pitch.map(|pitch| pitch.0);
    let reference = Reference::learn(&fitted, &probes, &ride_way, pitch)
        .map_err(|error| format!("reference: {error}"))?;
    if call.verbose {
        println!(
            "shop {} {:?} {} on {} belt {belt:.4} ridden {:.1} (true {:.1}) shown {:.1?} rms {:.1} {:?}",
            shop.seed,
            shop.style,
            shop.ink.id,
            shop.fabric.id,
            fitted.rides()[0].peak.0,
            ridden_truth[0].truth.peak_c,
            reference
                .shown()
                .iter()
                .flatten()
                .map(|shown| shown.print.0)
                .collect::<Vec<_>>(),
            fitted.rides()[0].rms.0,
            reference.template()
        );
    }
    let laws = PrintLaws::new(&shop.ink, &shop.fabric);
    for (number, fault) in (1..).zip(faults(shop, belt, &mut chance)) {
        let seed = 1000 * shop.seed + number;
        let mut scenario = shop.run_of(MetresPerSecond(fault.belt), seed, PRINTS, fault.events);
        // The first print is laid when the trace begins: a sagging chamber has settled then.
        scenario.span.0 = scenario.first;
        let (read, truths) = columns(&scenario);
        let run = Run {
            exits: names
                .iter()
                .map(|(name, _)| read.get(*name).map(Vec::as_slice))
                .collect(),
            way: way(&read, fault.noted).ok_or("no belt")?,
            belt_declared: fault.noted.is_none(),
            count: read
                .get("prints_count")
                .filter(|_| call.counter)
                .map(Vec::as_slice),
            eye: Some(EXIT_DISTANCE - 0.1),
            pitch,
            room: shop.oven.room,
            max_gap: Seconds(5.0),
            remarks: Vec::new(),
        };
        let mut passes = Vec::new();
        judge_run(&reference, &run, &laws, &mut |pass| passes.push(pass))
            .map_err(|error| error.to_string())?;
        if !tallies.iter().any(|known| known.0 == fault.name) {
            tallies.push((fault.name.to_owned(), Tally::default()));
        }
        let Some((_, tally)) = tallies.iter_mut().find(|known| known.0 == fault.name) else {
            continue;
        };
        if passes.len() != truths.len() {
            tally.lost += PRINTS;
            if call.verbose {
                let starts: Vec<f64> = passes.iter().map(|pass| pass.start.0).collect();
                let leave: Vec<f64> = truths.iter().filter_map(|truth| truth.leaves_s).collect();
                println!(
                    "  {}: found {} at {starts:.1?}; left at {leave:.1?}",
                    fault.name,
                    passes.len()
                );
            }
            continue;
        }
        for (pass, truth) in passes.iter().zip(&truths) {
            tally.add(truth, pass);
            if call.verbose {
                tell(fault.name, pass, truth);
            }
        }
    }
    Ok(true)
}

fn tell(name: &str, pass: &JudgedPass, truth: &PrintRecord) {
    let mark = match (truth.truth.is_good(), pass.verdict) {
        (false, Verdict::Cured) => "WRONG",
        (true, Verdict::Unproven) => "open",
        (true, Verdict::Cured) | (false, _) => "",
        _ => "REJECTED",
    };
    let shown: Vec<f64> = pass
        .remarks
        .iter()
        .filter_map(|remark| match remark {
            Remark::LeftAt { shown } => Some(shown.0),
            _ => None,
        })
        .collect();
    println!(
        "  {name:<28} {:<12} {shown:.1?} peak {:6.1} (true {:6.1}) U {:4.1} cure {:.2?} (true {:.2}) harm {:.2?} (true {:.2}) {mark}",
        pass.verdict.name(),
        pass.peak.0,
        truth.truth.peak_c,
        pass.uncertainty.0,
        pass.cure.map(|cure| [cure.low, cure.best, cure.high]),
        truth.truth.cure,
        pass.harms
            .iter()
            .map(|harm| harm.dose.high)
            .fold(0.0, f64::max),
        truth.truth.worst_harm(),
    );
}
