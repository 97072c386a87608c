//! Readings by way of real brokers, on loopback: rumqttd in this process, and Mosquitto where it is
//! installed.

#[path = "../loopback/authority.rs"]
mod authority;
#[path = "../loopback/free_port.rs"]
mod free_port;
mod journal;
#[path = "../loopback/mosquitto.rs"]
mod mosquitto;
#[path = "../loopback/mosquitto_end.rs"]
mod mosquitto_end;
mod relay;
mod rumqttd_broker;
mod shop;

mod any_broker;
mod crashes;
mod flood;
mod refusals;
mod tls;
