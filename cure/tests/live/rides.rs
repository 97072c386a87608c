//! A ride is judged by the batch that was open when it began, and by no other.

use inkdwell_cure::judged::Verdict;
use inkdwell_cure::live::{SeenBy, SeenPass};

use crate::day::{Day, at, batch};

#[test]
fn a_ride_is_judged_by_the_batch_that_was_open_when_it_began() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    day.ride(10.0);
    day.ride(200.0);
    let passes = day.passes();
    assert_eq!(passes.len(), 2);
    let numbered = |pass: &SeenPass| (pass.batch, pass.by, pass.probe.clone());
    let film = Some("film".to_owned());
    assert_eq!(numbered(passes[0]), (Some(1), SeenBy::Ride, film));
    let judged = passes[0].judged.as_ref().unwrap();
    assert_eq!(judged.verdict, Verdict::Cured);
    // It woke at 45 °C, 5 s after it began to rise by 4 °C a second.
    assert!((passes[0].start.seconds_since(at(15.0))).abs() < 1e-3);
    assert_eq!(judged.start.0, 0.0);
    assert!((passes[0].belt.unwrap().0 - 0.05).abs() < 1e-9);
}

#[test]
fn without_a_batch_a_pass_is_kept_but_not_judged() {
    let mut day = Day::new();
    day.ride(10.0);
    let passes = day.passes();
    assert_eq!((passes[0].batch, &passes[0].judged), (None, &None));
    assert!((passes[0].peak.unwrap().0 - 170.0).abs() < 0.5);
}

#[test]
fn the_next_batch_begins_with_the_next_pass() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for tenth in 0..400 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 4.0 * t).min(170.0));
    }
    // Water-based ink wants 90 s at 160 °C: the open pass is not judged by that.
    day.open("belt-1", 40.0, batch(2, "water-based"));
    for tenth in 400..1200 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 2.5 * (110.0 - t)).clamp(25.0, 170.0));
    }
    day.ride(200.0);
    let verdicts: Vec<_> = day
        .passes()
        .iter()
        .map(|pass| (pass.batch, pass.judged.as_ref().unwrap().verdict))
        .collect();
    let expected = [(Some(1), Verdict::Cured), (Some(2), Verdict::UnderCured)];
    assert_eq!(verdicts, expected);
}
