//! The contract of `inkdwell judge`: its JSON, its exit codes, and every doubtful case of a trace file.
//!
//! The traces are straight lines between corners, so that every expected figure follows by hand.

use std::fs;
use std::path::Path;

use inkdwell_tests::{csv, lines, run_in};
use serde_json::Value;
use tempfile::TempDir;

const INKS: &str = r#"
[[ink]]
id = "wb-test"
name = "Water-based, test"
family = "water-based"
threshold = "160 C"
cure = { law = "equivalents", points = [["150 C", "180 s"], ["160 C", "90 s"], ["170 C", "50 s"]] }
film = "80 um"
gel = { from = "104 C", to = "121 C" }
pot_life = "8 h"
needs_exhaust = true
source = "invented for tests"

[[ink]]
id = "hold-test"
name = "Plastisol, test"
family = "plastisol"
cure = { law = "hold", at = "160 C", for = "5 s" }
gel = { from = "104 C", to = "121 C" }
source = "invented for tests"
"#;

const FABRICS: &str = r#"
[[fabric]]
id = "cotton-test"
name = "Cotton jersey, test"
mass = "180 g/m2"
regain = 0.085
layers = 2
harms = [ { harm = "scorch", law = "hold", at = "200 C", for = "30 s" } ]
source = "invented for tests"

[[fabric]]
id = "no-limit"
name = "Cloth without known limits, test"
mass = "5.3 oz/yd2"
regain = "8.5 %"
harms = []
source = "invented for tests"
"#;

/// 25 °C to 170 °C at 2.5 °C/s from 10 s on, 20 s there, and back: above 45 °C from 18 s to 138 s, at or
/// above 160 °C for 28 s.
const PLAIN: [(f64, f64); 6] = [
    (0.0, 25.0),
    (10.0, 25.0),
    (68.0, 170.0),
    (88.0, 170.0),
    (146.0, 25.0),
    (160.0, 25.0),
];

struct Shop(TempDir);

impl Shop {
    fn new() -> Shop {
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("inks.toml"), INKS).unwrap();
        fs::write(folder.path().join("fabrics.toml"), FABRICS).unwrap();
        Shop(folder)
    }

    fn with(text: &str) -> Shop {
        let shop = Shop::new();
        shop.write("trace.csv", text.as_bytes());
        shop
    }

    fn write(&self, name: &str, bytes: &[u8]) {
        fs::write(self.0.path().join(name), bytes).unwrap();
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    /// Exit code, standard output, standard error.
    fn call(&self, arguments: &str) -> (i32, String, String) {
        let call = format!("judge {arguments} --inks inks.toml --fabrics fabrics.toml");
        let words: Vec<String> = split(&call);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let output = run_in(self.path(), &words);
        (
            output.status.code().unwrap(),
            String::from_utf8(output.stdout).unwrap(),
            String::from_utf8(output.stderr).unwrap(),
        )
    }

    fn json(&self, arguments: &str) -> (i32, Value) {
        let (code, out, err) = self.call(&format!("{arguments} --json"));
        let json =
            serde_json::from_str(&out).unwrap_or_else(|problem| panic!("{problem}: {out}{err}"));
        (code, json)
    }

    /// The single pass of trace.csv on the plain ink and cotton, with U = 0.
    fn pass(&self) -> (i32, Value) {
        let (code, json) =
            self.json("trace.csv --ink hold-test --fabric cotton-test --uncertainty 0C");
        assert_eq!(json["passes"].as_array().unwrap().len(), 1, "{json:#}");
        (code, json["passes"][0].clone())
    }

    /// The message of a call that is refused: exit code 2, nothing on standard output.
    fn refusal(&self, arguments: &str) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments}: {err}");
        assert!(!err.contains("panicked"), "{err}");
        err
    }

    /// The message with which trace.csv is refused.
    fn trace_refusal(&self) -> String {
        self.refusal("trace.csv --ink hold-test --fabric cotton-test")
    }
}

/// Words, with what stands in double quotes kept together.
fn split(call: &str) -> Vec<String> {
    let quoted = call.split('"').enumerate();
    quoted
        .flat_map(|(number, part)| -> Vec<String> {
            if number % 2 == 1 {
                vec![part.to_owned()]
            } else {
                part.split_whitespace().map(str::to_owned).collect()
            }
        })
        .collect()
}

fn close(value: &Value, expected: f64) {
    let value = value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"));
    assert!(
        (value - expected).abs() <= 1e-6 * expected.abs().max(1e-3),
        "{value} {expected}"
    );
}

