//! The contract of `inkdwell judge`: its JSON, its exit codes, and every doubtful case of a trace file.
//!
//! The traces are straight lines between corners, so that every expected figure follows by hand.

mod answer;
mod refusals;
mod settings;
mod shop;
mod trace;
