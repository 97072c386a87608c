//! Every figure of the report comes out again when general-purpose libraries work it out.

use std::fs;
use std::process::Command;

use inkdwell_tests::root;
use serde_json::Value;

use super::day::{REPORT, call, python};
use super::played_day;

/// Every figure of the report, worked out by numpy and scipy from what was exported: `tests/reference/report.py` says to
/// which tolerances.
#[test]
fn others_work_out_the_same_figures() {
    let Some(python) = python() else {
        eprintln!("SKIPPED: no Python with numpy and scipy; tests/run installs it");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    // A long good run, so that there is something for charts and trends.
    played_day::play(&path.join("data"), 32);
    call(path, &format!("{REPORT} --out day.json"));
    for what in ["passes", "readings", "events"] {
        call(path, &format!("export {what} --data data --out {what}.csv"));
    }
    let script = root()
        .join("tests/reference/report.py")
        .canonicalize()
        .unwrap();
    let arguments = ["day.json", "passes.csv", "readings.csv", "events.csv"];
    let output = Command::new(&python)
        .arg("-B")
        .arg(&script)
        .args(arguments)
        .current_dir(path)
        .output()
        .unwrap();
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    assert!(output.status.success(), "{out}{err}");
    for compared in [
        "good at least",
        "cure dose from readings",
        "scorch dose from readings",
        "peak, median",
        "chart, patterns",
        "trend refused",
        "capability refused",
        "hold, outcome",
        "scrapped, cost",
        "test, review says by how much",
        "recipe, lasted",
        "alarm, seen after",
        "chamber, mean",
        "curve, temperatures",
        "calibration, due in days",
        "fingerprint",
        "period, before",
    ] {
        assert!(out.contains(compared), "{compared}\n{out}");
    }
    // It would notice.
    let text = fs::read_to_string(path.join("day.json")).unwrap();
    let mut report: Value = serde_json::from_str(&text).unwrap();
    let share = &mut report["batches"][0]["proof"]["good_at_least"];
    *share = Value::from(share.as_f64().unwrap() + 1e-6);
    fs::write(path.join("day.json"), report.to_string()).unwrap();
    let output = Command::new(&python)
        .arg("-B")
        .arg(&script)
        .args(arguments)
        .current_dir(path)
        .output()
        .unwrap();
    assert!(!output.status.success());
}
