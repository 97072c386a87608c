//! `inkdwell verify` and `inkdwell backup`, on a journal that a daemon is writing.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use inkdwell_daemon::journal::{self, Batch, JournaledReading, Settings, Shown, Writer};
use inkdwell_daemon::record::{Occurred, Occurrence, Record};
use inkdwell_daemon::time::Micros;
use serde_json::Value;
use tempfile::TempDir;

/// A journal of three records and three readings, still open.
fn journal(folder: &Path) -> Writer {
    let settings = Settings {
        keep_free: Some(0),
        ..Settings::default()
    };
    let (mut writer, _) = journal::open(folder, settings).unwrap();
    let channel = writer.channel("probes", "film");
    for second in 1..=3 {
        let at = Micros(1_790_000_000_000_000 + second * 1_000_000);
        let why = format!("the lead of junction {second} is loose");
        let source = "probes".to_owned();
        let record = Record::Occurred(Occurred {
            station: None,
            what: Occurrence::SourceDown { source, why },
        });
        let reading = JournaledReading {
            channel,
            at,
            shown: Shown::Number(161.3),
            fed: true,
        };
        writer
            .commit(&Batch {
                readings: vec![reading],
                records: vec![(at, record)],
                ..Batch::default()
            })
            .unwrap();
    }
    writer
}

fn call(folder: &TempDir, arguments: &[&str]) -> (i32, String, String) {
    let Output {
        status,
        stdout,
        stderr,
    } = Command::new(env!("CARGO_BIN_EXE_inkdwell"))
        .current_dir(folder.path())
        .args(arguments)
        .output()
        .unwrap();
    (
        status.code().unwrap(),
        String::from_utf8(stdout).unwrap(),
        String::from_utf8(stderr).unwrap(),
    )
}

/// Changes some bytes in a file for as many others.
fn meddle(file: &Path, from: &str, to: &str) {
    assert_eq!(from.len(), to.len());
    let mut bytes = fs::read(file).unwrap();
    let found: Vec<usize> = (0..bytes.len() - from.len())
        .filter(|at| bytes[*at..].starts_with(from.as_bytes()))
        .collect();
    assert!(!found.is_empty());
    for at in found {
        bytes[at..at + to.len()].copy_from_slice(to.as_bytes());
    }
    fs::write(file, bytes).unwrap();
}

#[test]
fn a_journal_in_use_is_verified_and_its_head_told() {
    let folder = TempDir::new().unwrap();
    let writer = journal(&folder.path().join("data"));
    let (code, out, err) = call(&folder, &["verify", "--data", "data"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    for words in ["sound, as it was written", "3 records, 3 readings"] {
        assert!(out.contains(words), "{words}\n{out}");
    }
    let head = writer.head().to_string();
    assert!(out.contains(&format!("Head: {head}")), "{out}");
    let (code, out, _) = call(
        &folder,
        &["verify", "--data", "data", "--json", "--head", &head],
    );
    let json: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(code, 0);
    assert_eq!(json["schema"], "inkdwell.verify/1");
    assert_eq!(json["sound"], true);
    assert_eq!(json["head"]["record"], 3);
    assert_eq!(json["head"]["text"], head);
    assert_eq!(json["broken"], serde_json::json!([]));
}

#[test]
fn a_backup_is_a_journal_and_overwrites_nothing() {
    let folder = TempDir::new().unwrap();
    let writer = journal(&folder.path().join("data"));
    let (code, out, err) = call(&folder, &["backup", "copy.sqlite", "--data", "data"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("Copied") && out.contains("sound"), "{out}");
    let arguments = ["verify", "--data", "copy.sqlite", "--json"];
    let json: Value = serde_json::from_str(&call(&folder, &arguments).1).unwrap();
    assert_eq!(json["head"]["text"], writer.head().to_string());
    let before = fs::read(folder.path().join("copy.sqlite")).unwrap();
    let (code, _, err) = call(&folder, &["backup", "--data", "data", "copy.sqlite"]);
    assert_eq!(code, 2);
    assert!(
        err.contains("copy.sqlite: there is a file of this name"),
        "{err}"
    );
    assert_eq!(fs::read(folder.path().join("copy.sqlite")).unwrap(), before);
    let arguments = ["backup", "--data", "data", "other.sqlite", "--json"];
    let json: Value = serde_json::from_str(&call(&folder, &arguments).1).unwrap();
    assert_eq!(json["schema"], "inkdwell.backup/1");
    assert_eq!(
        (&json["sound"], &json["records"]),
        (&Value::from(true), &Value::from(3))
    );
}

#[test]
fn the_first_broken_link_is_named() {
    let folder = TempDir::new().unwrap();
    let _writer = journal(&folder.path().join("data"));
    call(&folder, &["backup", "--data", "data", "copy.sqlite"]);
    let copy = folder.path().join("copy.sqlite");
    meddle(&copy, "junction 2 is loose", "junction 2 is tight");
    meddle(&copy, "junction 3 is loose", "junction 3 is tight");
    let (code, out, err) = call(&folder, &["verify", "--data", "copy.sqlite"]);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    assert!(out.contains("NOT as it was written"), "{out}");
    // 1790000002 s after the epoch, by `date -u -d @1790000002`.
    assert!(out.contains("record 2 (2026-09-21 14:13:22 UTC)"), "{out}");
    let (code, out, _) = call(&folder, &["verify", "--data", "copy.sqlite", "--json"]);
    let json: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &json["sound"]), (1, &Value::from(false)));
    assert_eq!(json["broken"].as_array().unwrap().len(), 1);
    assert_eq!(json["broken"][0]["part"], "records");
    assert_eq!(json["broken"][0]["record"], 2);
}

#[test]
fn a_head_of_another_chain_is_a_finding() {
    let folder = TempDir::new().unwrap();
    let _writer = journal(&folder.path().join("data"));
    let other = format!("2-{}", "ab".repeat(32));
    let (code, out, _) = call(&folder, &["verify", "--data", "data", "--head", &other]);
    assert_eq!(code, 1);
    assert!(
        out.contains("another than the one that was written down"),
        "{out}"
    );
}

#[test]
fn wrong_calls_say_what_to_do() {
    let folder = TempDir::new().unwrap();
    let _writer = journal(&folder.path().join("data"));
    fs::write(folder.path().join("notes.txt"), "dear diary ".repeat(500)).unwrap();
    for (arguments, words) in [
        (vec!["verify"], "--data"),
        (
            vec!["verify", "--data", "nowhere"],
            "there is no journal here",
        ),
        (
            vec!["verify", "--data", "notes.txt"],
            "no journal of Inkdwell",
        ),
        (
            vec!["verify", "--data", "data", "--head", "12"],
            "64 hexadecimal digits",
        ),
        (
            vec!["backup", "--data", "data", "no/where.sqlite"],
            "cannot be written",
        ),
        (vec!["backup", "--data", "data"], "FILE"),
    ] {
        let (code, _, err) = call(&folder, &arguments);
        assert_eq!(code, 2, "{arguments:?}");
        assert!(err.contains(words), "{arguments:?}: {err}");
    }
}
