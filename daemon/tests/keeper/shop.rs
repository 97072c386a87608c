//! A shop whose line carries a film probe, its keeper, and rides through its dryer.

use std::sync::Arc;
use std::time::Instant;

use inkdwell_config::shop::Shop;
use inkdwell_daemon::intake::{Delivery, Said, SourceId, Value};
use inkdwell_daemon::keeper::{Command, Entry, Keeper, OpenBatch};
use inkdwell_daemon::record::{PassJudged, Record};
use inkdwell_daemon::time::Micros;

pub const SHOP: &str = r#"
[[source]]
id = "line"
kind = "serial"
port = "/dev/ttyUSB0"
format = "fields"
names = ["film", "cloth", "speed", "prints"]

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
print_pitch = "0.75 m"
zones = [ { length = "2 m", air = "190 C" } ]

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "cloth"
station = "belt-1"
place = "cloth"
source = "line"
uncertainty = "1 C"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "prints"
station = "belt-1"
kind = "count"
distance = "10 cm"
source = "line"
"#;

pub fn shop() -> Shop {
    let checked = Shop::parse("shop.toml", SHOP);
    assert_eq!(checked.problems, vec![]);
    checked.value
}

pub fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

pub fn keeper() -> Keeper {
    Keeper::new(shop(), at(0.0), at(0.0))
}

pub fn line(said: &[(&str, f64)]) -> Delivery {
    let said = said.iter().map(|(channel, value)| Said {
        channel: Arc::from(*channel),
        value: Value::Number(*value),
        device_time: None,
        sequence: None,
    });
    Delivery {
        source: SourceId(0),
        arrived: Instant::now(),
        said: said.collect(),
        mark: None,
        receipt: None,
    }
}

pub fn open(ink: &str) -> Command {
    Command::OpenBatch(Box::new(OpenBatch {
        station: "belt-1".to_owned(),
        job: "Harbour run".to_owned(),
        ink: ink.to_owned(),
        fabric: "cotton-jersey".to_owned(),
        last_heat: false,
        quantity: Some(200),
        blank_cost: Some(6.5),
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    }))
}

/// The film of a ride that begins at 0: to a peak and down again within 120 s.
pub fn film(t: f64, peak: f64) -> f64 {
    (25.0 + 4.0 * t)
        .min(peak)
        .min(25.0 + 2.5 * (110.0 - t))
        .max(25.0)
}

pub fn ride(keeper: &mut Keeper, from: f64, peak: f64) {
    for tenth in 0..1300 {
        let t = f64::from(tenth) * 0.1;
        keeper.take(line(&[("film", film(t, peak))]), at(from + t));
    }
}

pub fn passes(entry: &Entry) -> Vec<&PassJudged> {
    let passes = entry.records.iter().filter_map(|(_, record)| match record {
        Record::PassJudged(pass) => Some(pass),
        _ => None,
    });
    passes.collect()
}

/// The kinds of an entry's records, those of alarms left out, which have tests of their own.
pub fn kinds(entry: &Entry) -> Vec<&'static str> {
    let kinds = entry.records.iter().map(|(_, record)| record.kind());
    kinds.filter(|kind| *kind != "alarm-changed").collect()
}
