//! The answer: every member of the JSON, the exit code, and what is said where there is no pass.

use inkdwell_tests::{csv, lines};
use serde_json::Value;

use super::shop::{PLAIN, Shop, close};

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
