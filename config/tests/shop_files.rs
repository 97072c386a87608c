//! Whole shop files: the example is sound, and whatever is wrong is named with its line and remedy.

use inkdwell_config::display::Units;
use inkdwell_config::library::Library;
use inkdwell_config::problem::Checked;
use inkdwell_config::quantity::{Celsius, Seconds};
use inkdwell_config::shop::{Place, Secret, Sensor, Shop, SinkKind, SourceKind, TlsRoots};
use inkdwell_config::{QuantityError, decode, read_file};
use proptest::prelude::*;

const EXAMPLE: &str = include_str!("../examples/shop.toml");
/// What the contract shows of a station and an exit probe.
const CONTRACT: &str = r#"
[[station]]
id = "belt-1"
kind = "belt-dryer"               # or "flash-unit"
heated_length = "2.4 m"
belt = "2.6 m/min"
print_pitch = "0.75 m"
lanes = 2
zones = [ { length = "1.2 m", air = "190 C" }, { length = "1.2 m", air = "180 C", panel = "420 C" } ]

[[probe]]
id = "exit"
station = "belt-1"
place = "exit"
distance = "0.35 m"
spot = "30 mm"
"#;

fn lines(checked: &Checked<Shop>) -> Vec<String> {
    checked.problems.iter().map(ToString::to_string).collect()
}

#[test]
fn the_example_is_sound() {
    let checked = Shop::parse("shop.toml", EXAMPLE);
    assert!(checked.problems.is_empty(), "{:#?}", lines(&checked));
    let shop = checked.value;
    assert_eq!(
        (shop.name.as_str(), shop.units),
        ("Lantern Yard Print", Units::Metric)
    );
    assert_eq!(
        (shop.sources.len(), shop.stations.len(), shop.probes.len()),
        (3, 2, 5)
    );
    assert_eq!((shop.signals.len(), shop.sinks.len()), (2, 4));
    assert_eq!(checked.warnings, vec![]);
    assert_eq!(shop.alarms.escalate_after, Some(Seconds(180.0)));
    assert_eq!(shop.alarms.stations[0].1.platen_limit, Some(Celsius(70.0)));
    assert!(shop.library.ink("yard-white").is_ok());
    let SourceKind::Modbus(modbus) = &shop.sources[1].kind else {
        panic!()
    };
    assert_eq!(
        (modbus.registers.len(), modbus.registers[1].unit_id),
        (2, 2)
    );
    assert!(matches!(
        shop.probes[0].sensor,
        Some(Sensor::Thermocouple {
            kind: 'K',
            class: 1
        })
    ));
    assert!(shop.probes[2].calibration.is_some());
}

#[test]
fn an_offline_file_needs_no_more_than_station_and_exit_probe() {
    let checked = Shop::parse("shop.toml", CONTRACT);
    assert!(checked.problems.is_empty(), "{:#?}", lines(&checked));
    let shop = checked.value;
    let station = shop.station("belt-1").unwrap();
    assert!((station.belt.unwrap().0 * 60.0 - 2.6).abs() < 1e-12);
    assert_eq!(
        (station.lanes, station.zones.len(), station.max_gap),
        (2, 2, None)
    );
    assert_eq!(station.zones[1].panel, Some(Celsius(420.0)));
    let probe = &shop.probes[0];
    assert_eq!(
        (probe.place, probe.channel.as_str(), &probe.source),
        (Place::Exit, "exit", &None)
    );
    let replay = format!("{CONTRACT}\n[[source]]\nid = \"again\"\nkind = \"replay\"\n");
    assert!(Shop::parse("shop.toml", &replay).problems.is_empty());
}

#[test]
fn every_problem_of_a_file_is_named_at_once() {
    let text = CONTRACT
        .replace("air = \"190 C\"", "air = 190")
        .replace("lanes = 2", "lane = 2")
        .replace("station = \"belt-1\"", "station = \"belt-2\"")
        .replace("place = \"exit\"", "place = \"exti\"")
        .replace("\"2.6 m/min\"", "\"2.6 fpm\"")
        + "[board]\nlisten = \"0.0.0.0:80\"\n[shop]\nname = \"x\"\ntimezone = \"Europe/Viena\"\n";
    let found = lines(&Shop::parse("shop.toml", &text));
    for expected in [
        "shop.toml:6: station[0].belt: \"fpm\" is no unit of speed; write \"2.6 ft/min\"",
        "shop.toml:8: station[0].lane: is unknown here; did you mean \"lanes\"?",
        "shop.toml:9: station[0].zones[0].air: 190 has no unit; write \"190 C\" or \"190 F\"",
        "shop.toml:14: probe[0].place: \"exti\" is unknown here; did you mean \"exit\"?",
        "shop.toml:17: board: listening on 0.0.0.0:80 without TLS",
        "shop.toml:21: shop.timezone: \"Europe/Viena\" is no time zone; did you mean \"Europe/Vienna\"?",
    ] {
        assert!(
            found.iter().any(|line| line.starts_with(expected)),
            "{expected}\n{found:#?}"
        );
    }
}

