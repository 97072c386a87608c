//! Ways out: whatever becomes of the other side or of the daemon, everything that is committed arrives, in order
//! and known by its identity, or is set aside with its reason; and nothing else waits for it.

mod again;
mod alarm_kill;
mod alarms;
#[path = "../loopback/authority.rs"]
mod authority;
mod command;
mod figures;
#[path = "../loopback/free_port.rs"]
mod free_port;
mod influxdb;
mod kill;
#[path = "../loopback/mosquitto.rs"]
mod mosquitto;
mod mqtt;
mod outage;
mod readings;
mod server;
mod shop;
mod subscriber;
mod victoria;
mod webhook;
