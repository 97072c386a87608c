//! `inkdwell start`, from nothing to a daemon that answers: asked at a real terminal, and by options alone; and what comes
//! over a wire before anything works ([`probe_listen`]).

mod probe_listen;
mod wires;

use std::fs;
use std::path::Path;
use std::process::Output;

use inkdwell_config::shop::{Place, Port, Sensor, Shop, SignalKind, SourceKind};
use inkdwell_tests::daemon::until;
use inkdwell_tests::{inkdwelld, run_in};
use serde_json::Value;

use wires::terminal::Terminal;
use wires::{Device, Publisher, broker, modbus};

fn said(output: &Output) -> (Option<i32>, String, String) {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        output.status.code(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

fn good(folder: &Path, arguments: &[&str]) -> String {
    let (code, text, errors) = said(&run_in(folder, arguments));
    assert_eq!(
        (code, errors.as_str()),
        (Some(0), ""),
        "{arguments:?}: {text}"
    );
    text
}

/// What is written is sound by the command that everybody has for it, and this.
fn written(folder: &Path) -> Shop {
    let json = good(folder, &["check", "shop.toml", "--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["sound"], true, "{json}");
    Shop::load(&folder.join("shop.toml")).unwrap()
}

/// A person who errs, goes back, asks why, and corrects an answer at the end.
#[test]
fn from_nothing_to_a_daemon_that_answers() {
    // It is looked for beside the program.
    inkdwelld();
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut terminal = Terminal::start(at, &["start", "--board", "127.0.0.1:0"]);
    terminal.says("There is no shop.toml yet");
    terminal.says("no safety device");
    terminal.answer("What is the shop called?", "<");
    terminal.says("This is the first question.");
    terminal.answer("What is the shop called?", "Lantern Yard Print");
    terminal.answer("In which time zone", "Viena");
    terminal.answer("did you mean Europe/Vienna?", "Europe/Vienna");
    terminal.answer("In which units", "");
    terminal.answer("What heats the prints", "?");
    terminal.answer("Begin with one of them", "<");
    terminal.answer("In which units", "us");
    terminal.answer("What heats the prints", "oven");
    terminal.answer("it is none of these: belt-dryer, flash-unit", "");
    terminal.answer("Where do readings come from?", "/dev/not-there");
    terminal.answer("there is no /dev/not-there", "simulated");
    terminal.answer("How long is the heat", "2.4");
    terminal.answer("Not so:", "2.4 m");
    terminal.answer("What is the chamber set to?", "190");
    terminal.answer("Not so:", "");
    terminal.answer("How fast does the belt", "2.6 m/min");
    terminal.answer("So it stands:", "20");
    terminal.answer("type a number from 1 to 9", "6");
    terminal.answer("How long is the heat", "8 ft");
    terminal.says("length of the heat 8 ft");
    terminal.answer("Enter writes shop.toml", "");
    terminal.says("shop.toml is written.");
    terminal.says("shop.toml: sound; it declares 1 source, 1 station, 4 probes, 2 signals.");
    terminal.says("inkdwell watch --data data");
    terminal.says("wash test decide");
    terminal.says("programs are answered at http://127.0.0.1:");

    let probes = until("a reading of each probe", || {
        let output = run_in(at, &["probe", "list", "--data", "data", "--json"]);
        let json: Value = serde_json::from_slice(&output.stdout).ok()?;
        let probes = json["probes"].as_array()?.clone();
        probes
            .iter()
            .all(|probe| probe["reading"].is_object())
            .then_some(probes)
    });
    assert_eq!(probes.len(), 4);
    terminal.press("\u{3}");
    assert_eq!(terminal.ended(), 0);

    let shop = written(at);
    assert_eq!(
        (shop.name.as_str(), shop.timezone.name()),
        ("Lantern Yard Print", "Europe/Vienna")
    );
    // A foot is 0.3048 m (NIST SP 811, appendix B.8).
    assert!((shop.stations[0].heated_length.0 - 2.4384).abs() < 1e-12);

    // With a shop file there, it is checked and used, and no answer can change it.
    let text = fs::read(at.join("shop.toml")).unwrap();
    let again = good(at, &["start", "--no-run"]);
    assert!(
        again.contains("shop.toml: sound") && again.contains("inkdwelld --shop shop.toml"),
        "{again}"
    );
    let (code, _, errors) = said(&run_in(at, &["start", "--no-run", "--name", "Another"]));
    assert_eq!(code, Some(2));
    assert!(
        errors.contains("shop.toml: is there already, so that --name would change nothing"),
        "{errors}"
    );
    assert_eq!(fs::read(at.join("shop.toml")).unwrap(), text);
    // One that is wrong starts nothing.
    fs::write(at.join("shop.toml"), "[shop]\nname = 3\n").unwrap();
    let (code, _, errors) = said(&run_in(at, &["start"]));
    assert_eq!(code, Some(2));
    assert!(errors.contains("shop.toml:2: shop.name"), "{errors}");
}

/// A line that greets, then says two numbers with their unit; nothing that could do harm is guessed.
#[test]
fn a_serial_line_is_heard_and_asked_about() {
    let device = Device::saying(b"168.2 C,95.5\r\n");
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut terminal = Terminal::start(
        at,
        &[
            "start",
            "--no-run",
            "--name",
            "Our shop",
            "--timezone",
            "UTC",
        ],
    );
    terminal.answer("In which units", "");
    terminal.answer("What heats the prints", "");
    terminal.answer(
        "Where do readings come from?",
        device.path.to_str().unwrap(),
    );
    terminal.says("at 9600 bits a second");
    terminal.says("168.2 C,95.5");
    terminal.says("2 fields with a comma between them: t1 168.2 C · t2 95.5");
    terminal.answer("How many bits a second", "");
    terminal.answer("How are its lines to be read?", "json");
    terminal.answer("none can be read so; the last was: 168.2 C,95.5", "");
    terminal.answer("What are its fields to be called", "film");
    terminal.answer(
        "the lines have 2 fields, and 1 names are given",
        "film,exit",
    );
    terminal.answer("What does film (168.2 C) measure?", "");
    terminal.answer("In which unit does film", "");
    terminal.answer("What kind of probe is film", "");
    terminal.answer("What does exit (95.5) measure?", "");
    terminal.answer("How far behind the end of the heat", "");
    terminal.answer("it has to be answered", "35 cm");
    terminal.answer("How wide is the spot", "");
    // Nothing was said of its unit: 95 F are 35 C.
    terminal.answer("In which unit does exit", "");
    terminal.answer("it has to be answered", "F");
    terminal.answer("What kind of probe is exit", "");
    terminal.answer("From where else?", "");
    terminal.answer("How long is the heat", "2.4 m");
    terminal.answer("What is the chamber set to?", "180 C, panel 420 C");
    terminal.answer("How fast does the belt", "2.6 m/min");
    terminal.answer("Where on this machine is the board", "");
    terminal.answer("Enter writes shop.toml", "");
    terminal.says("sound; it declares 1 source, 1 station, 2 probes.");
    assert_eq!(terminal.ended(), 0, "{}", terminal.told());

    let shop = written(at);
    let SourceKind::Serial(line) = &shop.sources[0].kind else {
        panic!("{shop:?}");
    };
    assert_eq!(line.settings.port, Port::Path(device.path.clone()));
    assert_eq!(shop.probes[0].place, Place::Ride);
    assert_eq!(
        shop.probes[0].sensor,
        Some(Sensor::Thermocouple {
            kind: 'K',
            class: 2
        })
    );
    assert!(matches!(
        shop.probes[1].sensor,
        Some(Sensor::Infrared { .. })
    ));
    // What is assumed says where it comes from.
    let text = fs::read_to_string(at.join("shop.toml")).unwrap();
    assert!(
        text.contains("# Class 2 of IEC 60584-1") && text.contains("common practice"),
        "{text}"
    );

    // What the file declares is what comes: 95.5 F is what the exit probe is heard to say.
    let heard = good(
        at,
        &[
            "probe",
            "listen",
            "--shop",
            "shop.toml",
            "--source",
            "probes",
            "--for",
            "1",
        ],
    );
    assert!(heard.contains("film 168.2 C · exit 95.5 F"), "{heard}");
    assert!(
        heard.contains("probe exit, behind the dryer at belt-1"),
        "{heard}"
    );
}

#[test]
fn without_a_terminal_everything_that_is_missing_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let (code, text, errors) = said(&run_in(folder.path(), &["start", "--no-run"]));
    assert_eq!((code, text.as_str()), (Some(2), ""));
    for option in [
        "--name",
        "--timezone",
        "--units",
        "--station",
        "--port",
        "--broker",
        "--modbus",
        "--simulated",
        "--heat",
        "--set",
        "--belt",
    ] {
        assert!(errors.contains(option), "{option}: {errors}");
    }
    let (code, _, errors) = said(&run_in(
        folder.path(),
        &[
            "start",
            "--no-run",
            "--simulated",
            "--timezone",
            "Viena",
            "--heat",
            "8",
            "--name",
            "x",
        ],
    ));
    assert_eq!(code, Some(2));
    for words in [
        "--timezone ZONE: \"Viena\": there is no such",
        "--heat LENGTH: \"8\": ",
        "--belt SPEED",
    ] {
        assert!(errors.contains(words), "{words}: {errors}");
    }
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        0,
        "nothing is written"
    );
}

#[test]
fn by_options_alone_a_broker_and_devices_are_heard() {
    let _publisher = Publisher::of(&[
        (
            "yard/belt-1/exit",
            br#"{"value":128.4,"at":1700000000,"n":7}"#,
        ),
        ("yard/belt-1/speed", b"2.62"),
        ("yard/belt-1/state", b"running"),
    ]);
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let (broker, modbus) = (broker().1, modbus());
    let (broker, modbus) = (format!("127.0.0.1:{broker}"), format!("127.0.0.1:{modbus}"));
    let mut call = vec![
        "start",
        "--no-run",
        "--name",
        "Our shop",
        "--timezone",
        "Europe/Vienna",
        "--units",
        "us",
    ];
    call.extend([
        "--station",
        "belt-dryer",
        "--heat",
        "8 ft",
        "--set",
        "350 F",
        "--belt",
        "8.5 ft/min",
    ]);
    call.extend([
        "--broker",
        &broker,
        "--topic",
        "yard/belt-1/#",
        "--modbus",
        &modbus,
    ]);
    call.extend(["--register", "zone-1=1:input:0:int16:0.1:C"]);
    let (code, text, errors) = said(&run_in(at, &call));
    assert_eq!(code, Some(2), "{text}");
    let words = "no channel is taken";
    assert!(
        errors.contains(words) && errors.contains("exit, speed, zone-1"),
        "{errors}"
    );
    call.extend([
        "--probe",
        "exit=exit:C:infrared",
        "--exit-distance",
        "14 in",
        "--exit-spot",
        "30 mm",
    ]);
    call.extend(["--signal", "speed=belt:m/min", "--probe", "zone-1=zone::J"]);
    let mut wrong = call.clone();
    wrong.extend(["--probe", "film=ride:C:K"]);
    let (code, _, errors) = said(&run_in(at, &wrong));
    assert_eq!(code, Some(2));
    assert!(
        errors.contains("no channel \"film\" is there; there are exit, speed, zone-1"),
        "{errors}"
    );
    let text = good(at, &call);
    assert!(
        text.contains("yard/belt-1/state: running  ->  no number in it"),
        "{text}"
    );
    assert!(text.contains("zone-1: 190.2"), "{text}");

    let shop = written(at);
    let SourceKind::Mqtt(mqtt) = &shop.sources[0].kind else {
        panic!("{shop:?}");
    };
    let exit = &mqtt.topics[0];
    let pointers = [&exit.value, &exit.time, &exit.sequence].map(|pointer| pointer.as_deref());
    assert_eq!(exit.filter, "yard/belt-1/exit");
    assert_eq!(pointers, [Some("/value"), Some("/at"), Some("/n")]);
    assert_eq!(mqtt.topics[1].value, None);
    assert!(matches!(shop.signals[0].kind, SignalKind::Belt { .. }));
    let zone = shop
        .probes
        .iter()
        .find(|probe| probe.id == "zone-1")
        .unwrap();
    assert_eq!(
        zone.sensor,
        Some(Sensor::Thermocouple {
            kind: 'J',
            class: 2
        })
    );
}

/// A broker that is not there is no end of it: what stands before can be corrected.
#[test]
fn a_broker_that_is_not_there_is_explained() {
    let folder = tempfile::tempdir().unwrap();
    let options = [
        "start",
        "--no-run",
        "--name",
        "x",
        "--timezone",
        "UTC",
        "--units",
        "us",
        "--station",
        "flash-unit",
    ];
    let mut terminal = Terminal::start(folder.path(), &options);
    terminal.answer("Where do readings come from?", "mqtt 127.0.0.1:1");
    terminal.answer("As which user", "");
    terminal.answer("Does it speak TLS?", "");
    terminal.answer("Which topics", "");
    terminal.says("nothing listens at 127.0.0.1:1");
    terminal.answer("Enter listens again", "<");
    terminal.answer("Which topics", "<");
    terminal.answer("Does it speak TLS?", "<");
    terminal.answer("As which user", "<");
    terminal.answer("Where do readings come from?", "simulated");
    terminal.answer("How long is the heated panel?", "");
    terminal.says("What is its panel set to?");
    // Leaving leaves nothing behind.
    terminal.press("\u{4}");
    assert_eq!(terminal.ended(), 2);
    assert!(
        terminal.told().contains("nothing is written"),
        "{}",
        terminal.told()
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}
