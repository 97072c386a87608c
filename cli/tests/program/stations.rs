//! What the shop file's station and the call say about gaps and passes.

use crate::folder::{Folder, NOTES, trace};

const SHOP: &str = r#"
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
wake = "90 C"
zones = [ { length = "2.4 m", air = "190 C" } ]

[[station]]
id = "belt-2"
kind = "belt-dryer"
heated_length = "2.4 m"
zones = [ { length = "2.4 m", air = "190 C" } ]
"#;

fn folder(note: &str) -> Folder {
    let corners: [(f64, &[f64]); 4] = [
        (0.0, &[25.0]),
        (40.0, &[80.0]),
        (80.0, &[25.0]),
        (90.0, &[25.0]),
    ];
    let text = trace(&format!("{NOTES}{note}"), "film_c", &corners);
    Folder::with(&[("ride.csv", &text), ("shop.toml", SHOP)])
}

#[test]
fn what_was_looked_for_is_what_the_station_says() {
    let ended = folder("# station: belt-1\n").run(&["judge", "ride.csv", "--shop", "shop.toml"]);
    assert_eq!(ended.code, 1);
    assert!(ended.err.contains("above 90 °C"), "{}", ended.err);
    // The other station has the default of 45 °C, so there is a pass.
    let ended = folder("# station: belt-1\n").run(&[
        "judge",
        "ride.csv",
        "--shop",
        "shop.toml",
        "--station",
        "belt-2",
    ]);
    assert_eq!((ended.code, ended.err.as_str()), (1, ""));
    assert!(ended.out.contains("under-cured"), "{}", ended.out);
}

#[test]
fn a_note_that_names_no_station_of_the_shop_is_refused() {
    let ended = folder("# station: belt-9\n").run(&["judge", "ride.csv", "--shop", "shop.toml"]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""));
    for words in ["ride.csv:4: station:", "belt-9", "--station", "belt-2"] {
        assert!(ended.err.contains(words), "{words}: {}", ended.err);
    }
    // Without a shop file the note is only a word.
    assert_eq!(
        folder("# station: belt-9\n")
            .run(&["judge", "ride.csv"])
            .code,
        1
    );
}

#[test]
fn no_time_between_samples_is_no_largest_gap() {
    let ended = folder("").run(&["judge", "ride.csv", "--max-gap", "0 s"]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""));
    assert!(
        ended.err.contains("--max-gap") && ended.err.contains("5 s"),
        "{}",
        ended.err
    );
}
