//! `inkdwell judge --place exit` from outside: every print that passed an exit probe found, in order, and judged
//! by what it showed there. What is true is known from simulated shops, whose physics is not that of the
//! model that is fitted.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use inkdwell_simulated_traces::samples;
use inkdwell_simulated_traces::shipped::SHOP;
use inkdwell_simulated_traces::shop::draw_shop;
use inkdwell_simulated_traces::shop_files::shop_files;
use inkdwell_tests::run_in;
use serde_json::Value;
use tempfile::TempDir;

const RUN: &str = "exit-run.csv";
const RIDE: &str = "exit-reference.csv";
/// The sample's probe looks so far beyond the heat, and its belt runs so fast: from its shop file and scenario.
const DISTANCE_M: f64 = 0.35;
const BELT_M_PER_S: f64 = 2.8 / 60.0;

/// A folder with the sample's shop file, ride and run.
fn samples_folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("shop.toml"), SHOP).expect("written");
    for file in [RUN, RIDE, "exit-run.truth.json", "good-ride.csv"] {
        fs::copy(samples::folder().join(file), folder.path().join(file)).expect("copied");
    }
    folder
}

/// A call of the sample's job: exit code, standard output, standard error.
fn judge(folder: &Path, file: &str, more: &[&str]) -> (i32, String, String) {
    let mut call = vec!["judge", file, "--place", "exit"];
    if !more.contains(&"--reference") {
        call.extend(["--reference", RIDE]);
    }
    call.extend(["--shop", "shop.toml", "--station", "belt-1"]);
    call.extend(more);
    let output = run_in(folder, &call);
    (
        output.status.code().expect("no signal"),
        String::from_utf8(output.stdout).expect("UTF-8"),
        String::from_utf8(output.stderr).expect("UTF-8"),
    )
}

fn passes(folder: &Path, file: &str, more: &[&str]) -> (i32, Vec<Value>) {
    let mut all = more.to_vec();
    all.push("--json");
    let (code, said, error) = judge(folder, file, &all);
    let json: Value = serde_json::from_str(&said).unwrap_or_else(|_| panic!("{said}{error}"));
    assert_eq!(json["schema"], "inkdwell.judge/1");
    let passes = json["passes"].as_array().expect("an array").clone();
    let counted: u64 = json["counts"]
        .as_object()
        .expect("an object")
        .values()
        .filter_map(Value::as_u64)
        .sum();
    assert_eq!(counted, passes.len() as u64);
    (code, passes)
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("no number: {value}"))
}

fn truths(folder: &Path, file: &str) -> Vec<Value> {
    let text = fs::read_to_string(folder.join(file)).expect("a truth file");
    let json: Value = serde_json::from_str(&text).expect("JSON");
    json["prints"].as_array().expect("an array").clone()
}

fn says(texts: &Value, part: &str) -> bool {
    let texts = texts.as_array().expect("an array");
    texts
        .iter()
        .any(|text| text.as_str().is_some_and(|text| text.contains(part)))
}

/// The sample's run, its rows changed: seconds and cells (time, exit, second exit, belt, count); `None` drops a
/// row.
fn edited(folder: &Path, to: &str, edit: impl Fn(f64, Vec<String>) -> Option<Vec<String>>) {
    let text = fs::read_to_string(folder.join(RUN)).expect("the run");
    let mut out = String::new();
    for line in text.lines() {
        let cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        let time = cells[0].parse::<f64>();
        match time {
            Ok(time) if !line.starts_with('#') => {
                if let Some(cells) = edit(time, cells) {
                    let _ = writeln!(out, "{}", cells.join(","));
                }
            }
            _ => {
                let _ = writeln!(out, "{line}");
            }
        }
    }
    fs::write(folder.join(to), out).expect("written");
}

/// Seconds at which the middle of the sample's print passes the probe, and for how long its garment does.
fn passing(truth: &Value) -> (f64, f64) {
    let middle = number(&truth["leaves_s"]) + DISTANCE_M / BELT_M_PER_S;
    (middle, 0.7 / BELT_M_PER_S)
}

/// What the sample's exit probe read at a time.
fn reading(folder: &Path, time: f64) -> f64 {
    let text = fs::read_to_string(folder.join(RUN)).expect("the run");
    let rows = text.lines().filter_map(|line| {
        let mut cells = line.split(',').map(str::parse::<f64>);
        Some((cells.next()?.ok()?, cells.next()?.ok()?))
    });
    let nearest = rows.min_by(|a, b| (a.0 - time).abs().total_cmp(&(b.0 - time).abs()));
    nearest.expect("rows").1
}

