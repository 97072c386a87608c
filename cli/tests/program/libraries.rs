//! `inks`, `fabrics` and `check`, for programs that read their output.

use crate::folder::Folder;
use serde_json::Value;

const INK: &str = r#"
[[ink]]
id = "our-black"
name = "Our black"
family = "plastisol"
cure = { law = "hold", at = "320 F", for = "5 s" }
source = "invented for tests"
"#;

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

#[test]
fn inks_as_json_are_in_the_units_that_their_members_name() {
    let folder = Folder::with(&[("ours.toml", INK)]);
    let ended = folder.run(&[
        "inks",
        "our-black",
        "--inks",
        "ours.toml",
        "--json",
        "--units",
        "us",
    ]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let json = json(&ended.out);
    assert_eq!(json["schema"], "inkdwell.inks/1");
    let ink = &json["inks"][0];
    assert_eq!(
        (&ink["id"], &ink["gel_c"]),
        (&"our-black".into(), &Value::Null)
    );
    // 320 °F is 160 °C.
    assert!((ink["cure"]["at_c"].as_f64().unwrap() - 160.0).abs() < 1e-9);
    assert_eq!(
        (&ink["cure"]["law"], &ink["cure"]["for_s"]),
        (&"hold".into(), &5.0.into())
    );
}

#[test]
fn the_lists_as_json_hold_all_there_are() {
    let folder = Folder::with(&[("ours.toml", INK)]);
    let inks = json(&folder.run(&["inks", "--inks", "ours.toml", "--json"]).out);
    let names: Vec<&str> = inks["inks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|ink| ink["id"].as_str().unwrap())
        .collect();
    assert!(
        names.contains(&"our-black") && names.contains(&"water-based"),
        "{names:?}"
    );
    let fabrics = json(&folder.run(&["fabrics", "--json"]).out);
    assert_eq!(fabrics["schema"], "inkdwell.fabrics/1");
    for fabric in fabrics["fabrics"].as_array().unwrap() {
        for harm in fabric["harms"].as_array().unwrap() {
            assert!(
                harm["law"].is_string() && harm["harm"].is_string(),
                "{harm}"
            );
        }
    }
}

#[test]
fn an_unknown_name_is_refused_as_json_too() {
    let ended = Folder::with(&[]).run(&["fabrics", "polyestre", "--json"]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""));
    assert!(ended.err.contains("\"polyester\""), "{}", ended.err);
}

#[test]
fn check_says_the_same_as_json_and_as_text() {
    let broken = INK
        .replace("for = \"5 s\"", "for = \"5\"")
        .replace("plastisol", "plastisole");
    let folder = Folder::with(&[("ours.toml", &broken), ("sound.toml", INK)]);
    let ended = folder.run(&["check", "ours.toml", "--json"]);
    assert_eq!(ended.code, 2);
    let found = json(&ended.out);
    assert_eq!(
        (&found["schema"], &found["sound"]),
        (&"inkdwell.check/1".into(), &false.into())
    );
    let lines: Vec<u64> = found["problems"]
        .as_array()
        .unwrap()
        .iter()
        .map(|problem| problem["line"].as_u64().unwrap())
        .collect();
    assert_eq!(lines, [5, 6]);
    assert_eq!(ended.err.lines().count(), 2, "{}", ended.err);
    let sound = folder.run(&["check", "sound.toml", "--json"]);
    assert_eq!((sound.code, sound.err.as_str()), (0, ""));
    assert_eq!(json(&sound.out)["sound"], true);
}

#[test]
fn a_file_that_is_no_toml_does_not_flood_the_screen() {
    let rows: String = (0..2000).map(|row| format!("{row},20.0\n")).collect();
    let ended = Folder::with(&[("trace.csv", &rows)]).run(&["check", "trace.csv"]);
    assert_eq!(ended.code, 2);
    assert!(
        ended.err.lines().count() < 200,
        "{}",
        ended.err.lines().count()
    );
    assert!(ended.err.contains("trace.csv:1:"), "{}", ended.err);
}

#[test]
fn a_figure_comes_with_the_caution_that_the_data_sheet_beats_it() {
    let folder = Folder::with(&[("ours.toml", INK)]);
    for call in [
        &["inks"][..],
        &["inks", "our-black", "--inks", "ours.toml"],
        &["fabrics", "nylon"],
    ] {
        let out = folder.run(call).out;
        assert!(
            out.contains("data sheet and a wash test come before"),
            "{call:?}: {out}"
        );
    }
}
