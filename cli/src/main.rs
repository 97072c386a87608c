//! The command line of Inkdwell.
//!
//! What was typed becomes what is meant in one place for each command ([`arguments`] and the `Call` of
//! each), then one function does it. The exit code is decided here: 0 fine, 1 a finding, 2 the input or
//! the call is wrong.

mod arguments;
mod client;
mod command;
mod demo;
mod export;
mod failure;
mod judge;
mod plot;
mod probe;
mod report;
mod ride_file;
mod start;
mod terminal;
mod tune;
mod watch;

use std::process::ExitCode;

use clap::Parser;

use crate::arguments::{Arguments, Command};
use crate::failure::Failure;

/// How a command that did its work ended.
pub(crate) enum Outcome {
    /// All is well.
    Fine,
    /// At least one print is not proved cured.
    Finding,
}

fn main() -> ExitCode {
    match run(Arguments::parse()) {
        Ok(Outcome::Fine) => ExitCode::SUCCESS,
        Ok(Outcome::Finding) => ExitCode::from(1),
        Err(failure) => {
            failure.say();
            ExitCode::from(2)
        }
    }
}

fn run(arguments: Arguments) -> Result<Outcome, Failure> {
    match arguments.command {
        None => command::welcome::run(),
        Some(Command::Demo(typed)) => demo::run(&typed),
        Some(Command::Start(typed)) => start::run(&typed),
        Some(Command::Judge(typed)) => command::judge::run(*typed),
        Some(Command::Tune(typed)) => tune::run(*typed),
        Some(Command::Simulate(typed)) => command::simulate::run(&typed),
        Some(Command::Check(typed)) => command::check::run(&typed),
        Some(Command::Inks(typed)) => command::inks::run(&typed),
        Some(Command::Fabrics(typed)) => command::fabrics::run(&typed),
        Some(Command::Batch(typed)) => command::batch::run(*typed),
        Some(Command::Holds(typed)) => command::holds::run(&typed),
        Some(Command::Recipe(typed)) => command::recipe::run(typed),
        Some(Command::Probe(typed)) => command::probe::run(typed),
        Some(Command::Watch(typed)) => watch::run(*typed),
        Some(Command::Alarms(typed)) => command::alarms::run(&typed),
        Some(Command::Sinks(typed)) => command::sinks::run(&typed),
        Some(Command::Report(typed)) => command::report::run(&typed),
        Some(Command::Verify(typed)) => command::verify::run(&typed),
        Some(Command::Export(typed)) => command::export::run(&typed),
        Some(Command::Key(typed)) => command::key::run(&typed),
        Some(Command::Backup(typed)) => command::backup::run(&typed),
        Some(Command::Completions(typed)) => command::completions::run(&typed),
        Some(Command::Man(typed)) => command::man::run(&typed),
    }
}
