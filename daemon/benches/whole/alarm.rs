//! How soon an alarm is heard at a broker after the reading that causes it, while ten thousand readings a second
//! go the same way: belts of a hundred dryers stop in their turn, each in a hot chamber, without any time of
//! grace. Each stops three times: what comes oftener is counted, and not raised again.
//!
//! The time begins when the reading goes to the broker and ends when a subscriber has the alarm from the broker, so
//! that the broker is in it twice: from the reading to the alarm committed and handed over is less.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rumqttc::{Client, Event, MqttOptions, Packet, QoS};
use serde_json::Value;

use super::broker::{Mosquitto, free_port};
use super::load::{PORTIONS, PROBES, begun, shows, source};
use super::publisher::Publisher;
use super::shop::{self, RATE, STATIONS};
use super::spread::Spread;

/// Seconds before anything is measured.
const WARM: usize = 30;
/// Seconds that are measured: every belt stops each twenty.
const MEASURED: usize = 60;
/// Of so many portions one stops a belt: five belts a second.
const STOP_EVERY: usize = 20;
/// A stopped belt runs again after so many portions.
const STANDS: usize = 150;

/// When the reading was sent that stopped a station's belt, by station.
type Sent = Arc<Mutex<HashMap<String, Instant>>>;

pub fn measure() {
    let folder = tempfile::tempdir().expect("a folder");
    let port = free_port();
    let Some(_broker) = Mosquitto::start(port, folder.path()) else {
        println!("SKIPPED alarm: Mosquitto is not installed (Debian: apt-get install mosquitto)");
        return;
    };
    let _daemon = begun(folder.path(), &text(port));
    let (sent, took): (Sent, Arc<Mutex<Vec<Duration>>>) = Default::default();
    std::thread::spawn({
        let (sent, took) = (Arc::clone(&sent), Arc::clone(&took));
        move || listen(port, &sent, &took)
    });
    publish(port, &sent);
    let took = std::mem::take(&mut *took.lock().expect("the times"));
    println!(
        "{} readings a second; reading to alarm at a subscriber, {}; never heard: {}",
        PROBES * RATE,
        Spread(took),
        sent.lock().expect("the times").len()
    );
}

fn text(port: u16) -> String {
    let mut text = shop::text(&source(port));
    for station in 0..STATIONS {
        text += &format!(
            "\n[[signal]]\nid = \"b{station}\"\nstation = \"belt-{station}\"\nkind = \"belt\"\nunit = \"m/min\"\n\
             source = \"all\"\n"
        );
    }
    text + &format!(
        "\n[alarms]\nbelt_stop_grace = \"0 s\"\n\n\
         [[sink]]\nid = \"office\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\nversion = \"5\"\n"
    )
}

/// Hears every alarm; ends with the process.
fn listen(port: u16, sent: &Sent, took: &Mutex<Vec<Duration>>) {
    let options = MqttOptions::new("listener", "127.0.0.1", port);
    let (client, mut events) = Client::new(options, 100);
    client
        .subscribe("inkdwell/+/+/alarm", QoS::AtLeastOnce)
        .expect("a subscription");
    for event in events.iter() {
        let now = Instant::now();
        let Ok(Event::Incoming(Packet::Publish(message))) = event else {
            continue;
        };
        let told: Value = serde_json::from_slice(&message.payload).unwrap_or_default();
        let alarm = told["alarm"].as_str().unwrap_or_default();
        if told["change"] == "raised"
            && let Some(station) = alarm.strip_prefix("belt-stopped-hot@")
            && let Some(since) = sent.lock().expect("the times").remove(station)
        {
            took.lock().expect("the times").push(now - since);
        }
    }
}

fn publish(port: u16, sent: &Sent) {
    let mut publisher = Publisher::connect(port);
    let topics: Vec<String> = (0..PROBES).map(|probe| format!("load/p{probe}")).collect();
    let deciding = shop::deciding();
    let begun = Instant::now();
    let mut late = Duration::ZERO;
    for portion in 0..(WARM + MEASURED) * PORTIONS {
        let due = begun + Duration::from_secs_f64(portion as f64 / PORTIONS as f64);
        match due.checked_duration_since(Instant::now()) {
            Some(wait) => std::thread::sleep(wait),
            None => late = late.max(due.elapsed()),
        }
        if portion == WARM * PORTIONS {
            late = Duration::ZERO;
        }
        let turns = PORTIONS / RATE;
        let (reading, turn) = (portion / turns, portion % turns);
        for probe in (turn..PROBES).step_by(turns) {
            publisher.add(&topics[probe], &shows(probe, reading, deciding).0);
        }
        // Every belt is heard once a second.
        let measured = portion.checked_sub(WARM * PORTIONS);
        let stopped = |station: usize| {
            let since = measured.map(|measured| measured % (STOP_EVERY * STATIONS));
            let stands = station * STOP_EVERY..station * STOP_EVERY + STANDS;
            since.is_some_and(|since| stands.contains(&since))
        };
        for station in (portion % PORTIONS..STATIONS).step_by(PORTIONS) {
            let speed = if stopped(station) { "0" } else { "2.6" };
            publisher.add(&format!("load/b{station}"), speed);
        }
        if let Some(measured) = measured.filter(|measured| measured.is_multiple_of(STOP_EVERY)) {
            let station = measured / STOP_EVERY % STATIONS;
            publisher.add(&format!("load/b{station}"), "0");
            // The others of this portion are on their way with it.
            let mut sent = sent.lock().expect("the times");
            sent.insert(format!("belt-{station}"), Instant::now());
        }
        publisher.send();
    }
    // What is on its way still arrives.
    std::thread::sleep(Duration::from_secs(2));
    println!("the publisher was late by {late:?} at most");
}
