//! What a reference promises of the prints that follow it, held against prints that do: simulated shops, whose physics
//! is not that of the model that is fitted.

use std::fs;
use std::path::Path;

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_simulated_traces::shop::{SimulatedShop, draw_shop};
use inkdwell_simulated_traces::shop_files::shop_files;
use inkdwell_simulated_traces::write::texts;
use inkdwell_tests::run_in;
use serde_json::Value;

/// Prints of a run.
const PRINTS: u32 = 20;
/// So many rides are enough to be told that nine in ten will be proved.
const ASKED: u64 = 5;
/// A type K thermocouple of class 1: ±1.5 °C (IEC 60584-1), rectangular, k = 2.
const CLASS_ONE: &str = "1.73 C";

/// A ride and the run after it at one speed: what was said beside the answer, and of how many good prints how many were
/// proved.
fn ridden(folder: &Path, shop: &SimulatedShop, belt: f64, seed: u64) -> (String, u32, u32) {
    let speed = MetresPerSecond(belt);
    let mut ride = shop.ride(speed, seed);
    ride.uncertainty = Some(CLASS_ONE.to_owned());
    let run = shop.run_of(speed, seed + 1, PRINTS, Vec::new());
    let (text, _) = texts(&ride).expect("a ride");
    fs::write(folder.join("ride.csv"), text).expect("written");
    let (text, truth) = texts(&run).expect("a run");
    fs::write(folder.join("run.csv"), text).expect("written");
    let call = [
        "judge",
        "run.csv",
        "--place",
        "exit",
        "--reference",
        "ride.csv",
        "--shop",
        "shop.toml",
        "--station",
        &shop.station.id,
        "--json",
    ];
    let output = run_in(folder, &call);
    let said = String::from_utf8(output.stderr).expect("UTF-8");
    let judged: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{said}"));
    let truth: Value = serde_json::from_str(&truth).expect("JSON");
    let (passes, truths) = (&judged["passes"], &truth["prints"]);
    let (passes, truths) = (passes.as_array().unwrap(), truths.as_array().unwrap());
    assert_eq!(passes.len(), truths.len());
    let pairs = passes.iter().zip(truths);
    let good: Vec<&Value> = pairs
        .filter(|(_, truth)| truth["verdict"] == "cured")
        .map(|(pass, _)| &pass["verdict"])
        .collect();
    let proved = good.iter().filter(|verdict| **verdict == "cured").count();
    (said, proved as u32, good.len() as u32)
}

/// The number before a word.
fn before(text: &str, word: &str) -> Option<f64> {
    let (start, _) = text.split_once(word)?;
    start.trim_end().rsplit(' ').next()?.parse().ok()
}

/// A ride that promises enough says nothing beside the answer; one that does not says how many good prints will be
/// proved and at which speed it would be nine in ten, and rides there keep that word.
#[test]
fn what_a_reference_promises_is_kept_by_the_prints_that_follow() {
    // Two drawn shops, a plastisol and a silicone, at nine tenths of the fastest speed that is truly good.
    for (seed, enough) in [(60_001, true), (60_006, false)] {
        let shop = draw_shop(seed);
        let folder = tempfile::tempdir().expect("a folder");
        for (name, text) in shop_files(&shop).expect("files") {
            fs::write(folder.path().join(name), text).expect("written");
        }
        let belt = 0.9 * shop.fastest_safe().expect("a window").0;
        let (said, proved, good) = ridden(folder.path(), &shop, belt, 1000 * seed);
        if enough {
            assert!(!said.contains("in ten"), "{said}");
            assert!(5 * proved >= 4 * good, "{proved} of {good}");
            continue;
        }
        let in_ten = before(&said, "in ten will be proved").expect("a share");
        let share = f64::from(proved) / f64::from(good);
        // Garments scatter about the ridden one, which itself is anywhere in its batch.
        assert!(
            (share - in_ten / 10.0).abs() < 0.4,
            "{said} {proved} of {good}"
        );
        // A ride where it is asked for is another garment, and may ask once more.
        let (mut belt, mut said) = (belt, said);
        for again in 2..=ASKED {
            let asked =
                before(&said, "m/min it would be about nine in ten").expect("a speed") / 60.0;
            assert!(asked < belt, "{said}");
            belt = asked;
            let ridden = ridden(folder.path(), &shop, belt, 1000 * again * seed);
            said = ridden.0;
            let (proved, good) = (ridden.1, ridden.2);
            assert!(4 * proved >= 3 * good, "{proved} of {good} after {said}");
            if !said.contains("in ten") {
                assert!(5 * proved >= 4 * good, "{proved} of {good}");
                break;
            }
        }
        assert!(!said.contains("in ten"), "{said}");
    }
}
