//! `inkdwell completions`: from the same definitions as the arguments themselves.

use clap::CommandFactory;

use crate::Outcome;
use crate::arguments::{Arguments, CompletionsArguments};
use crate::failure::Failure;
use crate::terminal::copy_to_stdout;

pub(crate) fn run(typed: &CompletionsArguments) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(
        typed.shell,
        &mut Arguments::command(),
        "inkdwell",
        &mut script,
    );
    copy_to_stdout(&mut script.as_slice())?;
    Ok(Outcome::Fine)
}
