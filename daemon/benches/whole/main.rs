//! The whole daemon: what it costs to take ten thousand readings a second through a broker, how many it can
//! take, how soon an alarm is heard, and how long it takes to start after a year.
//!
//! `cargo bench -p inkdwell-daemon --bench whole`, or with `-- load`, `-- alarm`, `-- peak` or `-- start` one of them. Each
//! ends by itself after some minutes. `load` and `alarm` need Mosquitto, and Linux to tell what the daemon spends.

mod alarm;
mod broker;
mod child;
mod load;
mod peak;
mod publisher;
mod shop;
mod spread;
mod start;
#[path = "../year/mod.rs"]
mod year;

fn main() {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    let named = |name: &str| asked.iter().any(|own| own == name);
    let all = !["load", "alarm", "peak", "start"].into_iter().any(named);
    if all || named("start") {
        start::measure();
    }
    if all || named("peak") {
        peak::measure();
    }
    if all || named("load") {
        load::measure();
    }
    if all || named("alarm") {
        alarm::measure();
    }
}
