//! Tuning calls, their answers, and what is held of every answer.

pub mod bad_input;
pub mod flash;

use std::fs;
use std::path::Path;

use inkdwell_simulated_traces::samples;
use inkdwell_simulated_traces::shipped::SHOP;
use inkdwell_tests::run_in;
use serde_json::Value;
use tempfile::TempDir;

/// The samples' rides, slowest first.
pub const RIDES: [&str; 3] = ["tune-slow.csv", "tune-middle.csv", "tune-fast.csv"];

/// A folder with the samples' rides and shop file.
pub fn samples_folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("shop.toml"), SHOP).expect("written");
    for file in RIDES
        .iter()
        .chain(&["flash.csv", "cut-ride.csv", "five-prints.csv"])
    {
        fs::copy(samples::folder().join(file), folder.path().join(file)).expect("copied");
    }
    folder
}

/// A tuning call: exit code, standard output, standard error.
pub fn tune(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut all = vec!["tune"];
    all.extend(arguments);
    let output = run_in(folder, &all);
    (
        output.status.code().expect("no signal"),
        String::from_utf8(output.stdout).expect("UTF-8"),
        String::from_utf8(output.stderr).expect("UTF-8"),
    )
}

/// The call of the samples' job with the rides given.
pub fn job<'a>(rides: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    let mut call = vec!["--ink", "plastisol-standard", "--fabric", "cotton-jersey"];
    call.extend(["--shop", "shop.toml", "--station", "belt-1"]);
    call.extend(rides.iter().flat_map(|ride| ["--ride", *ride]));
    call.extend(more);
    call
}

/// A tuning call with JSON: exit code and answer.
pub fn answer(folder: &Path, arguments: &[&str]) -> (i32, Value) {
    let mut all = arguments.to_vec();
    all.push("--json");
    let (code, said, error) = tune(folder, &all);
    let json = serde_json::from_str(&said).unwrap_or_else(|_| panic!("{all:?}: {said}{error}"));
    (code, json)
}

/// A number.
pub fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("no number: {value}"))
}

/// Names of the members of an object, in order.
pub fn keys(value: &Value) -> Vec<&str> {
    let object = value.as_object().expect("an object");
    let mut keys: Vec<&str> = object.keys().map(String::as_str).collect();
    keys.sort_unstable();
    keys
}

/// Holds that a band has its three members, in order.
pub fn ordered(band: &Value) {
    assert_eq!(keys(band), ["best", "high", "low"]);
    let [low, best, high] = ["low", "best", "high"].map(|end| number(&band[end]));
    assert!(low <= best && best <= high, "{band}");
}

/// Holds that all bands of a prediction are in order.
pub fn in_order(predicted: &Value) {
    for member in ["peak_c", "time_above_s", "cure"] {
        ordered(&predicted[member]);
    }
    for harm in predicted["harms"].as_array().expect("an array") {
        assert_eq!(keys(harm), ["best", "harm", "high", "low"]);
    }
}

/// Ends of a window; a missing slow end is 0.
pub fn ends(window: &Value) -> (f64, f64) {
    let slow = window["slowest_m_per_min"].as_f64().unwrap_or(0.0);
    (slow, number(&window["fastest_m_per_min"]))
}
