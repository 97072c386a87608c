//! A shop that never was: the readings of a scenario, as if they happened now.
//!
//! Its channels, units and device times are those of a replayed trace ([`super::replay`]): temperatures in
//! °C, belt speeds in their column's unit. The same scenario and seed give the same readings.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use inkdwell_config::problem::Problem;
use inkdwell_config::shop::{Place, Probe, Senses, Shop, Signal, SignalKind};
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::trace_file::{Layout, Reader};
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::record::Row;
use inkdwell_simulated_traces::scenario::Scenario;
use tokio::sync::mpsc::{self, Sender};
use tokio_util::sync::CancellationToken;

use super::replay::player::{AHEAD, Player, Step, now};
use super::replay::{Fed, Reading};
use crate::intake::{Intake, SourceId};
use crate::source::health::Health;

/// Plays a scenario, `faster` times as fast as real, to its end if it has one, or until it is told to stop.
pub async fn run(
    source: SourceId,
    scenario: Scenario,
    faster: f64,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    let (sender, rows) = mpsc::channel(AHEAD);
    // It ends by itself when nobody takes its rows any more.
    tokio::task::spawn_blocking(move || {
        if let Err(Fed::Refused(why)) = make(&scenario, &sender) {
            // If nobody takes this either, the daemon is stopping.
            let _ = sender.blocking_send(Step::Failed(format!("{}: {why}", scenario.name)));
        }
    });
    let player = Player {
        source,
        faster,
        intake,
        health,
        stop,
    };
    player.play(rows).await;
}

/// The scenario of a source: that of a file, or, without one, a run without end of a standard ink on cotton
/// at the station whose probes and signals read from this source, with a column for each of them.
///
/// `seed` is where the chances of prints and sensors begin; it wins over the file's. (What a file draws once
/// and for all, such as how far its dryer is from what is declared, stays as the file's own seed has it.)
///
/// # Errors
/// What is wrong in the file, or what the shop lacks for such a run.
pub fn scenario(
    shop: &Shop,
    source: &str,
    file: Option<&Path>,
    seed: u64,
) -> Result<Scenario, Vec<Problem>> {
    let mut scenario = match file {
        Some(file) => Scenario::load(file)?,
        None => Scenario::parse("the simulated shop", &usual(shop, source, seed), shop)?,
    };
    scenario.seed = seed;
    Ok(scenario)
}

/// A scenario file for what reads from a source.
fn usual(shop: &Shop, source: &str, seed: u64) -> String {
    let reads = |from: &Option<String>| from.as_deref() == Some(source);
    let probes = || shop.probes.iter().filter(|probe| reads(&probe.source));
    let signals = || shop.signals.iter().filter(|signal| reads(&signal.source));
    let named = probes().find_map(|probe| probe.station.as_deref());
    let named = named.or_else(|| signals().map(|signal| signal.station.as_str()).next());
    let station = match named {
        Some(id) => shop.station(id),
        None => shop.stations.first(),
    };
    let id = station.map_or("", |station| station.id.as_str());
    let mut text = String::new();
    // Writing into a text cannot fail.
    let _ = writeln!(
        text,
        "shop = \"\"\nstation = {}\nink = \"plastisol-standard\"\nfabric = \"cotton-jersey\"\nseed = {}",
        quoted(id),
        // The file format has signed numbers.
        seed & (i64::MAX as u64)
    );
    text.push_str(&course(station));
    for probe in probes().filter(|probe| probe.station.as_deref().is_none_or(|own| own == id)) {
        text.push_str(&probe_column(probe, station));
    }
    for signal in signals().filter(|signal| signal.station == id) {
        text.push_str(&signal_column(signal));
    }
    text
}

/// What is run there.
fn course(station: Option<&Station>) -> String {
    let flash = station.is_some_and(|station| station.kind == StationKind::FlashUnit);
    if flash {
        return "record = \"flash\"\nprints = 1000000\ninterval = \"0.5 s\"\n".to_owned();
    }
    let mut text = "record = \"run\"\nride_every = 10\ninterval = \"0.5 s\"\n".to_owned();
    if station.is_some_and(|station| station.belt.is_none()) {
        text.push_str("belt = \"2.6 m/min\"\n");
    }
    text
}

fn probe_column(probe: &Probe, station: Option<&Station>) -> String {
    let flash = station.is_some_and(|station| station.kind == StationKind::FlashUnit);
    let sees = match probe.place {
        Place::Platen => "\"platen\"".to_owned(),
        Place::Room => "\"room\"".to_owned(),
        _ if flash => "\"surface\"".to_owned(),
        Place::Ride => "\"film\"".to_owned(),
        Place::Cloth => "\"cloth\"".to_owned(),
        Place::Exit => format!("\"exit\"\nprobe = {}", quoted(&probe.id)),
        Place::Zone => format!(
            "\"zone\"\nzone = {}\npanel = {}",
            probe.zone.unwrap_or(1),
            probe.senses == Senses::Panel
        ),
    };
    column(&format!("{}_c", probe.channel), &sees)
}

fn signal_column(signal: &Signal) -> String {
    match signal.kind {
        SignalKind::Belt { metres_per_second } => {
            // A foot a minute is 0.00508 m/s, a metre a minute 0.0167.
            let unit = match metres_per_second < 0.01 {
                true => "ft_per_min",
                false => "m_per_min",
            };
            column(&format!("{}_{unit}", signal.channel), "\"belt\"")
        }
        SignalKind::Count { .. } => column(&format!("{}_count", signal.channel), "\"count\""),
        // The simulated shop has no exhaust.
        SignalKind::Exhaust { .. } => String::new(),
    }
}

fn column(name: &str, sees: &str) -> String {
    format!("\n[[column]]\nname = {}\nsees = {sees}\n", quoted(name))
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// Makes rows until the scenario ends, by way of the text of a trace file: what is read is then read as it
/// would be from a file, thermocouples and their junction too.
fn make(scenario: &Scenario, rows: &Sender<Step>) -> Result<(), Fed> {
    let started = scenario.started.as_deref();
    let started = started.and_then(|text| chrono::DateTime::parse_from_rfc3339(text).ok());
    let mut reading = Reading {
        reader: Reader::new(Layout::default()),
        started: Some(started.map_or_else(now, |time| time.timestamp_micros())),
        channels: None,
        rows,
    };
    let mut text = "time_s".to_owned();
    for channel in &scenario.channels {
        let _ = write!(text, ",\"{}\"", channel.name.replace('"', "\"\""));
    }
    text.push('\n');
    reading.feed(text.as_bytes())?;
    for row in scenario.live() {
        text.clear();
        write_row(&mut text, &row);
        reading.feed(text.as_bytes())?;
    }
    reading.finish()
}

fn write_row(text: &mut String, row: &Row) {
    let _ = write!(text, "{}", row.time);
    for value in &row.values {
        text.push(',');
        match value {
            Value::Number(number) => {
                let _ = write!(text, "{number}");
            }
            Value::Missing => {}
            Value::Open => text.push_str("OPEN"),
        }
    }
    text.push('\n');
}
