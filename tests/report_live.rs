//! Sign-off tests from a running daemon into the report, and a report from the journal alone, wherever it was copied to.

use std::fs;

use inkdwell_tests::daemon::{Daemon, inkdwell_in, said, until};
use serde_json::Value;

/// To 172 °C, for a moment to 160 °C, to 170 °C, and to 140 °C.
fn trace() -> String {
    let mut text = String::from("time_s,film_c,cloth_c\n");
    for half in 0..1180 {
        let t = f64::from(half) * 0.5;
        let (ride, phase) = ((t / 140.0) as usize, t % 140.0);
        let (peak, cold_at) = [
            (172.0, 110.0),
            (200.0, 88.0),
            (170.0, 110.0),
            (140.0, 110.0),
            (25.0, 0.0),
        ][ride.min(4)];
        let film = (25.0 + 4.0 * phase)
            .min(peak)
            .min(25.0 + 2.5 * (cold_at - phase))
            .max(25.0);
        text += &format!("{t},{film:.2},{:.2}\n", film + 3.0);
    }
    text
}

const SHOP: &str = r#"
[shop]
name = "Lantern Yard Print"
timezone = "Europe/Vienna"
[[source]]
id = "played"
kind = "replay"
file = "trace.csv"
faster = 100
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
belt = "2.6 m/min"
zones = [ { length = "2.4 m", air = "190 C" } ]
[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "played"
uncertainty = "1.5 C"
[[probe]]
id = "cloth"
station = "belt-1"
place = "cloth"
source = "played"
uncertainty = "1.5 C"
[board]
listen = "127.0.0.1:0"
"#;

/// A daemon that has played four rides, a hundred times as fast as they happened.
fn with_rides() -> Daemon {
    let daemon = Daemon::with(&[("trace.csv", &trace()), ("shop.toml", SHOP)]);
    until("four rides", || {
        let listed = daemon.json(&["batch", "list"]);
        (listed["unassigned"] == 4).then_some(())
    });
    daemon
}

fn report(daemon: &Daemon) -> Value {
    let (code, out, err) = daemon.call(&["report", "--format", "json"]);
    // Two prints of four are under-cured.
    assert_eq!((code, err.as_str()), (1, ""));
    serde_json::from_str(&out).unwrap()
}

/// By how much the sentence says the law is wrong, in whole per cent.
fn per_cent(sentence: &str) -> f64 {
    let (before, _) = sentence.split_once(" %").unwrap();
    before.rsplit(' ').next().unwrap().parse().unwrap()
}

#[test]
fn what_washing_rubbing_stretching_and_solvent_found_stands_beside_what_was_predicted() {
    let daemon = with_rides();
    daemon.good(&[
        "batch",
        "open",
        "--station",
        "belt-1",
        "--job",
        "Harbour run",
        "--ink",
        "plastisol-standard",
        "--fabric",
        "cotton-jersey",
        "--by",
        "Mara",
    ]);
    daemon.good(&["batch", "assign", "1", "1", "2", "3", "4", "--by", "Mara"]);
    assert_eq!(
        report(&daemon)["batches"][0]["sign_offs"]["tests"],
        serde_json::json!([])
    );
    let test = |method: &str, which: &[&str], result: &str, how: &str| {
        let mut arguments = vec!["batch", "test", "1", "--method", method, "--result", result];
        arguments.extend([how, "--by", "Ada"]);
        arguments.extend(which);
        daemon.good(&arguments)
    };
    let told = test("ISO 105-C06", &["--print", "1"], "grade 2", "--failed");
    assert!(
        told.contains("ISO 105-C06 failed by a print of batch 1"),
        "{told}"
    );
    test("AATCC TM8", &["--print", "3"], "grade 4-5", "--passed");
    test(
        "own stretch test",
        &["--pass", "2"],
        "no crack at 60 %",
        "--passed",
    );
    test("own solvent rub", &[], "nothing came off", "--passed");
    test("AATCC TM61", &["--print", "4"], "grade 5", "--passed");

    let report = report(&daemon);
    let batch = &report["batches"][0];
    let tests = batch["sign_offs"]["tests"].as_array().unwrap();
    let of = |place: usize, member: &str| tests[place][member].clone();
    let methods: Vec<Value> = (0..5).map(|place| of(place, "method")).collect();
    assert_eq!(
        methods,
        [
            "ISO 105-C06",
            "AATCC TM8",
            "own stretch test",
            "own solvent rub",
            "AATCC TM61"
        ]
    );
    assert_eq!(
        (of(0, "passed"), of(2, "passed")),
        (false.into(), true.into())
    );
    assert_eq!(
        (of(0, "result"), &of(0, "recorded")["by"]),
        ("grade 2".into(), &"Ada".into())
    );
    // Each beside what was predicted of its print; of the last nobody said which it was.
    for (place, print) in [(0, 0), (1, 2), (2, 1), (4, 3)] {
        assert_eq!(of(place, "cure"), batch["prints"][print]["cure"]);
        assert_eq!(of(place, "verdict"), batch["prints"][print]["verdict"]);
    }
    assert!(of(3, "cure").is_null() && of(3, "pass").is_null());
    // The wash that failed says by how much the law asks too little, the stretch that was passed by how much too much.
    let review = batch["sign_offs"]["review"].as_array().unwrap();
    assert_eq!(review.len(), 3, "{review:?}");
    let low = batch["prints"][0]["cure"]["low"].as_f64().unwrap();
    let wash = review[0].as_str().unwrap();
    assert!(
        wash.contains("print 1") && wash.contains("wants review"),
        "{wash}"
    );
    assert!(
        (per_cent(wash) - 100.0 * (low - 1.0)).abs() <= 0.5,
        "{wash} {low}"
    );
    let high = batch["prints"][1]["cure"]["high"].as_f64().unwrap();
    assert!(high > 0.0 && high < 1.0);
    let stretch = review[1].as_str().unwrap();
    assert!(
        (per_cent(stretch) - 100.0 * (1.0 / high - 1.0)).abs() <= 0.5,
        "{stretch} {high}"
    );
    // A print without any dose tells by its temperature: 140 °C and the probe's doubt of 1.5 °C, where 160 °C is asked.
    assert_eq!(batch["prints"][3]["cure"]["high"], 0.0);
    let washed = review[2].as_str().unwrap();
    assert!(
        washed.contains("print 4") && washed.contains("141.5 °C at most, 18.5 °C below"),
        "{washed}"
    );
    let (_, text, _) = daemon.call(&["report"]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "ISO 105-C06 of pass 1: FAILED, grade 2 (Ada)",
        "AATCC TM8 of pass 3: passed",
    ] {
        assert!(flat.contains(words), "{words}\n{text}");
    }
    for (arguments, words) in [
        (
            vec![
                "batch", "test", "9", "--method", "own", "--result", "well", "--passed", "--by",
                "Ada",
            ],
            "9",
        ),
        (
            vec![
                "batch", "test", "1", "--method", "own", "--result", "well", "--passed", "--print",
                "77", "--by", "Ada",
            ],
            "print 77 is none of the newest 5000 of batch 1",
        ),
        (
            vec![
                "batch", "test", "1", "--method", " ", "--result", "well", "--passed", "--by",
                "Ada",
            ],
            "the method",
        ),
        (
            vec!["batch", "test", "1", "--method", "own", "--result", "well"],
            "--passed",
        ),
    ] {
        let refusal = daemon.refused(&arguments);
        assert!(refusal.contains(words), "{arguments:?}: {refusal}");
    }

    // The journal alone, copied to where nothing else of the shop is, and no daemon.
    daemon.good(&["report", "--schema"]);
    let (code, ..) = daemon.call(&["report", "--out", "day.json"]);
    assert_eq!(code, 1);
    let far = tempfile::tempdir().unwrap();
    let copy = far.path().join("copy.sqlite");
    daemon.good(&["backup", &copy.to_string_lossy(), "--data", "data"]);
    fs::copy(
        daemon.folder.path().join("day.json"),
        far.path().join("day.json"),
    )
    .unwrap();
    drop(daemon);
    let far_off = |arguments: &[&str]| said(inkdwell_in(far.path()).args(arguments));
    let (code, out, err) = far_off(&["report", "--data", "copy.sqlite", "--format", "json"]);
    assert_eq!((code, err.as_str()), (1, ""));
    let there: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(there["shop"]["name"], "Lantern Yard Print");
    assert_eq!(there["shop"]["timezone"], "Europe/Vienna");
    assert!(there["shop"]["file_record"].is_u64());
    let rides = there["batches"][0]["rides"].as_array().unwrap();
    assert_eq!(rides.len(), 4);
    let (code, out, err) = far_off(&["verify", "day.json", "--data", "copy.sqlite"]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    let (code, out, err) = far_off(&["export", "readings", "--data", "copy.sqlite"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(
        out.lines()
            .any(|line| line.contains(",film,") && line.ends_with(",ride")),
        "no film"
    );
}
