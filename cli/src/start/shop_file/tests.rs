//! What is written is read again.

use inkdwell_config::shop::{Place, Sensor, Shop, SourceKind};

use inkdwell_config::display::Units;
use inkdwell_config::shop::{LineFormat, MqttTopic, Port};
use inkdwell_config::station::StationKind;
use toml::{Table, Value};

use super::text;
use crate::start::plan::{Channel, Plan, ProbePlace, Role, SensorKind, Source, Station, Wire};

fn plan() -> Plan {
    let fields = LineFormat::Fields {
        separator: "\t".to_owned(),
        names: vec!["film".to_owned(), String::new()],
    };
    let mut broker = Table::new();
    broker.insert("kind".to_owned(), "mqtt".into());
    broker.insert("host".to_owned(), "127.0.0.1".into());
    broker.insert("user".to_owned(), "yard \"x\"".into());
    let topic = MqttTopic {
        filter: "yard/exit".to_owned(),
        channel: "exit".to_owned(),
        value: Some("/value".to_owned()),
        time: Some("/at".to_owned()),
        sequence: None,
    };
    let mut bus = Table::new();
    bus.insert("kind".to_owned(), "modbus-tcp".into());
    bus.insert("host".to_owned(), "127.0.0.1".into());
    let register = crate::probe::listen::declare::register("zone-1=1:input:0:int16:0.1:F");
    bus.insert(
        "register".to_owned(),
        Value::Array(vec![register.unwrap().into()]),
    );
    let source = |id: &str, wire| Source {
        id: id.to_owned(),
        wire,
    };
    let channel = |source: &str, name: &str, role| Channel {
        source: source.to_owned(),
        id: name.to_owned(),
        name: name.to_owned(),
        role,
    };
    let probe = |place, unit, sensor| Role::Probe {
        place,
        unit,
        sensor,
    };
    let serial = Wire::Serial {
        port: Port::Usb {
            vendor: 0x0403,
            product: 0x6001,
            serial: Some("A\"9".to_owned()),
        },
        baud: 19_200,
        format: fields,
        heard: vec!["168.2<09>1".to_owned()],
    };
    let exit = ProbePlace::Exit {
        distance: "14 in".to_owned(),
        spot: Some("30 mm".to_owned()),
    };
    Plan {
        name: "Müller's \"Yard\"\\".to_owned(),
        timezone: "America/Chicago".to_owned(),
        units: Units::Us,
        station: Station {
            kind: StationKind::BeltDryer,
            heat: "8 ft".to_owned(),
            air: Some("356 F".to_owned()),
            panel: Some("420 C".to_owned()),
            belt: Some("8.5 ft/min".to_owned()),
        },
        sources: vec![
            source("probes", serial),
            source(
                "broker",
                Wire::Mqtt {
                    broker,
                    topics: vec![topic],
                },
            ),
            source("controllers", Wire::Modbus(bus)),
        ],
        channels: vec![
            channel(
                "probes",
                "film",
                probe(ProbePlace::Ride, Some("F"), SensorKind::Thermocouple('J')),
            ),
            channel(
                "broker",
                "exit",
                probe(exit, Some("C"), SensorKind::Infrared),
            ),
            channel(
                "controllers",
                "zone-1",
                probe(
                    ProbePlace::Zone { panel: true },
                    None,
                    SensorKind::Thermocouple('S'),
                ),
            ),
        ],
        board: Some("127.0.0.1:0".to_owned()),
    }
}

#[test]
fn what_is_written_is_read_as_it_was_meant() {
    let text = text(&plan());
    let checked = Shop::parse("shop.toml", &text);
    assert_eq!(
        (checked.problems, checked.warnings),
        (vec![], vec![]),
        "{text}"
    );
    let shop = checked.value;
    assert_eq!(shop.name, "Müller's \"Yard\"\\");
    assert_eq!(
        (shop.timezone.name(), shop.units),
        ("America/Chicago", Units::Us)
    );
    // A foot is 0.3048 m (NIST SP 811, appendix B.8).
    assert!((shop.stations[0].heated_length.0 - 2.4384).abs() < 1e-12);
    let SourceKind::Serial(line) = &shop.sources[0].kind else {
        panic!("{text}");
    };
    assert_eq!(line.settings.baud, 19_200);
    assert!(
        matches!(&line.settings.port, Port::Usb { serial: Some(serial), .. } if serial == "A\"9")
    );
    let places: Vec<Place> = shop.probes.iter().map(|probe| probe.place).collect();
    assert_eq!(places, [Place::Ride, Place::Exit, Place::Zone]);
    assert_eq!(
        shop.probes[0].sensor,
        Some(Sensor::Thermocouple {
            kind: 'J',
            class: 2
        })
    );
}

/// What is assumed stands there with where it comes from.
#[test]
fn what_is_assumed_says_where_it_comes_from() {
    let text = text(&plan());
    for words in [
        "IEC 60584-1",
        "common practice, without a published source",
        "no safety device",
    ] {
        assert!(text.contains(words), "{words}");
    }
}

#[test]
fn every_line_that_is_commented_out_is_one_that_may_be_let_in() {
    let mut simulated = plan();
    simulated.sources = vec![Source {
        id: "simulated-shop".to_owned(),
        wire: Wire::Simulated,
    }];
    simulated.channels = Vec::new();
    for plan in [plan(), simulated] {
        let text = text(&plan);
        let is_key = |line: &&str| {
            line.strip_prefix("# ").is_some_and(|rest| {
                let key: String = rest.chars().take_while(|letter| *letter != ' ').collect();
                key.chars()
                    .all(|letter| letter.is_ascii_lowercase() || letter == '_')
                    && rest
                        .strip_prefix(&key)
                        .is_some_and(|rest| rest.starts_with(" = "))
            })
        };
        for line in text
            .lines()
            .filter(is_key)
            .filter(|line| !line.contains("zones"))
        {
            let open = text.replacen(line, line.trim_start_matches("# "), 1);
            let open = open
                .replace("# [alarms]", "[alarms]")
                .replace("# [[sink]]", "[[sink]]");
            let open = open.replace("# id = \"office\"", "id = \"office\"");
            let open = open.replace("# kind = \"mqtt\"", "kind = \"mqtt\"");
            let open = open.replace("# host = \"127.0.0.1\"", "host = \"127.0.0.1\"");
            let open = open
                .replace("# libraries", "#libraries")
                .replace("libraries", "#libraries");
            assert_eq!(Shop::parse("x", &open).problems, vec![], "{line}\n{open}");
        }
    }
}
