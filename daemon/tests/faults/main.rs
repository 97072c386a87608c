//! The whole daemon while something fails beside it: no reading is lost, no pass wrongly judged, and it is said.

mod common;
mod device;
#[path = "../loopback/free_port.rs"]
mod free_port;
#[path = "../loopback/mosquitto.rs"]
mod mosquitto;
#[path = "../loopback/mosquitto_end.rs"]
mod mosquitto_end;

mod adapter;
mod broker;
mod clock;
mod disk;
mod garbage;
