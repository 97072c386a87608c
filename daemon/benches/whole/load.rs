//! A thousand probes, ten readings a second each, a message for every reading, through Mosquitto to the
//! journal: what the daemon costs, and how soon a verdict is committed after its last reading.
//!
//! The time of a verdict ends when its event arrives here, so that the way through the interface for programs
//! is in it.

use std::collections::HashMap;
use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::broker::{Mosquitto, free_port};
use super::child::Daemon;
use super::publisher::Publisher;
use super::shop::{self, CYCLE, RATE, RIDES, STATIONS};
use super::spread::Spread;

pub const PROBES: usize = STATIONS * 2 * RIDES;
/// Messages go out in so many portions a second.
pub const PORTIONS: usize = 100;
/// Seconds before anything is measured: longer than a cycle.
const WARM: usize = 65;
/// Seconds that are measured.
const MEASURED: usize = 120;

/// All readings from a broker.
pub fn source(port: u16) -> String {
    format!(
        "[[source]]\nid = \"all\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\nversion = \"5\"\n\n\
         [[source.topic]]\nfilter = \"load/+\"\nchannel = \"{{1}}\"\n"
    )
}

/// A daemon with a batch open at every station.
pub fn begun(folder: &Path, shop: &str) -> Daemon {
    let file = folder.join("shop.toml");
    fs::write(&file, shop).expect("a file");
    let daemon = Daemon::start(&file, &folder.join("data"));
    for station in 0..STATIONS {
        let batch = serde_json::json!({
            "station": format!("belt-{station}"), "job": "Load", "ink": "plastisol-standard",
            "fabric": "cotton-jersey", "by": "bench",
        });
        daemon.post("/api/batches", &batch.to_string());
    }
    daemon
}

/// When the reading was sent with which a probe's pass is over, by probe.
type Sent = Arc<Mutex<HashMap<String, Instant>>>;

pub fn measure() {
    let folder = tempfile::tempdir().expect("a folder");
    let port = free_port();
    let Some(_broker) = Mosquitto::start(port, folder.path()) else {
        println!("SKIPPED load: Mosquitto is not installed (Debian: apt-get install mosquitto)");
        return;
    };
    let daemon = begun(folder.path(), &shop::text(&source(port)));
    let (sent, took): (Sent, Arc<Mutex<Vec<Duration>>>) = Default::default();
    let news = daemon.news();
    std::thread::spawn({
        let (sent, took) = (Arc::clone(&sent), Arc::clone(&took));
        move || listen(news, &sent, &took)
    });
    let spent = publish(port, &daemon, &sent, &took);
    let took = std::mem::take(&mut *took.lock().expect("the times"));
    report(&daemon, spent, took);
}

fn listen(news: impl Iterator<Item = String>, sent: &Sent, took: &Mutex<Vec<Duration>>) {
    for line in news {
        let now = Instant::now();
        let Some(data) = line.strip_prefix("data:") else {
            continue;
        };
        let told: Value = serde_json::from_str(data.trim()).unwrap_or_default();
        if told["kind"] == "pass-judged"
            && let Some(probe) = told["probe"].as_str()
            && let Some(since) = sent.lock().expect("the times").remove(probe)
        {
            took.lock().expect("the times").push(now - since);
        }
    }
}

/// Sends for as long as is measured; what the daemon spent on the processor meanwhile, in seconds, and how
/// long that was.
fn publish(port: u16, daemon: &Daemon, sent: &Sent, took: &Mutex<Vec<Duration>>) -> (f64, f64) {
    let mut publisher = Publisher::connect(port);
    let topics: Vec<String> = (0..PROBES).map(|probe| format!("load/p{probe}")).collect();
    let deciding = shop::deciding();
    let begun = Instant::now();
    let (mut before, mut late) = (None, Duration::ZERO);
    for portion in 0..(WARM + MEASURED) * PORTIONS {
        let due = begun + Duration::from_secs_f64(portion as f64 / PORTIONS as f64);
        match due.checked_duration_since(Instant::now()) {
            Some(wait) => std::thread::sleep(wait),
            None => late = late.max(due.elapsed()),
        }
        if portion == WARM * PORTIONS {
            took.lock().expect("the times").clear();
            before = Some((daemon.processor().unwrap_or(f64::NAN), Instant::now()));
        }
        // Every probe in its turn: one of PORTIONS / RATE.
        let turns = PORTIONS / RATE;
        let (reading, turn) = (portion / turns, portion % turns);
        let mut over = Vec::new();
        for probe in (turn..PROBES).step_by(turns) {
            let (value, is_over) = shows(probe, reading, deciding);
            publisher.add(&topics[probe], &value);
            if is_over {
                over.push(probe);
            }
        }
        let now = Instant::now();
        let mut sent = sent.lock().expect("the times");
        sent.extend(over.into_iter().map(|probe| (format!("p{probe}"), now)));
        drop(sent);
        publisher.send();
    }
    let (spent, since) = before.expect("it was measured");
    println!("the publisher was late by {late:?} at most");
    let lasted = since.elapsed().as_secs_f64();
    (daemon.processor().unwrap_or(f64::NAN) - spent, lasted)
}

/// What a probe shows, and whether its pass is over with that. Rides begin one after another.
pub fn shows(probe: usize, reading: usize, deciding: usize) -> (String, bool) {
    if shop::is_ride(probe) {
        let place = reading + probe * 37 % CYCLE;
        let value = format!("{:.1}", shop::film(place));
        return (value, place % CYCLE == deciding && reading > CYCLE);
    }
    // Noise of some tenths, the same every time.
    let noise = (probe * 7919 + reading * 104_729) % 11;
    (format!("{:.1}", 189.5 + 0.1 * noise as f64), false)
}

fn report(daemon: &Daemon, (spent, lasted): (f64, f64), took: Vec<Duration>) {
    println!(
        "{} readings a second, a message each, for {lasted:.0} s: {:.1} % of a core, {:.0} MB",
        PROBES * RATE,
        100.0 * spent / lasted,
        daemon.memory().unwrap_or(f64::NAN)
    );
    println!("last reading to committed verdict, {}", Spread(took));
}
