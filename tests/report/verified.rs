//! A report or a journal that somebody has changed is found, and the change named; a signature is checked by anyone.

use std::fs;
use std::process::Command;

use rusqlite::Connection;
use serde_json::Value;

use super::day::{REPORT, call, copied};
use super::played_day;

#[test]
fn what_was_changed_in_a_report_is_named() {
    let folder = copied();
    let path = folder.path();
    call(path, &format!("{REPORT} --out day.json"));
    let text = fs::read_to_string(path.join("day.json")).unwrap();
    let mut report: Value = serde_json::from_str(&text).unwrap();
    let print = &mut report["batches"][1]["prints"][1];
    assert_eq!(print["verdict"], "under-cured");
    print["verdict"] = Value::from("cured");
    fs::write(path.join("nicer.json"), report.to_string()).unwrap();
    let verify = |file: &str| call(path, &format!("verify {file} --data data"));
    let (code, out, _) = verify("nicer.json");
    assert_eq!(code, 1, "{out}");
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("batches[1].prints[1].verdict: the report says “cured”, the journal “under-"),
        "{out}"
    );
    assert_eq!(verify("day.json").0, 0);
    let (code, _, err) = call(path, "verify day.json");
    assert!(code == 2 && err.contains("--public-key"), "{err}");
    // One that rests on another shop file than the journal's wants that file again.
    let other = "[shop]\nname = \"Other Yard\"\ntimezone = \"America/Chicago\"\n";
    fs::write(path.join("other.toml"), other).unwrap();
    call(
        path,
        &format!("{REPORT} --shop other.toml --out named.json"),
    );
    let (code, _, err) = verify("named.json");
    assert!(code == 2 && err.contains("--shop"), "{err}");
    assert_eq!(
        call(path, "verify named.json --data data --shop other.toml").0,
        0
    );
}

/// A journal that somebody has meddled with, as `inkdwell verify` tells it with a report that was made before: the link of
/// the chain that is broken, and the first figure that has no support any more.
#[test]
fn a_tampered_journal_is_found_and_named() {
    let folder = copied();
    let path = folder.path();
    call(path, &format!("{REPORT} --out day.json"));
    call(path, "backup whole.sqlite --data data");
    let journal = Connection::open(path.join("whole.sqlite")).unwrap();
    let record = |pass: u64| -> u64 {
        let sql = "SELECT record FROM pass WHERE number = ?1";
        journal.query_row(sql, [pass], |row| row.get(0)).unwrap()
    };
    // The second and third prints of the second batch.
    let (five, six) = (record(5), record(6));
    drop(journal);
    let found = |file: &str| -> (String, String) {
        let (code, out, err) = call(path, &format!("verify day.json --data {file}"));
        assert_eq!(code, 1, "{file}: {out}");
        assert!(out.contains("NOT as it was written"), "{file}: {out}");
        (out.split_whitespace().collect::<Vec<_>>().join(" "), err)
    };
    let meddled = |file: &str, sql: &str| {
        fs::copy(path.join("whole.sqlite"), path.join(file)).unwrap();
        let own = Connection::open(path.join(file)).unwrap();
        own.execute_batch(sql).unwrap();
        drop(own);
        found(file)
    };

    // One byte of a verdict, in the file itself. (Alarms name verdicts too, but no reasons.)
    let mut bytes = fs::read(path.join("whole.sqlite")).unwrap();
    let word = b"\"verdict\":\"under-cured\",\"harm\":null,\"reasons\"";
    let mut windows = bytes.windows(word.len());
    let at = windows.position(|window| window == word).unwrap();
    bytes[at + 11] = b'U';
    fs::write(path.join("byte.sqlite"), bytes).unwrap();
    let (out, _) = found("byte.sqlite");
    assert!(out.contains("it was changed after it was written"), "{out}");
    assert!(
        out.contains(".verdict: the report says “under-cured”, the journal “Under-cured”"),
        "{out}"
    );

    // A pass that is not there any more.
    let (out, _) = meddled(
        "deleted.sqlite",
        &format!("DELETE FROM record WHERE number = {five}; DELETE FROM pass WHERE number = 5;"),
    );
    assert!(out.contains(&format!("record {five} is missing")), "{out}");
    assert!(
        out.contains("NOT supported") && out.contains("batches[1].prints[1]"),
        "{out}"
    );

    // Two that have changed places.
    let (out, _) = meddled(
        "reordered.sqlite",
        &format!(
            "UPDATE record SET number = 0 WHERE number = {five};
             UPDATE record SET number = {five} WHERE number = {six};
             UPDATE record SET number = {six} WHERE number = 0;
             UPDATE pass SET record = {six} WHERE number = 5;
             UPDATE pass SET record = {five} WHERE number = 6;"
        ),
    );
    assert!(
        out.contains(&format!("record {five}")) && out.contains("belongs"),
        "{out}"
    );
    assert!(out.contains("batches[1].prints[1].record"), "{out}");

    // Another day's journal in its place.
    played_day::play(&path.join("another"), 4);
    let (out, _) = found("another");
    assert!(out.contains("NOT supported"), "{out}");
}

#[test]
fn a_signed_report_is_checked_by_anyone_with_the_public_key() {
    let folder = copied();
    let path = folder.path();
    let (code, _, err) = call(path, "key shop.key");
    assert_eq!((code, err.as_str()), (0, ""));
    let (code, _, err) = call(path, "key shop.key");
    assert!(code == 2 && err.contains("there is a file of this name"));
    let (code, _, err) = call(path, &format!("{REPORT} --out day.json --sign shop.key"));
    assert_eq!((code, err.as_str()), (1, ""));
    // By somebody who has nothing but the report, its signature and the public key.
    let elsewhere = tempfile::tempdir().unwrap();
    for name in ["day.json", "day.json.sig", "shop.key.pub"] {
        fs::copy(path.join(name), elsewhere.path().join(name)).unwrap();
    }
    let path = elsewhere.path();
    let verify = "verify day.json --public-key shop.key.pub";
    let (code, out, _) = call(path, verify);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("signed with the shop's key"), "{out}");
    // Another program that knows Ed25519 agrees, where it is there.
    if Command::new("openssl").arg("version").output().is_ok() {
        let checked = Command::new("openssl")
            .args([
                "pkeyutl",
                "-verify",
                "-pubin",
                "-inkey",
                "shop.key.pub",
                "-rawin",
            ])
            .args(["-in", "day.json", "-sigfile", "day.json.sig"])
            .current_dir(path)
            .output()
            .unwrap();
        assert!(checked.status.success(), "{checked:?}");
    }
    let mut bytes = fs::read(path.join("day.json")).unwrap();
    let last = bytes.len() - 3;
    bytes[last] = b' ';
    bytes.extend(b" ");
    fs::write(path.join("day.json"), &bytes).unwrap();
    let (code, out, err) = call(path, verify);
    // Either it is no report any more, or its signature is wrong.
    assert!(
        code == 1 && out.contains("NOT signed") || code == 2 && err.contains("holds no report"),
        "{out}{err}"
    );
}
