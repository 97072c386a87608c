//! Figures: sound SVG with everything that was judged, and files that are whole or not there.

use crate::folder::{Folder, NOTES, trace};
use resvg::usvg;

/// A hot print, a cold one, and a spike of the sensor in between.
fn two_prints() -> String {
    let corners: [(f64, &[f64]); 8] = [
        (0.0, &[25.0, 26.0]),
        (60.0, &[170.0, 178.0]),
        (80.0, &[170.0, 178.0]),
        (140.0, &[25.0, 26.0]),
        (160.0, &[25.0, 26.0]),
        (220.0, &[140.0, 150.0]),
        (280.0, &[25.0, 26.0]),
        (290.0, &[25.0, 26.0]),
    ];
    let text = trace(NOTES, "film_c,cloth_c", &corners);
    text.replace("\n150.000,25.000,26.000\n", "\n150.000,560.000,26.000\n")
}

fn figure(folder: &Folder, arguments: &[&str]) -> String {
    let call = [&["judge"], arguments, &["--plot", "figure.svg"]].concat();
    let ended = folder.run(&call);
    assert_ne!(ended.code, 2, "{}", ended.err);
    let svg = std::fs::read_to_string(folder.path("figure.svg")).unwrap();
    // An SVG library of its own reads it.
    usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
    svg
}

#[test]
fn every_print_has_its_number_and_the_shape_of_its_verdict() {
    let folder = Folder::with(&[("two.csv", &two_prints())]);
    let svg = figure(&folder, &["two.csv"]);
    assert_eq!(svg.matches("font-weight=\"bold\">1</text>").count(), 1);
    assert_eq!(svg.matches("font-weight=\"bold\">2</text>").count(), 1);
    // Each shape once over its print and once in the legend: a circle, and a triangle for the cold one.
    assert_eq!(svg.matches("<circle").count(), 2, "{svg}");
    assert_eq!(svg.matches("<polygon").count(), 2, "{svg}");
    for words in [
        "cured",
        "under-cured",
        "unprinted cloth",
        "two.csv, channel film",
        "time (s)",
    ] {
        assert!(svg.contains(&format!(">{words}</text>")), "{words}");
    }
}

#[test]
fn a_spike_of_the_sensor_does_not_flatten_the_figure() {
    let text = two_prints();
    assert!(text.contains(",560.000,"));
    let folder = Folder::with(&[("two.csv", &text)]);
    let svg = figure(&folder, &["two.csv"]);
    // The hottest good reading is 178 °C; a scale that reaches 560 °C would pass 400 °C.
    assert!(
        svg.contains(">100</text>") && !svg.contains(">400</text>"),
        "{svg}"
    );
}

#[test]
fn several_files_stand_below_each_other_in_the_units_asked_for() {
    let folder = Folder::with(&[("one.csv", &two_prints()), ("two.csv", &two_prints())]);
    let svg = figure(&folder, &["one.csv", "two.csv", "--units", "us"]);
    assert!(svg.contains("one.csv, channel film") && svg.contains("two.csv, channel film"));
    // 160 °C is 320 °F.
    assert_eq!(svg.matches("threshold 320 °F").count(), 2);
    assert!(!svg.contains("°C"));
}

#[test]
fn a_thousand_prints_are_still_a_figure() {
    let mut corners: Vec<(f64, &[f64])> = vec![(0.0, &[25.0])];
    let (hot, cold): (&[f64], &[f64]) = (&[170.0], &[25.0]);
    for number in 0..1000 {
        let start = 60.0 * f64::from(number);
        corners.extend([
            (start + 20.0, hot),
            (start + 40.0, hot),
            (start + 60.0, cold),
        ]);
    }
    let folder = Folder::with(&[("many.csv", &trace(NOTES, "film_c", &corners))]);
    let svg = figure(&folder, &["many.csv"]);
    assert!(svg.len() < 1_000_000, "{}", svg.len());
    assert!(svg.contains(">time (h)</text>"));
}

#[test]
fn a_trace_without_a_print_is_drawn_all_the_same() {
    let text = trace(NOTES, "film_c", &[(0.0, &[22.0]), (60.0, &[24.0])]);
    let folder = Folder::with(&[("cold.csv", &text)]);
    assert!(figure(&folder, &["cold.csv"]).contains("threshold 160 °C"));
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let folder = Folder::with(&[("two.csv", &two_prints())]);
    let ended = folder.run(&["judge", "two.csv", "--plot", "absent/figure.svg"]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""));
    assert!(
        ended.err.contains("there is no folder absent"),
        "{}",
        ended.err
    );
}

#[cfg(unix)]
#[test]
fn a_figure_has_the_rights_of_any_new_file() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::with(&[("two.csv", &two_prints())]);
    figure(&folder, &["two.csv"]);
    let mode = |name: &str| {
        std::fs::metadata(folder.path(name))
            .unwrap()
            .permissions()
            .mode()
    };
    assert_eq!(mode("figure.svg"), mode("two.csv"));
}
