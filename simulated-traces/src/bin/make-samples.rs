//! Writes the sample traces again from their scenarios: `cargo run -p inkdwell-simulated-traces --bin make-samples`.

use std::process::ExitCode;

use inkdwell_simulated_traces::samples::{folder, make};

fn main() -> ExitCode {
    match make(&folder()) {
        Ok(written) => {
            for file in written {
                println!("{file}");
            }
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("{problem}");
            ExitCode::FAILURE
        }
    }
}
