//! `inkdwell judge`: recorded traces without a daemon.

use crate::Outcome;
use crate::arguments::JudgeArguments;
use crate::failure::Failure;
use crate::judge::{Call, run as judge};

pub(crate) fn run(typed: JudgeArguments) -> Result<Outcome, Failure> {
    judge(&Call::new(typed)?)
}
