//! `inkdwell probe listen`: what comes over a wire beside what it is taken for, for a person at a terminal and for programs.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use inkdwell_tests::{inkdwell, run_in};
use serde_json::Value;

use crate::said;
use crate::wires::terminal::Terminal;
use crate::wires::{Device, Publisher, broker, modbus};

/// A good line; one with noise that would clear a screen, ring, and name the window; one with a field too many.
const HOSTILE: &[u8] = b"168.2 C,95.5\r\n16\x1b[2J\x07\x1b]0;owned\x07\xff8.2,9\r\n1,2,3\r\n";

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Follows what is written until all of this was, then ends it as Ctrl-C does. Gives every object.
fn followed(arguments: &[&str], mut enough: impl FnMut(&[Value]) -> bool) -> Vec<Value> {
    let mut process = Command::new(inkdwell())
        .args(["probe", "listen", "--json", "--for", "60"])
        .args(arguments)
        .env_remove("INKDWELL_SHOP")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
    let mut heard: Vec<Value> = Vec::new();
    let mut take = |heard: &mut Vec<Value>| match lines.next() {
        Some(line) => {
            heard.push(serde_json::from_str(&line.unwrap()).unwrap());
            true
        }
        None => false,
    };
    while !enough(&heard) {
        assert!(take(&mut heard), "it ended before: {heard:#?}");
    }
    let id = process.id().to_string();
    let told = Command::new("kill").args(["-INT", &id]).status().unwrap();
    assert!(told.success());
    while take(&mut heard) {}
    assert_eq!(process.wait().unwrap().code(), Some(0), "{heard:#?}");
    heard
}

fn of_kind<'a>(heard: &'a [Value], kind: &str) -> Vec<&'a Value> {
    heard.iter().filter(|own| own["kind"] == kind).collect()
}

#[test]
fn a_serial_line_is_told_byte_by_byte_beside_what_it_is_taken_for() {
    let device = Device::saying(HOSTILE);
    let call = [
        "--port",
        text(&device.path),
        "--format",
        "fields",
        "--names",
        "film,exit",
    ];
    let heard = followed(&call, |heard| of_kind(heard, "line").len() >= 7);
    let lines = of_kind(&heard, "line");
    let good = lines
        .iter()
        .find(|line| line["not_taken"].is_null())
        .unwrap();
    assert_eq!(good["text"], "168.2 C,95.5");
    assert_eq!(good["hex"], "3136382e3220432c39352e35");
    let readings = good["readings"].as_array().unwrap();
    assert_eq!(
        (&readings[0]["channel"], &readings[0]["value"]),
        (&"film".into(), &168.2.into())
    );
    assert_eq!(
        (&readings[0]["unit"], &readings[1]["unit"]),
        (&"C".into(), &Value::Null)
    );
    let noise = lines
        .iter()
        .find(|line| line["text"].as_str().unwrap().contains("<1B>"))
        .unwrap();
    assert_eq!(noise["text"], "16<1B>[2J<07><1B>]0;owned<07><FF>8.2,9");
    // ESC, BEL, ESC, BEL and a byte that no text has.
    assert_eq!(noise["not_taken"], "bytes of noise in it: 5");
    let more = lines.iter().find(|line| line["text"] == "1,2,3").unwrap();
    assert_eq!(more["not_taken"], "it has 3 fields where 2 are named");

    let sum = heard.last().unwrap();
    assert_eq!(sum["schema"], "inkdwell.heard-sum/1");
    let count = |why: &str| lines.iter().filter(|line| line["not_taken"] == why).count() as u64;
    for why in [
        "bytes of noise in it: 5",
        "it has 3 fields where 2 are named",
    ] {
        assert_eq!(sum["not_taken"][why], count(why), "{sum}");
    }
    assert_eq!(sum["noise_bytes"], 5 * count("bytes of noise in it: 5"));
    assert_eq!(sum["channels"][1]["channel"], "film");
    assert!(
        sum["channels"][1]["readings_per_s"]
            .as_f64()
            .is_some_and(|rate| rate > 0.0),
        "{sum}"
    );
}

/// Without a format, what lines look like is told and taken.
#[test]
fn how_lines_are_read_is_guessed_where_it_is_not_said() {
    let device = Device::saying(b"film=168.2 exit=95.5\r\n");
    let call = ["--port", text(&device.path)];
    let heard = followed(&call, |heard| of_kind(heard, "line").len() >= 3);
    let guessed = of_kind(&heard, "guessed");
    assert!(
        guessed[0]["text"]
            .as_str()
            .unwrap()
            .contains("name=value, with spaces"),
        "{guessed:?}"
    );
    let channels = heard.last().unwrap()["channels"]
        .as_array()
        .unwrap()
        .clone();
    assert_eq!(
        (&channels[0]["channel"], &channels[0]["value"]),
        (&"exit".into(), &95.5.into())
    );
}

#[test]
fn in_a_terminal_it_is_live_and_no_byte_of_a_device_is_obeyed() {
    let device = Device::saying(HOSTILE);
    let folder = tempfile::tempdir().unwrap();
    let mut call = vec!["probe", "listen", "--port", text(&device.path)];
    call.extend(["--format", "fields", "--names", "film,exit"]);
    let mut terminal = Terminal::start(folder.path(), &call);
    let screen = terminal.shows(&[
        "channel",
        "a second",
        "168.2 C",
        "16<1B>[2J<07><1B>]0;owned",
        "not taken: it has 3 fields where 2 are named",
        "bytes of noise:",
        "q or Ctrl-C ends",
    ]);
    assert!(screen.contains(text(&device.path)), "{screen}");
    terminal.press("\u{3}");
    assert_eq!(terminal.ended(), 0);
    // What was counted stays when the view has gone.
    terminal.says("channel showed a second");
    terminal.says("not taken:");
    let bytes = terminal.bytes();
    assert!(!bytes.contains(&0x07), "a bell was rung");
    assert!(
        !bytes.windows(3).any(|own| own == b"\x1b]0"),
        "a window was named"
    );
}

