//! `inkdwell simulate`: the same bytes for the same seed, a truth that judging agrees with, and every fault.

use std::fs;
use std::path::Path;

use inkdwell_tests::{root, run_in};
use serde_json::Value;
use tempfile::TempDir;

fn simulate(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut all = vec!["simulate"];
    all.extend(arguments);
    let output = run_in(folder, &all);
    (
        output.status.code().expect("no signal"),
        String::from_utf8(output.stdout).expect("UTF-8"),
        String::from_utf8(output.stderr).expect("UTF-8"),
    )
}

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn json(folder: &Path, name: &str) -> Value {
    serde_json::from_str(&read(folder, name)).expect("JSON")
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The cells of a column with their times; `None` where a cell is empty or a word.
fn column(csv: &str, name: &str) -> Vec<(f64, String)> {
    let mut rows = csv.lines().filter(|line| !line.starts_with('#'));
    let header: Vec<&str> = rows.next().expect("a header").split(',').collect();
    let place = header
        .iter()
        .position(|column| *column == name)
        .expect("the column");
    rows.map(|row| {
        let cells: Vec<&str> = row.split(',').collect();
        (cells[0].parse().expect("a time"), cells[place].to_owned())
    })
    .collect()
}

#[test]
fn one_seed_gives_one_trace_to_the_byte_and_another_seed_another() {
    let folder = folder();
    let at = folder.path();
    for (out, seed) in [("a", None), ("b", Some("14")), ("c", Some("15"))] {
        let mut call = vec!["good-ride", "--out", out];
        call.extend(seed.iter().flat_map(|seed| ["--seed", *seed]));
        let (code, said, _) = simulate(at, &call);
        assert_eq!(code, 0);
        assert_eq!(
            said,
            format!("{out}/good-ride.csv\n{out}/good-ride.truth.json\n")
        );
    }
    // What ships was made from the same scenario.
    let shipped = root().join("simulated-traces/samples");
    for name in ["good-ride.csv", "good-ride.truth.json"] {
        assert_eq!(read(at, &format!("a/{name}")), read(&shipped, name));
    }
    assert_ne!(read(at, "b/good-ride.csv"), read(at, "c/good-ride.csv"));
    assert_eq!(
        simulate(at, &["good-ride", "--seed", "14", "--out", "d"]).0,
        0
    );
    assert_eq!(read(at, "b/good-ride.csv"), read(at, "d/good-ride.csv"));
    for out in ["s", "t"] {
        assert_eq!(simulate(at, &["--shop-seed", "5", "--out", out]).0, 0);
    }
    for name in ["shop.toml", "ride-1.csv", "run.csv", "shop.truth.json"] {
        assert_eq!(
            read(at, &format!("s/{name}")),
            read(at, &format!("t/{name}"))
        );
    }
}

#[test]
fn nothing_is_written_over_unless_asked() {
    let folder = folder();
    let at = folder.path();
    assert_eq!(simulate(at, &["good-ride"]).0, 0);
    fs::write(at.join("good-ride.truth.json"), "mine").expect("written");
    fs::remove_file(at.join("good-ride.csv")).expect("removed");
    let (code, _, said) = simulate(at, &["good-ride"]);
    assert_eq!(code, 2);
    assert!(
        said.contains("good-ride.truth.json: is there already; add --force"),
        "{said}"
    );
    assert_eq!(read(at, "good-ride.truth.json"), "mine");
    assert!(!at.join("good-ride.csv").exists());
    assert_eq!(simulate(at, &["good-ride", "--force"]).0, 0);
    assert_ne!(read(at, "good-ride.truth.json"), "mine");
}

#[test]
fn the_truth_of_an_exact_ride_lies_in_what_judging_says_of_it() {
    let folder = folder();
    let at = folder.path();
    assert_eq!(simulate(at, &["--example"]).0, 0);
    for (ink, belt) in [
        ("plastisol-standard", "3.2 m/min"),
        ("water-based", "1.4 m/min"),
    ] {
        let scenario = format!(
            "shop = \"shop.toml\"\nstation = \"belt-1\"\nink = \"{ink}\"\nfabric = \"cotton-jersey\"\n\
             seed = 1\nrecord = \"rides\"\nbelt = \"{belt}\"\ninterval = \"0.1 s\"\nuncertainty = \"0.2 C\"\n\
             [[column]]\nname = \"film_c\"\nsees = \"film\"\nexact = true\nresolution = 0.001\n\
             [[column]]\nname = \"cloth_c\"\nsees = \"cloth\"\nexact = true\nresolution = 0.001\n"
        );
        let name = format!("{ink}.scenario.toml");
        fs::write(at.join(&name), scenario).expect("written");
        let (code, _, said) = simulate(at, &[&name]);
        assert_eq!(code, 0, "{said}");
        let output = run_in(at, &["judge", &format!("{ink}.csv"), "--json"]);
        let judged: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let (pass, truth) = (
            &judged["passes"][0],
            &json(at, &format!("{ink}.truth.json"))["prints"][0],
        );
        let number = |value: &Value| value.as_f64().expect("a number");
        assert!(
            (number(&pass["peak_c"]) - number(&truth["peak_c"])).abs() < 0.05,
            "{pass}"
        );
        let inside = |band: &Value, dose: &Value| {
            (number(&band["low"])..=number(&band["high"])).contains(&number(dose))
        };
        assert!(inside(&pass["cure"], &truth["cure"]), "{pass} {truth}");
        // The cloth's hottest place through its thickness, which is a little hotter than its surface.
        let (best, true_harm) = (
            number(&pass["harms"][0]["best"]),
            number(&truth["harms"][0]["dose"]),
        );
        assert!(
            best <= true_harm * 1.01 && best > 0.5 * true_harm,
            "{pass} {truth}"
        );
        assert_eq!(pass["verdict"], truth["verdict"]);
    }
}

#[test]
fn the_example_shows_every_fault_in_its_trace_or_its_truth() {
    let folder = folder();
    let at = folder.path();
    assert_eq!(simulate(at, &["--example"]).0, 0);
    let (code, _, said) = simulate(at, &["example.scenario.toml"]);
    assert_eq!(code, 0, "{said}");
    let csv = read(at, "example.csv");
    let between = |name: &str, from: f64, to: f64| -> Vec<String> {
        let cells = column(&csv, name).into_iter();
        cells
            .filter(|(time, _)| (from..to).contains(time))
            .map(|(_, cell)| cell)
            .collect()
    };
    let mean = |name: &str, from: f64, to: f64| {
        let numbers: Vec<f64> = between(name, from, to)
            .iter()
            .filter_map(|cell| cell.parse().ok())
            .collect();
        numbers.iter().sum::<f64>() / numbers.len() as f64
    };
    // The figures stand in the example.
    assert!(
        between("cloth_c", 150.0, 160.0)
            .iter()
            .all(|cell| cell == "OPEN")
    );
    assert!(between("exit_c", 90.0, 97.0).iter().all(String::is_empty));
    assert!((mean("belt_m_per_min", 300.0, 329.0) - 2.8).abs() < 1e-9);
    assert!((mean("belt_m_per_min", 335.0, 345.0) - 3.0).abs() < 1e-9);
    // The slip is not seen by the signal, the stop is.
    assert!((mean("belt_m_per_min", 362.0, 379.0) - 3.0).abs() < 1e-9);
    assert!(mean("belt_m_per_min", 406.0, 429.0).abs() < 1e-9);
    let sag = mean("zone2_panel_c", 100.0, 190.0) - mean("zone2_panel_c", 270.0, 320.0);
    assert!((sag - 60.0).abs() < 1.0, "{sag}");
    let spike = between("exit_c", 40.0, 41.0)[0]
        .parse::<f64>()
        .expect("a number")
        - between("exit_c", 41.0, 42.0)[0]
            .parse::<f64>()
            .expect("a number");
    assert!(spike > 60.0, "{spike}");
    let prints = json(at, "example.truth.json")["prints"].clone();
    let fault = |print: usize| prints[print - 1]["faults"].to_string();
    for (print, word) in [
        (3, "wet"),
        (5, "wrong"),
        (7, "mass"),
        (8, "mass"),
        (10, "thickness"),
    ] {
        assert!(fault(print).contains(word), "{print}: {}", fault(print));
    }
    assert_eq!(fault(4), "[]");
    // Prints 13 went through the sagged zone, and rides are every twelfth.
    let peak = |print: usize| prints[print - 1]["peak_c"].as_f64().expect("a number");
    assert!(peak(16) < peak(2) - 10.0);
    assert!(prints[0]["ride"] == true && prints[12]["ride"] == true && prints[1]["ride"] == false);
}

#[test]
fn a_drawn_shop_is_sound_and_its_files_go_together() {
    let folder = folder();
    let at = folder.path();
    for seed in ["1", "2", "3", "4"] {
        let (code, said, _) = simulate(at, &["--shop-seed", seed, "--out", seed]);
        assert_eq!(code, 0);
        assert!(
            said.contains("ride-1.csv") && said.contains("shop.truth.json"),
            "{said}"
        );
        let here = at.join(seed);
        let check = run_in(&here, &["check", "shop.toml"]);
        assert_eq!(
            check.status.code(),
            Some(0),
            "{}",
            String::from_utf8_lossy(&check.stderr)
        );
        let judge = run_in(
            &here,
            &["judge", "ride-1.csv", "--json", "--channel", "film"],
        );
        let judged: Value = serde_json::from_slice(&judge.stdout).expect("JSON");
        assert_eq!(judged["passes"].as_array().map(Vec::len), Some(1));
        let peak = judged["passes"][0]["peak_c"].as_f64().expect("a number");
        let truth = json(&here, "ride-1.truth.json")["prints"][0]["peak_c"]
            .as_f64()
            .expect("a number");
        // Class 1 of type K errs by 1.5 °C at most (IEC 60584-1); lag and noise add a little.
        assert!((peak - truth).abs() < 2.5, "{peak} {truth}");
        let shop = json(&here, "shop.truth.json");
        if let (Some(slow), Some(fast)) = (
            shop["slowest_m_per_min"].as_f64(),
            shop["fastest_m_per_min"].as_f64(),
        ) {
            assert!(slow < fast);
        }
    }
}

#[test]
fn what_is_wrong_is_said_with_its_line_and_what_to_do() {
    let folder = folder();
    let at = folder.path();
    assert_eq!(simulate(at, &["--example"]).0, 0);
    let good = "shop = \"shop.toml\"\nstation = \"belt-1\"\nink = \"discharge\"\nfabric = \"cotton-jersey\"\n\
                seed = 1\nrecord = \"rides\"\n[[column]]\nname = \"film_c\"\nsees = \"film\"\n";
    let broken = [
        (
            "station = \"belt-1\"",
            "station = \"belt-2\"",
            "s.toml:2: station",
            "did you mean \"belt-1\"?",
        ),
        (
            "ink = \"discharge\"",
            "ink = \"dischage\"",
            "s.toml:3: ink",
            "did you mean \"discharge\"?",
        ),
        ("seed = 1", "seed = -1", "s.toml:5", "--example"),
        (
            "name = \"film_c\"",
            "name = \"film\"",
            "s.toml:8: column.name",
            "end it on _c",
        ),
        (
            "sees = \"film\"",
            "sees = \"flim\"",
            "s.toml:9: column.sees",
            "did you mean \"film\"?",
        ),
        (
            "record = \"rides\"",
            "record = \"flash\"",
            "s.toml:2: station",
            "write record = ",
        ),
        (
            "record = \"rides\"",
            "record = \"run\"",
            "has no end",
            "add prints = 50",
        ),
        (
            "seed = 1",
            "seed = 1\nbelt = \"3\"",
            "s.toml:6: 3 has no unit",
            "write \"3 m/min\"",
        ),
        (
            "seed = 1",
            "seed = 1\nspeed = 3",
            "s.toml:6",
            "unknown field",
        ),
        (
            "shop.toml",
            "other.toml",
            "other.toml: cannot be opened",
            "check its name",
        ),
    ];
    for (from, to, place, remedy) in broken {
        fs::write(at.join("s.toml"), good.replacen(from, to, 1)).expect("written");
        let (code, said, error) = simulate(at, &["s.toml"]);
        assert_eq!((code, said.as_str()), (2, ""), "{to}");
        assert!(
            error.contains(place) && error.contains(remedy),
            "{to}: {error}"
        );
    }
    let (code, _, error) = simulate(at, &["god-ride"]);
    assert!(
        code == 2 && error.contains("did you mean \"good-ride\"?"),
        "{error}"
    );
    let (code, _, error) = simulate(at, &[]);
    assert!(code == 2 && error.contains("--list"), "{error}");
    let (code, _, error) = simulate(at, &["good-ride", "good-ride"]);
    assert!(code == 2 && error.contains("a second time"), "{error}");
    let (code, said, _) = simulate(at, &["--list"]);
    assert!(
        code == 0 && said.contains("exit-run") && said.contains("--example"),
        "{said}"
    );
}
