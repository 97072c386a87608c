//! A flash unit is tuned in seconds under the lamp.

use std::fs;

use inkdwell_simulated_traces::samples;
use inkdwell_simulated_traces::shop::draw_shop;
use inkdwell_simulated_traces::shop_files::{ShopTruth, shop_files};
use serde_json::Value;

use super::{answer, in_order, number, samples_folder, tune};

/// The call for the flash unit of the samples or of a drawn shop.
fn flash<'a>(ink: &'a str, fabric: &'a str, rides: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    let mut call = vec!["--ink", ink, "--fabric", fabric, "--shop", "shop.toml"];
    call.extend(["--station", "flash-1"]);
    call.extend(rides.iter().flat_map(|ride| ["--ride", *ride]));
    call.extend(more);
    call
}

#[test]
fn a_flash_unit_is_tuned_to_stays_that_truly_gel() {
    let mut proved = 0;
    for seed in [1, 3, 4, 8, 9] {
        let shop = draw_shop(seed);
        if shop.ink.gel.is_none() {
            continue;
        }
        let folder = tempfile::tempdir().expect("a folder");
        for (name, text) in shop_files(&shop).expect("made") {
            fs::write(folder.path().join(name), text).expect("written");
        }
        let text = fs::read_to_string(folder.path().join("shop.truth.json")).expect("written");
        let truth: ShopTruth = serde_json::from_str(&text).expect("JSON");
        let rides = ["flash-1.csv", "flash-2.csv"];
        let (code, json) = answer(
            folder.path(),
            &flash(&truth.ink, &truth.fabric, &rides, &[]),
        );
        assert_eq!(code, i32::from(json["window"].is_null()));
        let true_ends = (
            truth.shortest_s.expect("gels"),
            truth.longest_s.expect("gels"),
        );
        let best = &json["window_best"];
        // The middle of what is most likely lies where the truth is.
        let middle = 0.5 * (number(&best["shortest_s"]) + number(&best["longest_s"]));
        assert!(
            true_ends.0 < middle && middle < true_ends.1,
            "shop {seed}: {best} {truth:?}"
        );
        if json["window"].is_null() {
            assert!(json["advice"][0].is_string(), "{json}");
            continue;
        }
        proved += 1;
        let stay = number(&json["recommended"]["stay_s"]);
        assert!(
            true_ends.0 <= stay && stay <= true_ends.1,
            "shop {seed}: {stay} {truth:?}"
        );
        let window = &json["window"];
        assert!(
            number(&best["shortest_s"]) <= number(&window["shortest_s"]),
            "{json}"
        );
        assert_eq!(
            (&window["short_limit"], &window["long_limit"]),
            (&"gel".into(), &"over-gel".into())
        );
        assert!(json["recommended"]["prints_per_hour"].is_null());
        in_order(&json["recommended"]["predicted"]);
    }
    assert!(proved > 0);
}

#[test]
fn stays_shorten_as_platens_warm_as_the_sample_run_shows() {
    let folder = samples_folder();
    let at = folder.path();
    let call = flash("plastisol-standard", "cotton-jersey", &["flash.csv"], &[]);
    let (_, json) = answer(at, &call);
    let rides = json["rides"].as_array().expect("an array");
    assert_eq!(rides.len(), 6);
    // The note of the file.
    assert!(rides.iter().all(|ride| ride["stay_s"] == 1.6), "{rides:?}");
    let stays: Vec<(f64, f64)> = json["platens"]
        .as_array()
        .expect("an array")
        .iter()
        .map(|platen| {
            let window = &platen["window_best"];
            (number(&window["shortest_s"]), number(&window["longest_s"]))
        })
        .collect();
    assert!(
        stays
            .windows(2)
            .all(|pair| pair[1].0 < pair[0].0 && pair[1].1 < pair[0].1),
        "{stays:?}"
    );
    // All heatings of the run stayed 1.6 s. The independent physics has the first, on a cold platen, below the
    // gel window and the last, on a hot one, above it; only heatings on hot platens were fitted.
    let text = fs::read_to_string(samples::folder().join("flash.truth.json")).expect("it ships");
    let truth: Value = serde_json::from_str(&text).expect("JSON");
    let prints = truth["prints"].as_array().expect("an array");
    assert_eq!(prints[0]["verdict"], "under-flashed");
    assert_eq!(prints[23]["verdict"], "over-flashed");
    assert!(stays[0].0 > 1.6, "platen at 30 °C: {stays:?}");
    assert!(stays[3].1 < 1.6, "platen at 75 °C: {stays:?}");
    // As the last heat it takes far longer.
    let (_, last) = answer(at, &[&call[..], &["--final"]].concat());
    let shortest = |json: &Value| number(&json["window_best"]["shortest_s"]);
    assert!(shortest(&last) > 2.0 * shortest(&json), "{last}");
    assert_eq!(last["window_best"]["short_limit"], "cure");
    let (_, said, _) = tune(at, &call);
    assert!(
        said.contains("As the platen warms") && said.contains("wash test"),
        "{said}"
    );
}

#[test]
fn what_a_flash_unit_cannot_use_is_refused() {
    let folder = samples_folder();
    let at = folder.path();
    let trace = fs::read_to_string(at.join("flash.csv")).expect("there");
    let write = |name: &str, text: String| fs::write(at.join(name), text).expect("written");
    write("no-note.csv", trace.replace("# stay: 1.6 s\n", ""));
    write("still.csv", trace.replace("# stay: 1.6 s", "# stay: 0 s"));
    let until = |seconds: f64| -> String {
        let kept = trace.lines().filter(|line| {
            let time = line
                .split(',')
                .next()
                .and_then(|cell| cell.parse::<f64>().ok());
            time.is_none_or(|time| time < seconds)
        });
        kept.map(|line| format!("{line}\n")).collect()
    };
    write("before.csv", until(7.0));
    write("cut.csv", until(9.6));
    for (ink, file, what, remedy) in [
        (
            "plastisol-standard",
            "no-note.csv",
            "sampled too coarsely",
            "# stay: 8 s",
        ),
        (
            "plastisol-standard",
            "still.csv",
            "still.csv:5: stay",
            "timer was set to",
        ),
        (
            "plastisol-standard",
            "before.csv",
            "never rose by 15 °C",
            "looks at the print",
        ),
        (
            "plastisol-standard",
            "cut.csv",
            "begins or ends inside the heating",
            "ride again",
        ),
        (
            "plastisol-standard",
            "tune-slow.csv",
            "tune-slow.csv:2: station",
            "its own station",
        ),
        (
            "discharge",
            "flash.csv",
            "declares no gel window",
            "--final",
        ),
    ] {
        let (code, said, error) = tune(at, &flash(ink, "cotton-jersey", &[file], &[]));
        assert_eq!((code, said.as_str()), (2, ""), "{file}: {error}");
        assert!(
            error.contains(what) && error.contains(remedy),
            "{file}: {error}"
        );
    }
    let call = flash(
        "plastisol-standard",
        "cotton-jersey",
        &["flash.csv"],
        &["--at", "3 m/min"],
    );
    let (code, _, error) = tune(at, &call);
    assert!(code == 2 && error.contains("--at"), "{error}");
}
