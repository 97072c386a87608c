//! Readings by way of real brokers, on loopback: rumqttd in this process, and Mosquitto where it is
//! installed.

#[path = "../free_port/mod.rs"]
mod free_port;
mod journal;
mod mosquitto;
mod relay;
mod rumqttd_broker;
mod shop;

mod any_broker;
mod crashes;
mod flood;
mod refusals;
mod tls;
