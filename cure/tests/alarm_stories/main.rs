//! For each alarm a story in which it must come, and when, and one like it in which it must not.
//!
//! Each bound is the delay that the catalogue or the shop file states, and what the telling of it adds: a tick (1 s)
//! and the distance of two readings. What hangs on the physics of a dryer is told in the tests across crates,
//! from simulated traces.

#[path = "../alarm_day/mod.rs"]
mod alarm_day;
mod belt;
mod chamber;
mod common;
mod drift;
mod flash;
mod machine;
mod people;
mod prints;
mod probes;
