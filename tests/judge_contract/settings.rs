//! What a judgement rests on comes from the call, the notes of the file or the station, or is assumed and said.

use inkdwell_tests::{csv, lines};

use super::shop::{PLAIN, Shop, close};

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
