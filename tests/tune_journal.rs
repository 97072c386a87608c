//! `inkdwell tune` without ride files: the rides come from the journal that the real daemon wrote while a batch
//! was open, and give what the same rides give from their files.

use std::fs;

use inkdwell_tests::daemon::{Daemon, inkdwell_in, said, sentence, until};
use inkdwell_tests::root;
use serde_json::Value;

/// The rows of a sample ride, begun at a time: film, cloth and belt.
fn rows(sample: &str, begun: f64) -> String {
    let path = root().join("simulated-traces/samples").join(sample);
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    assert_eq!(
        lines.next(),
        Some("time_s,film_c,cloth_c,exit_c,belt_m_per_min")
    );
    let mut rows = String::new();
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let time: f64 = cells[0].parse().unwrap();
        rows += &format!(
            "{},{},{},{},22\n",
            begun + time,
            cells[1],
            cells[2],
            cells[4]
        );
    }
    rows
}

/// The samples' dryer, with probes that a replayed file feeds.
fn shop(trace: &str) -> String {
    let samples = fs::read_to_string(root().join("simulated-traces/samples/shop.toml")).unwrap();
    let begin = samples.find("[[station]]").unwrap();
    let end = samples.find("[[probe]]").unwrap();
    let probe = |id: &str, place: &str| {
        format!(
            "[[probe]]\nid = \"{id}\"\nstation = \"belt-1\"\nplace = \"{place}\"\nsource = \"played\"\n\
             uncertainty = \"1.5 C\"\n"
        )
    };
    format!(
        "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
         [[source]]\nid = \"played\"\nkind = \"replay\"\nfile = {trace:?}\nfaster = 100\n\
         {}{}{}\
         [[probe]]\nid = \"room\"\nplace = \"room\"\nsource = \"played\"\nuncertainty = \"1 C\"\n\
         [[signal]]\nid = \"belt\"\nstation = \"belt-1\"\nkind = \"belt\"\nunit = \"m/min\"\nsource = \"played\"\n\
         [board]\nlisten = \"127.0.0.1:0\"\n",
        &samples[begin..end],
        probe("film", "ride"),
        probe("cloth", "cloth"),
    )
}

/// A daemon that has played the two sample rides, with a batch of their ink and fabric to which they are given.
fn with_rides() -> Daemon {
    let folder = tempfile::tempdir().unwrap();
    let trace = folder.path().join("trace.csv");
    let played = String::from("time_s,film_c,cloth_c,belt_m_per_min,room_c\n")
        + &rows("tune-slow.csv", 0.0)
        + &rows("tune-fast.csv", 400.0);
    fs::write(&trace, played).unwrap();
    let shop = shop(&trace.display().to_string());
    fs::write(folder.path().join("shop.toml"), shop).unwrap();
    let daemon = Daemon::start(folder);
    until("both rides", || {
        let listed = daemon.json(&["batch", "list"]);
        (listed["unassigned"] == 2).then_some(())
    });
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
    ]);
    daemon.good(&["batch", "assign", "1", "1", "2"]);
    daemon
}

const TUNE: [&str; 7] = [
    "tune",
    "--shop",
    "shop.toml",
    "--station",
    "belt-1",
    "--fabric",
    "cotton-jersey",
];

fn with<'a>(more: &[&'a str]) -> Vec<&'a str> {
    TUNE.iter().chain(more).copied().collect()
}

#[test]
fn the_journals_rides_tell_what_their_files_tell() {
    let daemon = with_rides();
    let json = |more: &[&str]| -> Value {
        let mut call = with(&["--ink", "plastisol-standard", "--json"]);
        call.extend(more);
        serde_json::from_str(&daemon.good(&call)).unwrap()
    };
    // By the environment, and by name; the daemon may be running, or not.
    let journal = json(&[]);
    let samples = root().join("simulated-traces/samples");
    let [slow, fast] = ["tune-slow.csv", "tune-fast.csv"].map(|name| samples.join(name));
    let (slow, fast) = (slow.display().to_string(), fast.display().to_string());
    let files = json(&["--ride", &slow, "--ride", &fast]);
    assert_eq!(journal["schema"], "inkdwell.tune/1");
    for (number, belt) in [(0, 2.2), (1, 3.4)] {
        let (ours, theirs) = (&journal["rides"][number], &files["rides"][number]);
        // What the samples note.
        assert!((ours["belt_m_per_min"].as_f64().unwrap() - belt).abs() < 0.01);
        assert_eq!(ours["pass"], number as u64 + 1);
        assert!(theirs.get("pass").is_none());
        let peak = |ride: &Value| ride["peak_c"].as_f64().unwrap();
        assert!((peak(ours) - peak(theirs)).abs() < 1e-6);
    }
    let ends = |tuned: &Value| {
        ["slowest_m_per_min", "fastest_m_per_min"].map(|end| tuned["window"][end].as_f64().unwrap())
    };
    for (ours, theirs) in ends(&journal).into_iter().zip(ends(&files)) {
        // Times are journaled to the microsecond, and a window is looked for to a thousandth.
        assert!((ours / theirs - 1.0).abs() < 0.005, "{ours} {theirs}");
    }
    let said = journal["remarks"].to_string();
    assert!(said.contains("passes 1, 2"), "{said}");

    let text = daemon.good(&with(&["--ink", "plastisol-standard", "--data", "data"]));
    assert!(
        text.starts_with("Standard plastisol on Cotton jersey"),
        "{text}"
    );
    assert!(text.contains("pass 1 of 20"), "{text}");
    assert!(text.contains("at 3.40 m/min"), "{text}");
}

#[test]
fn a_journal_without_such_rides_is_refused_with_what_to_do() {
    let daemon = with_rides();
    let other = daemon.refused(&with(&["--ink", "plastisol-low-cure"]));
    assert!(
        other.contains("holds no ride of plastisol-low-cure on cotton-jersey through belt-1")
            && other.contains("--ride FILE"),
        "{other}"
    );
    let lost = daemon.refused(&with(&["--ink", "plastisol-standard", "--data", "nowhere"]));
    assert!(lost.contains("nowhere"), "{lost}");
    let both = daemon.refused(&with(&[
        "--ink",
        "plastisol-standard",
        "--data",
        "data",
        "--ride",
        "trace.csv",
    ]));
    assert!(both.contains("--ride"), "{both}");

    let call = with(&["--ink", "plastisol-standard"]);
    let none = sentence(said(inkdwell_in(daemon.folder.path()).args(call)));
    assert!(
        none.contains("--ride FILE") && none.contains("--data DIR"),
        "{none}"
    );
}
