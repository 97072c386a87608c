//! Measures how often a print that was judged by its exit temperature is judged wrongly.
//!
//! Shops are drawn; each rides one print at a sensible speed for a reference and then runs prints, good ones and
//! ones with every kind of fault. Their traces go the same way as those of `inkdwell judge --place exit`: objects
//! found, films inferred, laws held against them. What is true is known from the simulation, whose physics
//! is not that of the fitted model.
//!
//!     cargo run -p inkdwell-simulated-traces --bin measure-exit -- --shops 40 [--second-probe] [--first-seed 1]
//!
//! Traces are kept with `--keep DIR`, so that measuring the same shops again takes no simulation.

mod shops;
mod tally;

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};

use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds, Share,
};
use inkdwell_cure::engine::{Engine, EventKind};
use inkdwell_cure::exit::run::{REPEATS, Run, judge_run};
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::exit::{Probe, Reference};
use inkdwell_cure::heat::fit::{FitOptions, Ride, Trip, fit};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::Uncertainty;
use inkdwell_simulated_traces::shop::{
    EXIT_DISTANCE, EXIT_SPOT, SECOND_EXIT_DISTANCE, SimulatedShop,
};

use shops::{Day, Readings, Recorded};
use tally::{Tallies, told};

/// A type K thermocouple of class 1, ±1.5 °C rectangular (IEC 60584-1), k = 2.
const CLASS_ONE: CelsiusDifference = CelsiusDifference(1.73);
/// So many shops are measured at once.
const AT_ONCE: usize = 2;

#[derive(Debug, Clone)]
struct Call {
    shops: u64,
    first_seed: u64,
    second_probe: bool,
    counter: bool,
    verbose: bool,
    mass_scatter: Option<f64>,
    keep: Option<PathBuf>,
}

fn call() -> Result<Call, String> {
    let mut call = Call {
        shops: 20,
        first_seed: 1,
        second_probe: false,
        counter: true,
        verbose: false,
        mass_scatter: None,
        keep: None,
    };
    let mut typed = std::env::args().skip(1);
    while let Some(option) = typed.next() {
        let mut value = || typed.next().unwrap_or_default();
        let number = |value: String| {
            value
                .parse::<f64>()
                .map_err(|_| format!("{option} takes a number, not {value:?}"))
        };
        match option.as_str() {
            "--shops" => call.shops = number(value())? as u64,
            "--first-seed" => call.first_seed = number(value())? as u64,
            "--mass-scatter" => call.mass_scatter = Some(number(value())?),
            "--keep" => call.keep = Some(PathBuf::from(value())),
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
    let next = AtomicU64::new(call.first_seed);
    let worker = || {
        let mut sum = Sum::default();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= call.first_seed + call.shops {
                return sum;
            }
            sum.shop(seed, &call);
        }
    };
    let mut all = Sum::default();
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..AT_ONCE).map(|_| scope.spawn(worker)).collect();
        for worker in workers {
            match worker.join() {
                Ok(sum) => all.merge(sum),
                Err(_) => println!("a worker came to grief; its shops are missing"),
            }
        }
    });
    println!(
        "{} shops ({} with a reference that is proved itself); {} without a speed at which prints are truly good",
        all.measured, all.proved, all.skipped
    );
    all.tallies.print();
    ExitCode::SUCCESS
}

/// What was measured so far.
#[derive(Debug, Default)]
struct Sum {
    tallies: Tallies,
    measured: u32,
    proved: u32,
    skipped: u32,
}

impl Sum {
    fn merge(&mut self, other: Sum) {
        self.tallies.merge(other.tallies);
        self.measured += other.measured;
        self.proved += other.proved;
        self.skipped += other.skipped;
    }

    fn shop(&mut self, seed: u64, call: &Call) {
        let mut lines = Vec::new();
        let measured = Day::of(seed, call.keep.as_deref()).and_then(|(shop, day)| {
            day.map(|day| self.day(&shop, &day, call, &mut lines))
                .transpose()
        });
        match measured {
            Ok(Some(())) => {}
            Ok(None) => self.skipped += 1,
            Err(error) => lines.push(format!("shop {seed}: {error}")),
        }
        if !lines.is_empty() {
            println!("{}", lines.join("\n"));
        }
    }

