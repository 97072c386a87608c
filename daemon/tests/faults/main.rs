//! The whole daemon while something fails beside it: no reading is lost, no pass wrongly judged, and it is said.

mod common;
mod device;
#[path = "../free_port/mod.rs"]
mod free_port;

mod adapter;
mod broker;
mod clock;
mod disk;
mod garbage;
