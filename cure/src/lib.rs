//! What Inkdwell computes.

pub mod engine;
mod equivalents_run;
mod fault_times;
pub mod heat;
mod histogram;
pub mod judged;
mod judging;

pub mod law;
mod pass;
pub mod plan;
pub mod reason;
pub mod remark;
mod sample;
pub mod sensor;
mod sieve;
mod tally;
mod track;
mod verdict;
