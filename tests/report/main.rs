//! The report of a simulated day in every form, from the command line alone: what it says, that the journal supports it,
//! that tables open elsewhere, and that every figure of it comes out again when others work it out.

mod day;
mod figures;
mod page;
mod pdf;
#[path = "../played_day/mod.rs"]
mod played_day;
mod tables;
mod told;
mod verified;