#[test]
fn zones_add_up_and_ids_are_unique() {
    let short = CONTRACT.replace("heated_length = \"2.4 m\"", "heated_length = \"3 m\"");
    let found = lines(&Shop::parse("shop.toml", &short));
    assert!(found[0].contains("the zones are 2.400 m long"), "{found:?}");
    let twice = format!("{CONTRACT}{CONTRACT}");
    let found = lines(&Shop::parse("shop.toml", &twice));
    assert!(
        found
            .iter()
            .any(|line| line.contains("station \"belt-1\" is declared twice")),
        "{found:?}"
    );
    assert!(
        found
            .iter()
            .any(|line| line.contains("probe \"exit\" is declared twice")),
        "{found:?}"
    );
}

#[test]
fn secrets_have_no_place_in_a_shop_file() {
    for bad in [
        "[[sink]]\nid = \"s\"\nkind = \"mqtt\"\nhost = \"h\"\npassword = \"x\"\n",
        "[[sink]]\nid = \"s\"\nkind = \"webhook\"\nurl = \"https://me:pw@example.org/\"\n",
    ] {
        assert!(!Shop::parse("shop.toml", bad).problems.is_empty(), "{bad}");
    }
}

#[test]
fn files_that_are_none_are_one_clear_problem() {
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path();
    let path = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let utf16 = path("utf16.toml", &[0xFF, 0xFE, b'a', 0]);
    assert!(
        read_file(&utf16)
            .unwrap_err()
            .to_string()
            .contains("UTF-16")
    );
    let binary = path("binary.toml", &[0x80, 0x81, 0xFF]);
    assert!(
        read_file(&binary)
            .unwrap_err()
            .to_string()
            .contains("no text in UTF-8")
    );
    assert!(
        read_file(folder)
            .unwrap_err()
            .to_string()
            .contains("is a folder")
    );
    assert!(
        read_file(&folder.join("absent"))
            .unwrap_err()
            .to_string()
            .contains("cannot be opened")
    );
    let library = Library::load(&utf16).unwrap_err();
    assert_eq!(library.len(), 1);
    let checked = Shop::check(&folder.join("absent"));
    assert_eq!(checked.problems.len(), 1);
    let marked = path("marked.toml", b"\xEF\xBB\xBF[shop]\nname = \"x\"\n");
    assert!(Shop::load(&marked).is_ok());
}

/// A shop's own libraries stand beside its file; what the shop file itself declares wins over them.
#[test]
fn libraries_beside_the_shop_file_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    let ink = |id: &str, name: &str| {
        format!(
            "[[ink]]\nid = \"{id}\"\nname = \"{name}\"\nfamily = \"other\"\nsource = \"t\"\n\
             cure = {{ law = \"hold\", at = \"150 C\", for = \"5 s\" }}\n"
        )
    };
    write("a.toml", &(ink("one", "A") + &ink("two", "A")));
    write("b.toml", &ink("two", "B"));
    let heading = "[shop]\nname = \"x\"\nlibraries = [\"a.toml\", \"b.toml\"]\n";
    write(
        "shop.toml",
        &(heading.to_owned() + &ink("three", "own") + &ink("one", "own")),
    );
    let shop = Shop::load(&folder.path().join("shop.toml")).unwrap();
    let name = |id: &str| shop.library.ink(id).unwrap().name.clone();
    assert_eq!(
        [name("one"), name("two"), name("three")],
        ["own", "B", "own"]
    );
    // What is wrong in a library, or that it is not there, is a problem of the shop file's reader.
    write("b.toml", &ink("two", "B").replace("150 C", "150"));
    write("shop.toml", &heading.replace("a.toml", "absent.toml"));
    let problems = Shop::load(&folder.path().join("shop.toml")).unwrap_err();
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert_eq!(lines.len(), 2, "{lines:?}");
    assert!(
        lines[0].contains("absent.toml: cannot be opened"),
        "{lines:?}"
    );
    assert!(
        lines[1].contains("b.toml:6: ink[0].cure.at: 150 has no unit"),
        "{lines:?}"
    );
}

/// What is played is found from the shop file, wherever the call is made; an absolute path is what it is.
#[test]
fn files_that_are_played_stand_beside_the_shop_file() {
    let folder = tempfile::tempdir().unwrap();
    let text = "[[source]]\nid = \"a\"\nkind = \"replay\"\nfile = \"rides/a.csv\"\n\
                [[source]]\nid = \"b\"\nkind = \"simulated\"\nscenario = \"b.toml\"\n\
                [[source]]\nid = \"c\"\nkind = \"replay\"\nfile = \"/traces/c.csv\"\n\
                [[source]]\nid = \"d\"\nkind = \"replay\"\n";
    std::fs::write(folder.path().join("shop.toml"), text).unwrap();
    let shop = Shop::load(&folder.path().join("shop.toml")).unwrap();
    let found = shop.sources.iter().map(|source| match &source.kind {
        SourceKind::Replay { file, .. } => file.clone(),
        SourceKind::Simulated { scenario, .. } => scenario.clone(),
        other => panic!("{other:?}"),
    });
    let expected = [
        Some(folder.path().join("rides/a.csv")),
        Some(folder.path().join("b.toml")),
        Some("/traces/c.csv".into()),
        None,
    ];
    assert_eq!(found.collect::<Vec<_>>(), expected);
}