#[test]
fn the_object_has_every_member_and_nothing_else() {
    let shop = Shop::with(&csv("film_c", &lines(&PLAIN, 0.25)));
    let (code, json) =
        shop.json("trace.csv --ink hold-test --fabric cotton-test --uncertainty \"1.5 C\"");
    assert_eq!(code, 0);
    assert_eq!(json["schema"], "inkdwell.judge/1");
    let counts = serde_json::json!({"cured": 1, "under-cured": 0, "overheated": 0, "unproven": 0});
    assert_eq!(json["counts"], counts);
    let members: Vec<&String> = json.as_object().unwrap().keys().collect();
    assert_eq!(members.len(), 3);
    let pass = json["passes"][0].as_object().unwrap();
    let mut names: Vec<&str> = pass.keys().map(String::as_str).collect();
    names.sort_unstable();
    let mut expected = vec![
        "file",
        "channel",
        "index",
        "evidence",
        "start_s",
        "end_s",
        "cut",
        "samples",
        "faults",
        "gaps",
        "peak_c",
        "threshold_c",
        "time_above_s",
        "max_rise_c_per_s",
        "uncertainty_c",
        "cure",
        "harms",
        "verdict",
        "harm",
        "reasons",
        "remarks",
    ];
    expected.sort_unstable();
    assert_eq!(names, expected);
    assert_eq!(
        (&pass["file"], &pass["channel"]),
        (&"trace.csv".into(), &"film".into())
    );
    assert_eq!(
        (&pass["evidence"], &pass["index"]),
        (&"measured".into(), &1.into())
    );
    close(&pass["start_s"], 18.0);
    close(&pass["end_s"], 138.0);
    close(&pass["time_above_s"], 28.0);
    close(&pass["peak_c"], 170.0);
    close(&pass["threshold_c"], 160.0);
    close(&pass["max_rise_c_per_s"], 2.5);
    close(&pass["uncertainty_c"], 1.5);
    close(&pass["cure"]["low"], (28.0 - 1.2) / 5.0);
    close(&pass["cure"]["best"], 28.0 / 5.0);
    close(&pass["cure"]["high"], (28.0 + 1.2) / 5.0);
    assert_eq!(pass["harms"][0]["harm"], "scorch");
    assert_eq!(
        (&pass["verdict"], &pass["harm"]),
        (&"cured".into(), &Value::Null)
    );
    assert_eq!(pass["reasons"], serde_json::json!([]));
}

#[test]
fn the_exit_code_is_one_where_a_print_is_not_proved_cured() {
    let cool = [(0.0, 25.0), (60.0, 140.0), (120.0, 25.0), (130.0, 25.0)];
    let (code, pass) = Shop::with(&csv("film_c", &lines(&cool, 0.5))).pass();
    assert_eq!((code, &pass["verdict"]), (1, &"under-cured".into()));
    let hot = [(0.0, 25.0), (60.0, 210.0), (120.0, 210.0), (200.0, 25.0)];
    let (code, pass) = Shop::with(&csv("film_c", &lines(&hot, 0.5))).pass();
    assert_eq!(
        (code, &pass["verdict"], &pass["harm"]),
        (1, &"overheated".into(), &"scorch".into())
    );
}

#[test]
fn a_file_without_a_pass_says_what_was_looked_for() {
    let shop = Shop::with(&csv("film_c", &lines(&[(0.0, 25.0), (60.0, 40.0)], 0.5)));
    let (code, json) = shop.json("trace.csv --ink hold-test --fabric cotton-test");
    assert_eq!((code, &json["passes"]), (1, &serde_json::json!([])));
    let (_, _, err) = shop.call("trace.csv --ink hold-test --fabric cotton-test --json");
    assert_eq!(err.trim().lines().count(), 1, "{err}");
    assert!(err.contains("trace.csv") && err.contains("45"), "{err}");
}

#[test]
fn without_an_uncertainty_class_two_is_assumed_and_said() {
    let shop = Shop::with(&csv("film_c", &lines(&PLAIN, 0.25)));
    let (_, json) = shop.json("trace.csv --ink hold-test --fabric cotton-test");
    let pass = &json["passes"][0];
    // IEC 60584-1, type K, class 2: 2.5 °C, rectangular, k = 2: 2 * 2.5 / sqrt(3).
    close(&pass["uncertainty_c"], 2.0 * 2.5 / 3_f64.sqrt());
    let remarks = pass["remarks"].to_string();
    assert!(
        remarks.contains("class 2") && remarks.contains("type K"),
        "{remarks}"
    );
}

