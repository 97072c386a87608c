//! What a person types besides the plain judging of a file: standard input, other loggers' files,
//! pictures, lists, checks, completions and manual pages.

use std::fs;
use std::io::Write;
use std::process::{Command, Stdio};

use inkdwell_tests::{csv, inkdwell, lines, root, run_in};
use serde_json::Value;
use tempfile::TempDir;

const PLAIN: [(f64, f64); 6] = [
    (0.0, 25.0),
    (10.0, 25.0),
    (68.0, 170.0),
    (88.0, 170.0),
    (146.0, 25.0),
    (160.0, 25.0),
];

const PRINT: [&str; 4] = ["--ink", "plastisol-standard", "--fabric", "cotton-jersey"];

fn folder_with(text: &str) -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("ride.csv"), text).unwrap();
    folder
}

fn call(folder: &TempDir, arguments: &[&str]) -> (i32, String, String) {
    let output = run_in(folder.path(), arguments);
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn the_table_says_what_to_pull_and_why() {
    let mut corners = PLAIN.to_vec();
    corners.extend([(170.0, 25.0), (230.0, 140.0), (300.0, 25.0), (310.0, 25.0)]);
    let folder = folder_with(&csv("film_c", &lines(&corners, 0.25)));
    let mut arguments = vec!["judge", "ride.csv", "--uncertainty", "1.5 C"];
    arguments.extend(PRINT);
    let (code, out, err) = call(&folder, &arguments);
    assert_eq!((code, err.as_str()), (1, ""));
    for words in [
        "Standard plastisol on Cotton jersey",
        "● 1   cured",
        "▽ 2   under-cured",
        "peak 170 °C, 28 s above 160 °C",
        "→ under-cured: 0.0 s above 160 °C where 3.0 s are needed",
        "1 of 2 prints are proved cured and unharmed.",
        "To pull: film 2 (under-cured).",
        "Advice only: the ink maker's data sheet and a wash test decide.",
    ] {
        assert!(out.contains(words), "{words}\n{out}");
    }
    assert!(!out.contains('\u{1b}'), "no colour in a pipe");
    arguments.extend(["--units", "us"]);
    let (_, out, _) = call(&folder, &arguments);
    assert!(out.contains("peak 338 °F, 28 s above 320 °F"), "{out}");
}

#[test]
fn standard_input_is_read_whole_before_it_is_judged() {
    let rows = csv("film_c", &lines(&PLAIN, 0.25))
        + "# ink: plastisol-standard\n# fabric: cotton-jersey\n";
    let mut child = Command::new(inkdwell())
        .args(["judge", "-", "--json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(rows.as_bytes())
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["passes"][0]["file"], "-");
}

#[test]
fn another_loggers_file_gives_the_same_verdict() {
    let ours = folder_with(&csv("film_c", &lines(&PLAIN, 0.5)));
    let mut arguments = vec!["judge", "ride.csv", "--json", "--uncertainty", "0 C"];
    arguments.extend(PRINT);
    let (_, expected, _) = call(&ours, &arguments);
    let rows: String = lines(&PLAIN, 0.5)
        .iter()
        .map(|(time, celsius)| {
            let clock = 86_390_000 + (time * 1000.0) as u64;
            let (hour, minute) = (clock / 3_600_000 % 24, clock / 60_000 % 60);
            let second = format!("{:02}.{:03}", clock / 1000 % 60, clock % 1000);
            let fahrenheit = (celsius * 1.8 + 32.0).to_string().replace('.', ",");
            format!("{hour:02}:{minute:02}:{second};{fahrenheit};ok\n")
        })
        .collect();
    let theirs = folder_with(&format!("Logger 7\nUhr;Kanal 1;Status\n{rows}"));
    arguments.extend([
        "--decimal-comma",
        "--skip-lines",
        "1",
        "--time-column",
        "Uhr",
    ]);
    arguments.extend([
        "--time-form",
        "%H:%M:%S%.f",
        "--temperature",
        "Kanal 1=film:F",
    ]);
    let (code, out, err) = call(&theirs, &arguments);
    assert_eq!((code, err.as_str()), (0, ""));
    let (ours, theirs): (Value, Value) = (
        serde_json::from_str(&expected).unwrap(),
        serde_json::from_str(&out).unwrap(),
    );
    let figure = |json: &Value, name: &str| json["passes"][0][name].as_f64().unwrap();
    for name in ["start_s", "end_s", "time_above_s", "peak_c"] {
        assert!(
            (figure(&ours, name) - figure(&theirs, name)).abs() < 1e-6,
            "{name}"
        );
    }
}

#[test]
fn pictures_are_drawn_with_a_shape_for_each_verdict() {
    let folder = folder_with(&csv("<film>&_c", &lines(&PLAIN, 0.25)));
    let mut arguments = vec!["judge", "ride.csv", "--plot", "ride.svg"];
    arguments.extend(PRINT);
    assert_eq!(call(&folder, &arguments).0, 0);
    let svg = fs::read_to_string(folder.path().join("ride.svg")).unwrap();
    assert!(svg.starts_with("<svg") && svg.ends_with("</svg>\n"));
    for words in [
        "&lt;film&gt;&amp;",
        "threshold 160 °C",
        "scorch begins 185 °C",
        "<circle",
    ] {
        assert!(svg.contains(words), "{words}");
    }
    arguments[3] = "ride.png";
    assert_eq!(call(&folder, &arguments).0, 0);
    let png = fs::read(folder.path().join("ride.png")).unwrap();
    assert!(
        png.starts_with(b"\x89PNG\r\n\x1a\n") && png.len() > 10_000,
        "{}",
        png.len()
    );
    arguments[3] = "ride.gif";
    let (code, out, err) = call(&folder, &arguments);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains(".svg or .png"), "{err}");
}

#[test]
fn a_refused_file_leaves_no_picture_behind() {
    let folder = folder_with(&(csv("film_c", &lines(&PLAIN, 0.25)) + "later,20\n"));
    let mut arguments = vec!["judge", "ride.csv", "--plot", "ride.svg"];
    arguments.extend(PRINT);
    assert_eq!(call(&folder, &arguments).0, 2);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn inks_and_fabrics_are_listed_and_shown_with_their_curve() {
    let folder = TempDir::new().unwrap();
    let (code, out, _) = call(&folder, &["inks"]);
    assert_eq!(code, 0);
    for ink in [
        "plastisol-standard",
        "plastisol-low-cure",
        "plastisol-low-bleed",
        "plastisol-high-build",
        "water-based",
        "water-based-low-cure",
        "discharge",
        "silicone",
    ] {
        assert!(out.contains(ink), "{ink}\n{out}");
    }
    let (code, out, _) = call(&folder, &["inks", "discharge", "--units", "us"]);
    assert_eq!(code, 0);
    assert!(
        out.contains("exhaust has to be proved") && out.contains("Source:"),
        "{out}"
    );
    assert!(out.contains("320 °F") && out.contains('┤'), "{out}");
    let (code, out, _) = call(&folder, &["fabrics", "polyester"]);
    assert!(
        code == 0 && out.contains("dye-migration: the limit is"),
        "{out}"
    );
    let (code, _, err) = call(&folder, &["fabrics", "polyster"]);
    assert!(code == 2 && err.contains("\"polyester\""), "{err}");
}

#[test]
fn check_names_every_problem_or_says_what_is_declared() {
    let folder = TempDir::new().unwrap();
    let example = root().join("config/examples/shop.toml");
    let text = fs::read_to_string(&example).unwrap();
    fs::write(folder.path().join("shop.toml"), &text).unwrap();
    let (code, out, err) = call(&folder, &["check", "shop.toml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("2 stations, 5 probes"), "{out}");
    let broken = text
        .replace("lanes = 2", "lane = 2")
        .replace("\"230 C\"", "230");
    fs::write(folder.path().join("shop.toml"), broken).unwrap();
    let (code, out, err) = call(&folder, &["check", "shop.toml"]);
    assert_eq!((code, out.as_str(), err.lines().count()), (2, "", 2));
    assert!(
        err.contains("shop.toml:") && err.contains("did you mean \"lanes\"?"),
        "{err}"
    );
}

#[test]
fn check_looks_into_the_libraries_that_a_shop_file_names() {
    let folder = TempDir::new().unwrap();
    let shop = "[shop]\nname = \"Ours\"\nlibraries = [\"ours.toml\"]\n";
    fs::write(folder.path().join("shop.toml"), shop).unwrap();
    let (code, _, err) = call(&folder, &["check", "shop.toml"]);
    assert!(code == 2 && err.contains("ours.toml"), "{err}");
    fs::write(folder.path().join("ours.toml"), "[[ink]]\nid = \"a b\"\n").unwrap();
    let (code, _, err) = call(&folder, &["check", "shop.toml"]);
    assert!(
        code == 2 && err.contains("ours.toml:2") && err.contains("is no id"),
        "{err}"
    );
}

#[test]
fn completions_and_manual_pages_come_from_the_same_definitions() {
    let folder = TempDir::new().unwrap();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let (code, out, _) = call(&folder, &["completions", shell]);
        assert!(code == 0 && out.contains("uncertainty"), "{shell}");
    }
    assert_eq!(call(&folder, &["man", "--out", "man"]).0, 0);
    let page = fs::read_to_string(folder.path().join("man/inkdwell-judge.1")).unwrap();
    assert!(page.contains(".TH") && page.contains("decimal"), "{page}");
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let folder = folder_with(&csv("film_c", &lines(&PLAIN, 0.25)));
    let mut child = Command::new(inkdwell())
        .args(["judge", "ride.csv", "--json"])
        .args(PRINT)
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
    assert_eq!(output.status.code(), Some(0));
}

#[test]
fn calls_that_make_no_sense_are_refused_with_what_to_do() {
    let folder = folder_with(&csv("film_c", &lines(&PLAIN, 0.25)));
    for (arguments, words) in [
        (&["judge"][..], "FILE"),
        (&["judge", "ride.csv", "--final"], "--place flash"),
        (&["judge", "ride.csv", "--uncertainty", "2"], "\"2 C\""),
        (
            &["judge", "ride.csv", "--uncertainty", "-2 C"],
            "not negative",
        ),
        (&["judge", "ride.csv", "--max-gap", "5"], "\"5 s\""),
        (&["judge", "ride.csv", "--wake", "cold"], "\"160 C\""),
        (&["judge", "ride.csv", "--delimiter", "ab"], "--delimiter"),
        (
            &["judge", "ride.csv", "--temperature", "film"],
            "COLUMN=NAME:UNIT",
        ),
        (&["judge", "none-*.csv"], "no file matches"),
        (&["judge", "-", "-"], "only once"),
        (
            &["judge", "ride.csv", "--shop", "absent.toml"],
            "absent.toml",
        ),
        (
            &["judge", "ride.csv", "--ink", "x", "--inks", "ride.csv"],
            "not TOML",
        ),
        (&["inks", "--inks", "/dev/null"], "declares no ink"),
    ] {
        let (code, out, err) = call(&folder, arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}: {err}");
        assert!(err.contains(words), "{arguments:?}: {err}");
    }
}