#[test]
fn every_print_of_the_sample_is_found_in_order_and_judged_as_is_true() {
    let folder = samples_folder();
    let (code, passes) = passes(folder.path(), RUN, &[]);
    let truths = truths(folder.path(), "exit-run.truth.json");
    assert_eq!(code, 1);
    assert_eq!(passes.len(), truths.len());
    let mut good = [0, 0];
    for (number_of, (pass, truth)) in (1..).zip(passes.iter().zip(&truths)) {
        assert_eq!(pass["index"], number_of);
        assert_eq!(pass["file"], RUN);
        assert_eq!(pass["channel"], "exit");
        let (start, end) = (number(&pass["start_s"]), number(&pass["end_s"]));
        // The belt of the last prints slips, so that their way to the probe takes longer.
        let middle = passing(truth).0;
        assert!(start < middle && middle < end + 3.0, "{pass} {truth}");
        assert!(
            number(&pass["samples"]) > 1.0 && pass["faults"] == 0 && pass["gaps"] == 0,
            "{pass}"
        );
        assert_eq!(pass["evidence"], "inferred", "{pass}");
        let shown = number(&pass["exit_c"]);
        if number_of <= 35 {
            let there = reading(folder.path(), middle);
            assert!((shown - there).abs() < 2.0, "{there}: {pass}");
        }
        assert!(says(&pass["remarks"], "the print itself left at"));
        assert!(says(&pass["remarks"], "the batch's own garment"));
        let verdict = pass["verdict"].as_str().expect("a verdict");
        if truth["verdict"] == "cured" {
            good[usize::from(verdict == "cured")] += 1;
            assert!(
                verdict == "cured" || verdict == "unproven",
                "{pass} {truth}"
            );
        } else {
            assert_ne!(verdict, "cured", "{pass} {truth}");
        }
        if verdict == "cured" {
            assert_eq!(pass["reasons"].as_array().map(Vec::len), Some(0));
            let (peak, doubt) = (number(&pass["peak_c"]), number(&pass["uncertainty_c"]));
            let truly = number(&truth["peak_c"]);
            // k = 2, with half as much again in hand.
            assert!((peak - truly).abs() < 1.5 * doubt, "{pass} {truth}");
        } else {
            assert_ne!(pass["reasons"].as_array().map(Vec::len), Some(0));
        }
    }
    assert!(good[1] >= 4 * good[0], "{good:?}");
}

#[test]
fn a_sagging_heater_is_named() {
    let folder = samples_folder();
    let (_, passes) = passes(folder.path(), RUN, &[]);
    // From the scenario: zone 2 is 35 °C cooler, its panel 70, when prints 16 to 22 pass.
    let named = passes[15..22].iter().filter(|pass| {
        ["chamber", "zone"]
            .iter()
            .any(|what| says(&pass["remarks"], what))
            && says(
                &pass["remarks"],
                "cooler than when the reference was ridden",
            )
    });
    assert_eq!(named.count(), 7);
}

#[test]
fn without_the_declared_belt_signal_there_is_no_evidence() {
    let folder = samples_folder();
    // Until the belt slips, which nothing then tells.
    let until = 560.0;
    edited(folder.path(), "no-belt.csv", |time, mut cells| {
        cells[3].clear();
        (time < until).then_some(cells)
    });
    let truths = truths(folder.path(), "exit-run.truth.json");
    let begun = |truth: &&Value| passing(truth).0 - 0.5 * passing(truth).1 < until;
    let expected = truths.iter().filter(begun).count();
    let (code, passes) = passes(folder.path(), "no-belt.csv", &[]);
    assert_eq!(code, 1);
    assert!(
        passes.len().abs_diff(expected) <= 1,
        "{} of {expected}",
        passes.len()
    );
    for pass in &passes {
        assert_eq!(pass["evidence"], "none");
        assert_eq!(pass["verdict"], "unproven");
        assert!(pass["peak_c"].is_null() && pass["cure"].is_null(), "{pass}");
        assert!(says(&pass["reasons"], "belt"), "{pass}");
    }
}

