//! A shop with a dryer, what its line says, and what people ask of its alarms.

use std::sync::Arc;
use std::time::Instant;

use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::Alarm;
use inkdwell_daemon::intake::{Delivery, Said, SourceId, Value};
use inkdwell_daemon::keeper::{Command, Deal, Entry, Keeper, OpenBatch};
use inkdwell_daemon::record::{AlarmChanged, Record};
use inkdwell_daemon::time::Micros;

const SHOP: &str = r#"
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
zones = [ { length = "1 m", air = "190 C" }, { length = "1 m", air = "180 C" } ]

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
source = "line"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "fan"
station = "belt-1"
kind = "exhaust"
proved_from = 0.5
source = "line"
"#;

pub fn shop(source: &str) -> Shop {
    let checked = Shop::parse("shop.toml", &format!("{source}\n{SHOP}"));
    assert_eq!(checked.problems, vec![]);
    checked.value
}

pub fn wired() -> Shop {
    shop(
        "[[source]]\nid = \"line\"\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\nformat = \"fields\"\n\
         names = [\"film\", \"zone-1\", \"zone-2\", \"speed\", \"fan\"]\n",
    )
}

pub fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

pub fn line(said: &[(&str, Option<f64>)]) -> Delivery {
    let said = said.iter().map(|(channel, value)| Said {
        channel: Arc::from(*channel),
        value: match value {
            Some(number) => Value::Number(*number),
            None => Value::NoNumber(Arc::from("OPEN")),
        },
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
        quantity: None,
        blank_cost: None,
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    }))
}

pub fn deal(alarm: &str, deal: Deal, why: &str) -> Command {
    Command::Alarm {
        alarm: alarm.to_owned(),
        deal,
        by: "Mara".to_owned(),
        why: why.to_owned(),
    }
}

pub fn changes(entry: &Entry) -> Vec<&AlarmChanged> {
    let records = entry.records.iter().filter_map(|(_, record)| match record {
        Record::AlarmChanged(changed) => Some(&**changed),
        _ => None,
    });
    records.collect()
}

pub fn stand(keeper: &Keeper) -> Vec<Alarm> {
    keeper.alarms().cloned().collect()
}
