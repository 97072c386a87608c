//! What cannot be judged is refused in a sentence that names the file, the line and the field.

use std::fs;

use inkdwell_tests::{csv, lines};

use super::shop::{INKS, PLAIN, Shop};

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