#[test]
fn a_noted_belt_is_doubted_and_says_what_that_costs() {
    let folder = samples_folder();
    let whole = passes(folder.path(), RUN, &[]).1;
    let from = SHOP.find("[[signal]]").expect("signals");
    fs::write(folder.path().join("shop.toml"), &SHOP[..from]).expect("written");
    edited(folder.path(), "noted.csv", |time, mut cells| {
        cells[3].clear();
        (time < 180.0).then_some(cells)
    });
    let (_, noted) = passes(folder.path(), "noted.csv", &[]);
    assert!(noted.len() >= 6);
    for (noted, signalled) in noted.iter().zip(&whole).take(4) {
        assert_eq!(noted["evidence"], "inferred");
        assert!(says(&noted["remarks"], "15 %"), "{noted}");
        let doubt = |pass: &Value| number(&pass["uncertainty_c"]);
        assert!(doubt(noted) > doubt(signalled), "{noted} {signalled}");
    }
    let text = fs::read_to_string(folder.path().join("noted.csv")).expect("the run");
    let without = text.replace("# belt: 2.8 m/min\n", "");
    fs::write(folder.path().join("nothing.csv"), without).expect("written");
    let (code, _, error) = judge(folder.path(), "nothing.csv", &[]);
    assert_eq!(code, 2);
    assert!(
        error.contains("nothing.csv") && error.contains("# belt:"),
        "{error}"
    );
}

#[test]
fn a_print_that_was_counted_and_not_seen_is_unproven_and_an_empty_place_is_no_pass() {
    let folder = samples_folder();
    let truths = truths(folder.path(), "exit-run.truth.json");
    let (unseen, empty) = (passing(&truths[2]), passing(&truths[6]));
    let within = |time: f64, (middle, lasting): (f64, f64)| (time - middle).abs() < 0.5 * lasting;
    edited(folder.path(), "holes.csv", |time, mut cells| {
        // The second probe sees it later: it looks 0.6 m further on.
        let later = time - 0.6 / BELT_M_PER_S;
        if within(time, unseen) {
            cells[1] = "OPEN".to_owned();
        }
        if within(later, unseen) {
            cells[2].clear();
        }
        // The belt's own temperature at each, as it reads before the first print comes.
        if within(time, empty) {
            cells[1] = "129.8".to_owned();
        }
        if within(later, empty) {
            cells[2] = "80.8".to_owned();
        }
        // What is not there is not counted: this is the seventh.
        let count: i64 = cells[4].parse().expect("a count");
        cells[4] = (count - i64::from(count >= 7)).to_string();
        (time < 400.0).then_some(cells)
    });
    let (_, whole) = passes(folder.path(), RUN, &[]);
    let (_, passes) = passes(folder.path(), "holes.csv", &["--channel", "exit"]);
    let until = whole
        .iter()
        .filter(|pass| number(&pass["end_s"]) < 400.0)
        .count();
    assert!(
        passes.len() == until - 1 || passes.len() == until,
        "{} of {until}",
        passes.len()
    );
    assert_eq!(passes[2]["evidence"], "none", "{}", passes[2]);
    assert_eq!(passes[2]["verdict"], "unproven");
    assert!(passes[2]["exit_c"].is_null());
    let starts: Vec<f64> = passes.iter().map(|pass| number(&pass["start_s"])).collect();
    let there = number(&whole[6]["start_s"]);
    assert!(
        starts.iter().all(|start| (start - there).abs() > 4.0),
        "{starts:?} {there}"
    );
}

#[test]
fn objects_that_the_trace_cuts_prove_nothing() {
    let folder = samples_folder();
    let whole = passes(folder.path(), RUN, &[]).1;
    let middle = |pass: &Value| 0.5 * (number(&pass["start_s"]) + number(&pass["end_s"]));
    let (from, to) = (middle(&whole[1]), middle(&whole[5]));
    edited(folder.path(), "cut.csv", |time, cells| {
        (from..=to).contains(&time).then_some(cells)
    });
    let (code, cut) = passes(folder.path(), "cut.csv", &[]);
    assert_eq!((code, cut.len()), (1, 5));
    let marks: Vec<bool> = cut.iter().map(|pass| pass["cut"] == true).collect();
    assert_eq!(marks, [true, false, false, false, true]);
    for pass in [&cut[0], &cut[4]] {
        assert_eq!(pass["verdict"], "unproven");
        assert_ne!(pass["reasons"].as_array().map(Vec::len), Some(0));
    }
    assert!((number(&cut[1]["start_s"]) - (number(&whole[2]["start_s"]) - from)).abs() < 1.0);
}

#[test]
fn a_second_exit_probe_tells_the_mass_and_without_one_what_would_tell_is_said() {
    let folder = samples_folder();
    edited(folder.path(), "start.csv", |time, cells| {
        (time < 250.0).then_some(cells)
    });
    edited(folder.path(), "one-probe.csv", |time, mut cells| {
        cells[2].clear();
        (time < 250.0).then_some(cells)
    });
    let (_, both) = passes(folder.path(), "start.csv", &[]);
    let (_, one) = passes(folder.path(), "one-probe.csv", &[]);
    assert_eq!(both.len(), one.len());
    assert!(
        both.iter()
            .all(|pass| says(&pass["remarks"], "times the batch's mass"))
    );
    for pass in &one {
        for what in ["a ride", "a scale", "second exit probe"] {
            assert!(says(&pass["remarks"], what), "{what}: {pass}");
        }
    }
}