#[test]
fn a_port_that_cannot_be_heard_is_explained() {
    let device = Device::saying(b"168.2\r\n");
    let path = text(&device.path);
    let mut first = Command::new(inkdwell())
        .args(["probe", "listen", "--port", path, "--json"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(first.stdout.take().unwrap()).lines();
    assert!(lines.next().unwrap().unwrap().contains("\"open\""));
    let (code, _, errors) = said(&run_in(
        Path::new("."),
        &["probe", "listen", "--port", path],
    ));
    first.kill().unwrap();
    first.wait().unwrap();
    assert_eq!(code, Some(2));
    for words in [
        "is in use by another program",
        "daemon (inkdwelld)",
        "stop it",
    ] {
        assert!(errors.contains(words), "{words}: {errors}");
    }
    for (call, words) in [
        (
            &["--port", "/dev/not-there"][..],
            "there is no serial port /dev/not-there",
        ),
        (&["--port", "/etc/hosts"], "/etc/hosts is no serial port"),
        (&["--usb", "dead"], "is no USB identity"),
        (
            &["--port", "/dev/null", "--baud", "3"],
            "--baud: 3 is not a whole number",
        ),
        (
            &["--broker", "127.0.0.1:1"],
            "nothing listens at 127.0.0.1:1",
        ),
        (
            &["--modbus", "127.0.0.1:1", "--register", "z=1:input:0:int16"],
            "nothing listens at 127.0.0.1:1",
        ),
        (
            &["--modbus", "127.0.0.1", "--register", "z=1:input:0:int17"],
            "--register: \"int17\" is unknown",
        ),
        (
            &["--modbus", "127.0.0.1", "--register", "z=1:input"],
            "four to six parts",
        ),
    ] {
        let call = [&["probe", "listen", "--for", "30"][..], call].concat();
        let (code, _, errors) = said(&run_in(Path::new("."), &call));
        assert_eq!(code, Some(2), "{call:?}: {errors}");
        assert!(errors.contains(words), "{call:?}: {errors}");
        assert!(!errors.contains("shop file"), "there is none: {errors}");
    }
}

#[test]
fn messages_are_told_with_their_topics() {
    let _publisher = Publisher::of(&[
        ("listen/exit", br#"{"value":128.4,"at":1700000000}"#),
        ("listen/speed", b"2.62"),
        ("listen/evil", b"\x1b[2J\x07"),
    ]);
    let place = format!("127.0.0.1:{}", broker().1);
    let call = ["--broker", &place, "--topic", "listen/#"];
    let topics = ["listen/exit", "listen/speed", "listen/evil"];
    let heard = followed(&call, |heard| {
        topics
            .iter()
            .all(|topic| heard.iter().any(|own| own["topic"] == **topic))
    });
    let of = |topic: &str| heard.iter().find(|own| own["topic"] == topic).unwrap();
    assert_eq!(of("listen/exit")["readings"][0]["value"], 128.4);
    assert_eq!(of("listen/speed")["readings"][0]["channel"], "speed");
    assert_eq!(of("listen/evil")["text"], "<1B>[2J<07>");
    assert_eq!(of("listen/evil")["not_taken"], "there is no number in it");

    // By a declaration, what does not keep to it is told.
    let call = [
        "--broker", &place, "--topic", "listen/+", "--value", "/value",
    ];
    let heard = followed(&call, |heard| {
        topics
            .iter()
            .all(|topic| heard.iter().any(|own| own["topic"] == **topic))
    });
    let of = |topic: &str| heard.iter().find(|own| own["topic"] == topic).unwrap();
    assert_eq!(of("listen/exit")["readings"][0]["channel"], "exit");
    let why = &of("listen/speed")["not_taken"];
    assert_eq!(why, "it has no number or word where value points");
}

/// Question and answer as in MODBUS Application Protocol V1.1b3, section 6.4: function 4, address 0, one register; two
/// bytes, 1902 = 0x076E.
#[test]
fn devices_are_told_with_the_bytes_that_went_to_and_fro() {
    let place = format!("127.0.0.1:{}", modbus());
    let call = [
        "--modbus",
        &place,
        "--register",
        "zone-1=1:input:0:int16:0.1",
        "--poll",
        "0.1 s",
    ];
    let answered = |own: &&Value| {
        own["readings"]
            .as_array()
            .is_some_and(|all| !all.is_empty())
    };
    let heard = followed(&call, |heard| heard.iter().filter(answered).count() >= 2);
    let first = heard.iter().find(answered).unwrap();
    assert_eq!(first["readings"][0]["value"], 190.2);
    let asked = first["asked_hex"].as_str().unwrap();
    assert!(asked.ends_with("00000006010400000001"), "{asked}");
    let came = first["hex"].as_str().unwrap();
    assert!(came.ends_with("00000005010402076e"), "{came}");

    // Device 2 is silent, beside device 1 which is not.
    let mut call = call.to_vec();
    call.extend([
        "--register",
        "zone-2=2:input:0:int16:0.1",
        "--timeout",
        "0.2 s",
    ]);
    let heard = followed(&call, |heard| {
        !of_kind(heard, "trouble").is_empty()
            && heard.iter().any(|own| own["not_taken"] == "no answer")
            && heard.iter().any(|own| answered(&own))
    });
    let trouble = of_kind(&heard, "trouble")[0]["text"].as_str().unwrap();
    assert!(trouble.contains("device 2 does not answer"), "{trouble}");
}
