//! Measures how far tuning can be trusted: how well a fitted model predicts speeds that nobody rode, how
//! often its bands hold what is true, and how near its recommended speed comes to the fastest safe one.
//!
//! Shops are drawn, every fourth without a safe speed; each makes rides at speeds that a person would choose who does not know the truth. The fit is told
//! what the shop declares and what the probes read. What is true is known from the simulation, whose physics
//! is not that of the fitted model. The same call prints the same figures, times apart.
//!
//!     cargo run -p inkdwell-simulated-traces --bin measure-tuning -- --shops 240 --rides 2 [--first-seed 1] [--cloth]
//!         [--mass-scatter 0.1] [--regain-scatter 0.02] [--as-drawn] [--verbose]
//!
//! The scatters are what is declared of the garments (k = 2); without them it is what is usual of one batch.

mod call;
mod clock;
mod measure;
mod report;
mod said;
mod shown;

use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};

use call::call;
use measure::measure;
use report::report;
use shown::Shown;

fn main() -> ExitCode {
    let call = match call() {
        Ok(call) => call,
        Err(error) => {
            eprintln!("measure-tuning: {error}");
            return ExitCode::from(2);
        }
    };
    let next = AtomicU64::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= call.shops {
                return done;
            }
            done.push((number, measure(number, &call)));
        }
    };
    let mut all: Vec<(u64, Result<Shown, String>)> = std::thread::scope(|scope| {
        let other = scope.spawn(work);
        let mut done = work();
        done.extend(other.join().unwrap_or_default());
        done
    });
    all.sort_by_key(|(number, _)| *number);
    let mut shown = Vec::new();
    for (number, result) in all {
        match result {
            Ok(one) => shown.push(one),
            Err(error) => println!("shop number {number}: {error}"),
        }
    }
    if call.verbose {
        for one in &shown {
            println!("{}", one.said);
            one.details.iter().for_each(|detail| println!("{detail}"));
        }
    }
    report(&shown, &call);
    ExitCode::SUCCESS
}