/// So are certificates and secrets, and a program that is named with its folder.
#[test]
fn certificates_and_secrets_stand_beside_the_shop_file() {
    let folder = tempfile::tempdir().unwrap();
    let text = "[[source]]\nid = \"a\"\nkind = \"mqtt\"\nhost = \"broker\"\ntls_roots = \"keys/ca.pem\"\n\
                user = \"inkdwell\"\npassword_file = \"keys/broker\"\n\
                [[source.topic]]\nfilter = \"shop/+\"\nchannel = \"{1}\"\n\
                [[sink]]\nid = \"b\"\nkind = \"webhook\"\nurl = \"https://example.org/\"\nsecret_file = \"keys/hook\"\n\
                tls_roots = \"/etc/roots.pem\"\n\
                [[sink]]\nid = \"c\"\nkind = \"command\"\nprogram = \"./horn\"\n\
                [[sink]]\nid = \"d\"\nkind = \"command\"\nprogram = \"horn\"\n\
                [board]\ncertificate = \"keys/board.pem\"\nkey = \"keys/board.key\"\n";
    std::fs::write(folder.path().join("shop.toml"), text).unwrap();
    let shop = Shop::load(&folder.path().join("shop.toml")).unwrap();
    let own = |file: &str| folder.path().join(file);
    let SourceKind::Mqtt(mqtt) = &shop.sources[0].kind else {
        panic!("{:?}", shop.sources);
    };
    assert_eq!(mqtt.broker.tls, Some(TlsRoots::File(own("keys/ca.pem"))));
    assert_eq!(mqtt.broker.password, Some(Secret::File(own("keys/broker"))));
    let SinkKind::Webhook { secret, roots, .. } = &shop.sinks[0].kind else {
        panic!("{:?}", shop.sinks);
    };
    assert_eq!(*secret, Some(Secret::File(own("keys/hook"))));
    assert_eq!(*roots, TlsRoots::File("/etc/roots.pem".into()));
    let programs = shop.sinks[1..].iter().map(|sink| match &sink.kind {
        SinkKind::Command { program, .. } => program.clone(),
        other => panic!("{other:?}"),
    });
    let programs: Vec<_> = programs.collect();
    assert_eq!(programs, [own("./horn"), "horn".into()]);
    let tls = shop.board.tls.unwrap();
    assert_eq!(
        (tls.certificate, tls.key),
        (own("keys/board.pem"), own("keys/board.key"))
    );
}

proptest! {
    #[test]
    fn no_text_makes_a_reader_panic(text in "\\PC{0,200}") {
        let _ = Shop::parse("x", &text);
        let _ = Library::parse("x", &text);
        let _: Result<Celsius, QuantityError> = text.parse();
        let _: Result<Seconds, QuantityError> = text.parse();
    }

    #[test]
    fn no_mangled_shop_file_makes_the_reader_panic(
        at in 0..EXAMPLE.len(), length in 0..40_usize, put in "[\\[\\]{}=\"#a-z0-9\n. ]{0,12}",
    ) {
        let end = (at + length).min(EXAMPLE.len());
        if EXAMPLE.is_char_boundary(at) && EXAMPLE.is_char_boundary(end) {
            let text = format!("{}{put}{}", &EXAMPLE[..at], &EXAMPLE[end..]);
            let checked = Shop::parse("x", &text);
            for problem in checked.problems.iter().chain(&checked.warnings) {
                prop_assert!(!problem.remedy.is_empty() && !problem.what.is_empty());
                prop_assert!(problem.line.is_some_and(|line| line <= 1 + text.lines().count() as u64));
                let line = problem.to_string();
                prop_assert!(!line.contains(char::is_control), "{line:?}");
            }
        }
    }

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        match decode("x", bytes) {
            Ok(text) => {
                let _ = Shop::parse("x", &text);
                let _ = Library::parse("x", &text);
            }
            Err(problem) => prop_assert!(!problem.remedy.is_empty()),
        }
    }

    #[test]
    fn a_quantity_with_a_listed_unit_is_read(value in -200.0..900.0_f64, space in " ?") {
        let celsius: Celsius = format!("{value}{space}C").parse().unwrap();
        prop_assert_eq!(celsius.0, value);
        let fahrenheit: Celsius = format!("{value}{space}F").parse().unwrap();
        prop_assert!((fahrenheit.0 * 1.8 + 32.0 - value).abs() < 1e-9);
    }
}