    /// Measures one shop.
    fn day(
        &mut self,
        shop: &SimulatedShop,
        day: &Day,
        call: &Call,
        lines: &mut Vec<String>,
    ) -> Result<(), String> {
        let laws = PrintLaws::new(&shop.ink, &shop.fabric);
        let proved = is_proved(&laws, &day.ride);
        let usual = FitOptions::default();
        let mass = call.mass_scatter.map_or(usual.mass_scatter, Share);
        let options = Reference::fit_options(usual.room, mass, usual.regain_scatter);
        let fitted = fit(
            &[ride(shop, day)],
            &shop.station,
            &shop.ink,
            &shop.fabric,
            options,
        )
        .map_err(|error| error.to_string())?;
        let names = if call.second_probe {
            vec![("exit_c", EXIT_DISTANCE), ("exit2_c", SECOND_EXIT_DISTANCE)]
        } else {
            vec![("exit_c", EXIT_DISTANCE)]
        };
        let ridden: Vec<Readings> = names
            .iter()
            .map(|(name, _)| day.ride.column(name))
            .collect();
        let probes: Vec<(Probe, &[(f64, f64)])> = names
            .iter()
            .zip(&ridden)
            .map(|((_, distance), readings)| {
                let probe = Probe {
                    distance: Metres(*distance),
                    spot: Metres(EXIT_SPOT),
                    uncertainty: REPEATS,
                };
                (probe, readings.as_slice())
            })
            .collect();
        let pitch = shop.station.print_pitch.map(|pitch| pitch.0);
        let way = belt(&day.ride, None).ok_or("no belt")?;
        let reference = Reference::learn(&fitted, &probes, &way, pitch)
            .map_err(|error| format!("reference: {error}"))?;
        let mut model = reference
            .model(shop.oven.room)
            .map_err(|error| error.to_string())?;
        self.measured += 1;
        self.proved += u32::from(proved);
        if call.verbose {
            let (peak, rms) = (fitted.rides()[0].peak.0, fitted.rides()[0].rms.0);
            lines.push(format!(
                "shop {} {:?} {} on {} belt {:.4} ridden {peak:.1} (true {:.1}) rms {rms:.1} proved {proved}",
                shop.seed, shop.style, shop.ink.id, shop.fabric.id, day.belt, day.ride.truths[0].truth.peak_c,
            ));
        }
        for run in &day.runs {
            let (read, truths) = (&run.recorded, &run.recorded.truths);
            let exits: Vec<Readings> = names.iter().map(|(name, _)| read.column(name)).collect();
            let count = read.column("prints_count");
            let past = Run {
                exits: exits.iter().map(|exit| Some(exit.as_slice())).collect(),
                way: belt(read, run.noted).ok_or("no belt")?,
                belt_declared: run.noted.is_none(),
                count: call.counter.then_some(count.as_slice()),
                eye: Some(EXIT_DISTANCE - 0.1),
                pitch,
                max_gap: DEFAULT_MAX_GAP,
                remarks: Vec::new(),
            };
            let mut passes = Vec::new();
            judge_run((&reference, &mut model), &past, &laws, &mut |pass| {
                passes.push(pass);
            });
            if passes.len() != truths.len() {
                self.tallies.lose(&run.name, truths.len());
                lines.push(format!(
                    "shop {}, {}: {} of {} prints found",
                    shop.seed,
                    run.name,
                    passes.len(),
                    truths.len()
                ));
                continue;
            }
            for (pass, truth) in passes.iter().zip(truths) {
                self.tallies.add(&run.name, truth, pass, proved);
                if call.verbose {
                    lines.push(told(&run.name, pass, truth));
                }
            }
        }
        Ok(())
    }
}

fn belt(recorded: &Recorded, noted: Option<f64>) -> Option<Way> {
    if let Some(speed) = noted {
        return Some(Way::steady(speed));
    }
    let readings = recorded.column("belt_m_per_min");
    let speeds: Readings = readings
        .iter()
        .map(|(time, speed)| (*time, speed / 60.0))
        .collect();
    Way::measured(&speeds, DEFAULT_MAX_GAP.0)
}

fn ride(shop: &SimulatedShop, day: &Day) -> Ride {
    let series = |name: &str| -> Vec<(Seconds, Celsius)> {
        let readings = day.ride.column(name);
        let kept = readings.iter();
        kept.map(|(time, celsius)| (Seconds(*time), Celsius(*celsius)))
            .collect()
    };
    Ride {
        trip: Trip::Belt(MetresPerSecond(day.belt)),
        film: series("film_c"),
        cloth: series("cloth_c"),
        room: Some(shop.oven.room),
        uncertainty: CLASS_ONE,
    }
}

/// Whether a ride is proved cured by what it measured itself.
fn is_proved(laws: &PrintLaws, ride: &Recorded) -> bool {
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