#[test]
fn what_was_seen_in_fahrenheit_and_feet_is_the_same() {
    let folder = samples_folder();
    edited(folder.path(), "start.csv", |time, cells| {
        (time < 200.0).then_some(cells)
    });
    let text = fs::read_to_string(folder.path().join("start.csv")).expect("the run");
    let mut out = String::new();
    for line in text.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        let values: Option<Vec<f64>> = cells.iter().map(|cell| cell.parse().ok()).collect();
        let _ = match values {
            // 1 ft = 0.3048 m (international foot).
            Some(v) => writeln!(
                out,
                "{},{},{},{},{}",
                v[0],
                v[1] * 1.8 + 32.0,
                v[2] * 1.8 + 32.0,
                v[3] / 0.3048,
                v[4]
            ),
            None if line.starts_with("time_s") => {
                writeln!(out, "time_s,exit_f,exit2_f,belt_ft_per_min,prints_count")
            }
            None => writeln!(out, "{line}"),
        };
    }
    fs::write(folder.path().join("feet.csv"), out).expect("written");
    let (_, metric) = passes(folder.path(), "start.csv", &[]);
    let (_, feet) = passes(folder.path(), "feet.csv", &[]);
    assert_eq!(metric.len(), feet.len());
    for (metric, feet) in metric.iter().zip(&feet) {
        assert_eq!(metric["verdict"], feet["verdict"]);
        for member in ["start_s", "end_s", "exit_c", "peak_c"] {
            let (a, b) = (number(&metric[member]), number(&feet[member]));
            assert!((a - b).abs() < 1e-3, "{member}: {a} {b}");
        }
    }
}

#[test]
fn a_call_that_lacks_something_says_what_to_do() {
    let folder = samples_folder();
    let path = folder.path();
    let refused = |file: &str, more: &[&str], parts: &[&str]| {
        let (code, said, error) = judge(path, file, more);
        assert_eq!(code, 2, "{more:?}: {said}{error}");
        for part in parts {
            assert!(error.contains(part), "{part}: {error}");
        }
    };
    refused(RUN, &["--reference", "nowhere.csv"], &["nowhere.csv"]);
    refused(
        RUN,
        &["--reference", "good-ride.csv"],
        &["good-ride.csv", "exit"],
    );
    refused("good-ride.csv", &[], &["good-ride.csv", "exit"]);
    refused(RUN, &["--channel", "film"], &["film", "exit"]);
    refused(RUN, &["--ink", "no-such-ink"], &["no-such-ink"]);
    let cut = SHOP.find("[[probe]]").expect("probes");
    let signals = SHOP.find("[[signal]]").expect("signals");
    let write = |text: String| fs::write(path.join("shop.toml"), text).expect("written");
    write(format!("{}{}", &SHOP[..cut], &SHOP[signals..]));
    refused(
        RUN,
        &[],
        &["[[probe]]", "place = \"exit\"", "distance", "spot"],
    );
    write(SHOP.replace("distance = \"0.35 m\"\n", ""));
    refused(RUN, &[], &["distance"]);
    write(SHOP.replace("spot = \"30 mm\"\n", ""));
    refused(RUN, &[], &["spot"]);
}

#[test]
fn prints_of_drawn_shops_are_found_and_none_is_judged_against_the_truth() {
    // A slow dryer of panels alone, a fast one, and one of several zones: seeds whose shops have a window.
    let mut good = [0, 0];
    for seed in [1, 18, 27] {
        let folder = tempfile::tempdir().expect("a folder");
        let shop = draw_shop(seed);
        for (name, text) in shop_files(&shop).expect("files") {
            fs::write(folder.path().join(name), text).expect("written");
        }
        let (_, passes) = passes(folder.path(), "run.csv", &["--reference", "ride-1.csv"]);
        let truths = truths(folder.path(), "run.truth.json");
        assert_eq!(passes.len(), truths.len(), "shop {seed}");
        for (pass, truth) in passes.iter().zip(&truths) {
            if truth["verdict"] == "cured" {
                let verdict = pass["verdict"].as_str().expect("a verdict");
                assert!(
                    verdict == "cured" || verdict == "unproven",
                    "shop {seed}: {pass} {truth}"
                );
                good[usize::from(verdict == "cured")] += 1;
            } else {
                assert_ne!(pass["verdict"], "cured", "shop {seed}: {pass} {truth}");
            }
        }
    }
    assert!(good[1] > good[0], "{good:?}");
}
