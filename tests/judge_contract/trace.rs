//! What is read from a trace file: units, faults, missing cells, channels, times, and several files at once.

use inkdwell_tests::{csv, lines};
use serde_json::Value;

use super::shop::{PLAIN, Shop, close};

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
