//! The samples that ship are what the generator makes of their scenarios.

use std::fs;

use inkdwell_simulated_traces::record::TruthFile;
use inkdwell_simulated_traces::samples::{folder, scenarios};
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::write::texts;

#[test]
fn samples_are_what_the_generator_makes() {
    let paths = scenarios(&folder()).unwrap();
    assert!(paths.len() >= 15, "{} scenarios", paths.len());
    for path in paths {
        let scenario = Scenario::load(&path).unwrap();
        let (csv, truth) = texts(&scenario).unwrap();
        for (ending, made) in [("csv", csv), ("truth.json", truth)] {
            let file = folder().join(format!("{}.{ending}", scenario.name));
            let shipped = fs::read_to_string(&file).unwrap();
            assert!(
                shipped == made,
                "{} is stale; run make-samples",
                file.display()
            );
        }
    }
}

#[test]
fn samples_show_what_their_names_say() {
    let verdicts = |name: &str| -> Vec<(String, Option<String>)> {
        let text = fs::read_to_string(folder().join(format!("{name}.truth.json"))).unwrap();
        let truth: TruthFile = serde_json::from_str(&text).unwrap();
        let prints = truth.prints.into_iter();
        prints
            .map(|print| (print.truth.verdict, print.truth.harm))
            .collect()
    };
    let one = |name: &str| verdicts(name).remove(0);
    let overheated = |harm: &str| ("overheated".to_owned(), Some(harm.to_owned()));
    for name in [
        "good-ride",
        "gap-ride",
        "open-circuit",
        "fahrenheit",
        "millivolts",
        "exit-reference",
    ] {
        assert_eq!(one(name), ("cured".to_owned(), None), "{name}");
    }
    assert_eq!(one("under-cured"), ("under-cured".to_owned(), None));
    assert_eq!(one("scorched"), overheated("scorch"));
    assert_eq!(one("dye-migration"), overheated("dye-migration"));
    let five: Vec<String> = verdicts("five-prints")
        .into_iter()
        .map(|print| print.0)
        .collect();
    assert_eq!(five, ["cured", "cured", "under-cured", "cured", "cured"]);
    let run: Vec<String> = verdicts("exit-run")
        .into_iter()
        .map(|print| print.0)
        .collect();
    assert_eq!(run.len(), 40);
    assert!(
        run.iter().filter(|verdict| *verdict == "cured").count() >= 20,
        "{run:?}"
    );
    assert!(
        run.iter()
            .filter(|verdict| *verdict == "under-cured")
            .count()
            >= 3,
        "{run:?}"
    );
    let flashes: Vec<String> = verdicts("flash").into_iter().map(|print| print.0).collect();
    for verdict in ["gelled", "over-flashed", "under-flashed"] {
        assert!(
            flashes.iter().any(|flash| flash == verdict),
            "{verdict}: {flashes:?}"
        );
    }
}

#[test]
fn samples_stay_small() {
    // Well below the 5 MB that they may take.
    let sizes = fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().metadata().unwrap().len());
    assert!(sizes.sum::<u64>() < 2_000_000);
}