#[test]
fn the_calls_uncertainty_wins_over_the_notes_and_a_later_note_over_an_earlier() {
    let rows = csv("film_c", &lines(&PLAIN, 0.25));
    let shop = Shop::with(&format!("# uncertainty: 1 C\n{rows}# uncertainty: 3.6 F\n"));
    let (_, json) = shop.json("trace.csv --ink hold-test --fabric cotton-test");
    close(&json["passes"][0]["uncertainty_c"], 2.0);
    let (_, json) = shop.json("trace.csv --ink hold-test --fabric cotton-test --uncertainty 0.5C");
    close(&json["passes"][0]["uncertainty_c"], 0.5);
}

#[test]
fn notes_name_ink_and_fabric_where_the_call_does_not() {
    let rows = csv("film_c", &lines(&PLAIN, 0.25));
    let shop = Shop::with(&format!("{rows}# ink: hold-test\n# fabric: cotton-test\n"));
    let (code, json) = shop.json("trace.csv");
    assert_eq!(
        (code, &json["passes"][0]["harms"][0]["harm"]),
        (0, &"scorch".into())
    );
    let (_, json) = shop.json("trace.csv --fabric no-limit");
    assert_eq!(json["passes"][0]["harms"], serde_json::json!([]));
    let err = Shop::with(&rows).refusal("trace.csv");
    assert!(err.contains("--ink"), "{err}");
}

#[test]
fn fahrenheit_and_millivolts_are_the_same_trace() {
    let trace = lines(&PLAIN, 0.25);
    let fahrenheit: Vec<_> = trace.iter().map(|(t, c)| (*t, c * 1.8 + 32.0)).collect();
    let (_, pass) = Shop::with(&csv("film_f", &fahrenheit)).pass();
    close(&pass["time_above_s"], 28.0);
    // NIST Monograph 175, type K: 6.138 mV at 150 °C, 8.138 mV at 200 °C, 0.798 mV at 20 °C.
    let mut rows = String::from("time_s,film_k_mv,junction_c\n");
    for second in 0..60 {
        let film = if (10..50).contains(&second) {
            8.138
        } else {
            0.0
        };
        rows += &format!(
            "{second},{},20\n",
            film - 0.798 + if film == 0.0 { 0.798 } else { 0.0 }
        );
    }
    let shop = Shop::with(&rows);
    let (_, json) = shop.json("trace.csv --ink hold-test --fabric cotton-test --uncertainty 0C");
    let peak = json["passes"][0]["peak_c"].as_f64().unwrap();
    assert!((peak - 200.0).abs() < 0.02, "{peak}");
}

#[test]
fn a_millivolt_sample_without_its_junction_is_bad() {
    let mut rows = String::from("time_s,film_k_mv,junction_c\n");
    for second in 0..200 {
        let junction = if second == 80 {
            ""
        } else if second == 90 {
            "ERR"
        } else {
            "20"
        };
        let film = if (10..190).contains(&second) {
            "5.0"
        } else {
            "0.0"
        };
        let film = if second == 100 { "" } else { film };
        rows += &format!("{second},{film},{junction}\n");
    }
    let (_, pass) = Shop::with(&rows).pass();
    // Two bad, the empty cell is merely missing; the first step up of 120 °C ends by itself.
    assert_eq!(pass["faults"], 2, "{pass:#}");
}

#[test]
fn text_where_a_number_should_be_is_a_fault_and_an_empty_cell_is_missing() {
    let mut rows = String::from("time_s,film_c\n");
    for (number, (time, celsius)) in lines(&PLAIN, 0.5).into_iter().enumerate() {
        let cell = match number {
            150 => "OPEN".to_owned(),
            151 => "---".to_owned(),
            152 => "NaN".to_owned(),
            153 => String::new(),
            _ => celsius.to_string(),
        };
        rows += &format!("{time},{cell}\n");
    }
    let (_, pass) = Shop::with(&rows).pass();
    assert_eq!(
        (&pass["faults"], &pass["samples"]),
        (&3.into(), &237.into())
    );
}

