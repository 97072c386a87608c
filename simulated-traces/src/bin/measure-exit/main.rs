//! Measures how often a print that was judged by its exit temperature is judged wrongly.
//!
//! Shops are drawn. Each tunes with two rides, sets its belt to what is recommended, puts its exit probes where they
//! see prints soon, and rides there, and again where it is told to, until nine in ten prints are promised to be proved.
//! That ride is its reference. It then runs prints, good ones and ones with every
//! kind of fault. With `--any-margin` it runs at some share of the true fastest speed, which it cannot know, the
//! probes 0.35 m behind the heat. Their traces go the same way as those of `inkdwell judge --place exit`: objects
//! found, films inferred, laws held against them. What is true is known from the simulation, whose physics
//! is not that of the fitted model.
//!
//!     cargo run -p inkdwell-simulated-traces --bin measure-exit -- --shops 40 [--second-probe] [--first-seed 1]
//!         [--any-margin]
//!
//! Traces are kept with `--keep DIR`, so that measuring the same shops again takes no simulation.

mod reference;
mod shops;
mod tally;

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};

use inkdwell_cure::exit::run::{Run, SIGNAL_DOUBT, judge_run};
use inkdwell_cure::plan::{DEFAULT_MAX_GAP, PrintLaws};
use inkdwell_simulated_traces::shop::SimulatedShop;

use reference::{EXITS, belt_of, fitted, learned};
use shops::{Chooses, Day, NoDay, Readings, is_proved};
use tally::{Tallies, told};

/// So many shops are measured at once.
const AT_ONCE: usize = 2;

#[derive(Debug, Clone)]
struct Call {
    shops: u64,
    first_seed: u64,
    second_probe: bool,
    counter: bool,
    verbose: bool,
    chooses: Chooses,
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
        chooses: Chooses::Tuning,
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
            "--any-margin" => call.chooses = Chooses::AnyMargin,
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
        "{} shops ({} with a reference that is proved itself); left out: {} without a speed at which prints are \
         truly good, {} to which no speed is recommended, {} without a ride that is proved",
        all.measured,
        all.proved,
        all.skipped[NoDay::Windowless as usize],
        all.skipped[NoDay::NotRecommended as usize],
        all.skipped[NoDay::NotProved as usize]
    );
    all.speeds.sort_by(f64::total_cmp);
    if let Some(middle) = all.speeds.get(all.speeds.len() / 2) {
        println!("they run at {middle:.2} of the true fastest speed in the median");
    }
    all.tallies.print();
    ExitCode::SUCCESS
}

/// What was measured so far.
#[derive(Debug, Default)]
struct Sum {
    tallies: Tallies,
    measured: u32,
    proved: u32,
    /// Speeds over the true fastest.
    speeds: Vec<f64>,
    /// By why there was nothing to measure.
    skipped: [u32; 3],
}

impl Sum {
    fn merge(&mut self, other: Sum) {
        self.tallies.merge(other.tallies);
        self.measured += other.measured;
        self.proved += other.proved;
        self.speeds.extend(other.speeds);
        let skipped = self.skipped.iter_mut().zip(other.skipped);
        skipped.for_each(|(all, own)| *all += own);
    }

    fn shop(&mut self, seed: u64, call: &Call) {
        let mut lines = Vec::new();
        let drawn = Day::of(seed, call.chooses, call.keep.as_deref());
        let measured = drawn.and_then(|(shop, day)| match day {
            Ok(day) => self.day(&shop, &day, call, &mut lines),
            Err(why) => {
                self.skipped[why as usize] += 1;
                Ok(())
            }
        });
        if let Err(error) = measured {
            lines.push(format!("shop {seed}: {error}"));
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
        let fitted = fitted(shop, day.belt, &day.ride, call.mass_scatter)?;
        let probes = 1 + usize::from(call.second_probe);
        let names: Vec<(&str, f64)> = EXITS.into_iter().zip(day.exits).take(probes).collect();
        let pitch = shop.station.print_pitch.map(|pitch| pitch.0);
        let reference = learned(&fitted, &names, &day.ride, pitch)?;
        let mut model = reference
            .model(shop.oven.room)
            .map_err(|error| error.to_string())?;
        self.measured += 1;
        self.proved += u32::from(proved);
        self.speeds.push(day.of_fastest);
        if call.verbose {
            let (peak, rms) = (fitted.rides()[0].peak.0, fitted.rides()[0].rms.0);
            let outlook = model
                .outlook(SIGNAL_DOUBT)
                .map_err(|error| error.to_string())?;
            lines.push(format!(
                "shop {} {:?} {} on {} belt {:.4} ({:.2}) ridden {peak:.1} (true {:.1}) rms {rms:.1} proved {proved} \
                 promised {:.2}, {:?}, {:.4?}",
                shop.seed,
                shop.style,
                shop.ink.id,
                shop.fabric.id,
                day.belt,
                day.of_fastest,
                day.ride.truths[0].truth.peak_c,
                outlook.proved.0,
                outlook.hangs_at,
                outlook.elsewhere.map(|there| (there.belt.0, there.proved.0)),
            ));
        }
        for run in &day.runs {
            let (read, truths) = (&run.recorded, &run.recorded.truths);
            let exits: Vec<Readings> = names.iter().map(|(name, _)| read.column(name)).collect();
            let count = read.column("prints_count");
            let past = Run {
                exits: exits.iter().map(|exit| Some(exit.as_slice())).collect(),
                way: belt_of(read, run.noted).ok_or("no belt")?,
                belt_declared: run.noted.is_none(),
                count: call.counter.then_some(count.as_slice()),
                eye: Some(day.exits[0] - 0.1),
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
