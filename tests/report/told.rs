//! What is told of the day, its answer first, and of a batch, a job or a range of it alone.

use std::fs;

use inkdwell_tests::run_in;
use serde_json::Value;

use super::day::{REPORT, call, copied, json, said};

/// The story of the demonstration is its own expectation: five batches, of which the first goes well, a heater sags in the
/// second, the belt stops in the third, a heavier garment lies in the fourth, and a probe breaks in the fifth.
#[test]
fn the_day_is_told_with_its_answer_first() {
    let folder = copied();
    let (code, out, err) = call(folder.path(), REPORT);
    assert_eq!((code, err.as_str()), (1, ""), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let head: String = out.lines().take(12).collect::<Vec<_>>().join(" ");
    for words in [
        "Lantern Yard Print",
        "16 prints proved good",
        "not settled",
        "What to do tomorrow",
        "Settle the",
    ] {
        assert!(head.contains(words), "{words}\n{out}");
    }
    for words in [
        "Harbour choir",
        "Kite festival",
        "under-cured",
        "scorched",
        "no probe saw it",
        "Head: ",
        "Fingerprint: ",
        "Advice only",
    ] {
        assert!(out.contains(words), "{words}\n{out}");
    }
    let report = json(folder.path());
    assert_eq!(report["schema"], "inkdwell.report/1");
    assert_eq!(report["prints"], 16);
    let batches = report["batches"].as_array().unwrap();
    assert_eq!(batches.len(), 5);
    assert_eq!(
        batches[0]["counts"],
        serde_json::json!([{"verdict": "cured", "harm": null, "prints": 3}])
    );
    let left = &batches[1]["settings"]["recipe"]["departures"];
    assert!(
        left[0]["what"].as_str().unwrap().contains("zone-2"),
        "{left}"
    );
    let rides = batches[0]["rides"].as_array().unwrap();
    assert!(rides.len() == 3 && rides[0]["curve"].as_array().unwrap().len() > 50);
    let ids: Vec<&str> = report["chamber"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|own| own["id"].as_str())
        .collect();
    assert_eq!(ids, ["zone-1", "zone-2", "belt-speed"]);
    // What cannot be known says why.
    assert!(report["alarms"]["unknown"].is_string() || report["alarms"].is_array());
    let capability = &batches[0]["figures"][0]["capability"]["unknown"];
    assert!(capability.as_str().unwrap().contains("30 prints or more"));
}

#[test]
fn a_batch_a_job_and_a_range_are_told_alone() {
    let folder = copied();
    let one = |rest: &str| -> Value {
        let (_, out, err) = call(folder.path(), &format!("{REPORT} --format json {rest}"));
        assert_eq!(err, "", "{rest}");
        serde_json::from_str(&out).unwrap()
    };
    assert_eq!(one("--batch 3")["batches"][0]["job"], "Rowing club");
    let arguments = [
        "report",
        "--data",
        "data",
        "--format",
        "json",
        "--job",
        "night MARKET",
    ];
    let (code, out, _) = said(run_in(folder.path(), &arguments));
    let job: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, job["prints"].as_u64()), (1, Some(4)));
    assert_eq!(
        one("--day 2020-01-01")["answer"]["sentence"],
        "Nothing was printed."
    );
    assert_eq!(one("--station belt-9")["prints"], 0);
    // A range of moments holds what began in it, the second moment excluded.
    let batch = one("--batch 1");
    let at = |print: usize| {
        batch["batches"][0]["prints"][print]["at"]["at"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let range = one(&format!("--from {} --to {}", at(0), at(2)));
    assert_eq!(range["prints"], 2);
    // Another shop file wins over the one in the journal, and the report says so.
    let other = "[shop]\nname = \"Other Yard\"\ntimezone = \"America/Chicago\"\nunits = \"us\"\n";
    fs::write(folder.path().join("other.toml"), other).unwrap();
    let named = one("--shop other.toml");
    assert_eq!(
        (&named["shop"]["name"], &named["shop"]["us_units"]),
        (&"Other Yard".into(), &true.into())
    );
    assert!(named["shop"]["file_record"].is_null());
    assert!(
        named["remarks"][0]
            .as_str()
            .unwrap()
            .contains("another one than held then")
    );
    for (wrong, words) in [
        ("--batch 99", "there is no batch 99"),
        ("--day monday", "is no day"),
        ("--from 2026-03-02 --to 2026-03-01", "turn them round"),
        ("--out report.doc", "names no form"),
        ("--day-begins 25:00", "is no hour"),
        (
            "--from 2026-03-02 --to 2026-03-02T12:00:00Z",
            "a day and a moment",
        ),
        ("--format html --paper letter", "--paper is for a PDF"),
        ("--format pdf", "no text for a terminal"),
        ("--shop nowhere.toml", "nowhere.toml"),
    ] {
        let (code, out, err) = call(folder.path(), &format!("{REPORT} {wrong}"));
        assert_eq!((code, out.as_str()), (2, ""), "{wrong}");
        assert!(err.contains(words), "{wrong}: {err}");
    }
}