#[test]
fn channels_are_judged_in_the_order_of_their_columns() {
    let mut rows = String::from("time_s,b_c,note,a_c\n");
    for (time, celsius) in lines(&PLAIN, 0.5) {
        rows += &format!("{time},{celsius},x,{}\n", celsius - 5.0);
    }
    let shop = Shop::with(&rows);
    let call = "trace.csv --ink hold-test --fabric cotton-test --uncertainty 0C";
    let (_, json) = shop.json(call);
    let channels: Vec<&Value> = json["passes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|pass| &pass["channel"])
        .collect();
    assert_eq!(channels, ["b", "a"]);
    for name in ["a", "a_c"] {
        let (_, json) = shop.json(&format!("{call} --channel {name}"));
        assert_eq!(json["passes"].as_array().unwrap().len(), 1);
        close(&json["passes"][0]["peak_c"], 165.0);
    }
    let err = shop.refusal(&format!("{call} --channel film"));
    assert!(err.contains("film") && err.contains("trace.csv"), "{err}");
}

#[test]
fn a_cloth_channel_is_the_rides_companion() {
    let mut rows = String::from("time_s,film_c,cloth_c\n");
    for (time, celsius) in lines(&PLAIN, 0.25) {
        rows += &format!("{time},{celsius},{}\n", celsius + 40.0);
    }
    let (code, pass) = Shop::with(&rows).pass();
    // Above 200 °C on the cloth: where the film is above 160 °C, which is 28 s of 30 s.
    close(&pass["harms"][0]["best"], 28.0 / 30.0);
    assert_eq!((code, &pass["remarks"]), (0, &serde_json::json!([])));
}

#[test]
fn several_files_and_patterns_keep_their_order_and_their_names() {
    let shop = Shop::new();
    let rows = csv("film_c", &lines(&PLAIN, 0.5));
    for name in ["ride-2.csv", "ride-1.csv"] {
        shop.write(name, rows.as_bytes());
    }
    let files = |arguments: &str| -> Vec<String> {
        let call = format!("{arguments} --ink hold-test --fabric cotton-test");
        let (_, json) = shop.json(&call);
        let passes = json["passes"].as_array().unwrap();
        passes
            .iter()
            .map(|pass| pass["file"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(
        files("ride-2.csv ./ride-1.csv"),
        ["ride-2.csv", "./ride-1.csv"]
    );
    assert_eq!(files("ride-*.csv"), ["ride-1.csv", "ride-2.csv"]);
}

#[test]
fn every_refusal_names_file_line_and_field() {
    for (text, words) in [
        ("", &["trace.csv", "empty"][..]),
        ("time_s,film_c\n", &["trace.csv:1", "row"]),
        ("time_s,film\n0,1\n", &["trace.csv:1", "_c"]),
        ("film_c\n1\n", &["trace.csv:1", "time_s"]),
        ("time_s,time,film_c\n0,0,1\n", &["trace.csv:1", "time"]),
        ("time_s,film_c,film_c\n0,1,1\n", &["trace.csv:1", "film_c"]),
        ("time_s,film_c\n0,20\n1\n", &["trace.csv:3", "2"]),
        ("time_s,film_c\n0,20\n1,20,30\n", &["trace.csv:3", "3"]),
        (
            "time_s,film_c\n0,20\nlater,20\n",
            &["trace.csv:3", "time_s", "later"],
        ),
        ("time_s,film_c\n0,20\n,20\n", &["trace.csv:3", "time_s"]),
        (
            "time_s,film_c\n0,20\n2,20\n1,20\n",
            &["trace.csv:4", "time_s", "back"],
        ),
        (
            "time_s,film_b_mv\n0,0.1\n",
            &["trace.csv:1", "film_b_mv", "250"],
        ),
        (
            "# uncertainty: 2\ntime_s,film_c\n0,20\n",
            &["trace.csv:1", "uncertainty", "2 C"],
        ),
    ] {
        let err = Shop::with(text).trace_refusal();
        for word in words {
            assert!(
                err.contains(word),
                "{text:?} gives {err:?}, which does not say {word:?}"
            );
        }
        assert_eq!(err.trim().lines().count(), 1, "{err}");
    }
}

#[test]
fn utf_16_binary_folders_and_missing_files_are_named() {
    let shop = Shop::new();
    let text = "time_s,film_c\n0,20\n";
    let utf16: Vec<u8> = [0xFF, 0xFE]
        .into_iter()
        .chain(text.bytes().flat_map(|byte| [byte, 0]))
        .collect();
    shop.write("trace.csv", &utf16);
    assert!(shop.trace_refusal().contains("UTF-16"));
    let junk: Vec<u8> = (0..5000_u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    shop.write("trace.csv", &junk);
    assert!(shop.trace_refusal().contains("trace.csv"));
    fs::create_dir(shop.path().join("folder")).unwrap();
    let err = shop.refusal("folder --ink hold-test --fabric cotton-test");
    assert!(err.contains("folder"), "{err}");
    let err = shop.refusal("absent.csv --ink hold-test --fabric cotton-test");
    assert!(err.contains("absent.csv"), "{err}");
}

#[test]
fn an_error_late_in_a_file_leaves_nothing_half_written() {
    let mut rows = csv("film_c", &lines(&PLAIN, 0.25));
    rows += "170,OPEN,1\n";
    let err = Shop::with(&rows).trace_refusal();
    assert!(err.contains("trace.csv:"), "{err}");
}

#[test]
fn unknown_inks_and_fabrics_name_the_nearest() {
    let shop = Shop::with(&csv("film_c", &lines(&PLAIN, 0.5)));
    let err = shop.refusal("trace.csv --ink hold-tset --fabric cotton-test");
    assert!(err.contains("hold-test"), "{err}");
    let err = shop.refusal("trace.csv --ink hold-test --fabric coton-test");
    assert!(err.contains("cotton-test"), "{err}");
}

#[test]
fn a_law_whose_points_do_not_rise_is_refused_with_the_point_named() {
    let shop = Shop::with(&csv("film_c", &lines(&PLAIN, 0.5)));
    shop.write(
        "inks.toml",
        INKS.replace("[\"160 C\", \"90 s\"]", "[\"140 C\", \"90 s\"]")
            .as_bytes(),
    );
    let err = shop.refusal("trace.csv --ink wb-test --fabric cotton-test");
    assert!(
        err.contains("inks.toml:7") && err.contains("points[1]") && err.contains("140"),
        "{err}"
    );
}

#[test]
fn times_in_rfc_3339_are_read_to_the_nanosecond_and_across_zones() {
    let mut rows = String::from("time,film_c\n");
    for (time, celsius) in lines(&PLAIN, 0.5) {
        let (minute, second) = ((time / 60.0) as u32, time % 60.0);
        rows += &format!(
            "2026-03-01T23:{:02}:{second:06.3}+01:00,{celsius}\n",
            58 + minute % 2
        );
        if time >= 119.0 {
            break;
        }
    }
    let (_, json) =
        Shop::with(&rows).json("trace.csv --ink hold-test --fabric cotton-test --uncertainty 0C");
    let pass = &json["passes"][0];
    close(&pass["start_s"], 18.0);
    close(&pass["time_above_s"], 28.0);
    assert_eq!(pass["cut"], true);
}

#[test]
fn flash_heatings_have_their_own_verdicts_and_counts() {
    let mut corners = vec![(0.0, 60.0)];
    for peak in [112.0, 95.0, 130.0, 104.5] {
        let start = corners[corners.len() - 1].0;
        corners.extend([
            (start + 10.0, peak),
            (start + 25.0, 60.0),
            (start + 30.0, 60.0),
        ]);
    }
    let shop = Shop::with(&csv("surface_c", &lines(&corners, 0.1)));
    let call = "trace.csv --ink hold-test --fabric cotton-test --uncertainty 2C --place flash";
    let (code, json) = shop.json(call);
    let verdicts: Vec<&Value> = json["passes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|pass| &pass["verdict"])
        .collect();
    assert_eq!(
        verdicts,
        ["gelled", "under-flashed", "over-flashed", "unproven"]
    );
    let counts = serde_json::json!({
        "gelled": 1, "under-flashed": 1, "over-flashed": 1, "unproven": 1, "overheated": 0
    });
    assert_eq!((code, &json["counts"]), (1, &counts));
    assert_eq!(json["passes"][0]["cure"], Value::Null);
    close(&json["passes"][0]["threshold_c"], 104.0);
    let (_, json) = shop.json(&format!("{call} --final"));
    assert!(json["passes"][0]["cure"].is_object());
    assert_eq!(json["passes"][0]["verdict"], "under-cured");
}

#[test]
fn max_gap_and_wake_come_from_the_call_or_the_station() {
    let rows = csv("film_c", &lines(&PLAIN, 8.0));
    let shop = Shop::with(&rows);
    let (_, pass) = shop.pass();
    assert!(pass["gaps"].as_u64().unwrap() > 3);
    assert!(
        pass["remarks"].to_string().contains("--max-gap"),
        "{pass:#}"
    );
    let call = "trace.csv --ink hold-test --fabric cotton-test";
    let (_, json) = shop.json(&format!("{call} --max-gap 30s --wake 100C"));
    assert_eq!(json["passes"][0]["gaps"], 0);
    close(&json["passes"][0]["start_s"], 40.0);
    shop.write(
        "shop.toml",
        b"[[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
          max_gap = \"30 s\"\nwake = \"212 F\"\nzones = [ { length = \"2.4 m\", air = \"190 C\" } ]\n",
    );
    let (_, json) = shop.json(&format!("{call} --shop shop.toml --station belt-1"));
    assert_eq!(json["passes"][0]["gaps"], 0);
    close(&json["passes"][0]["start_s"], 40.0);
}
