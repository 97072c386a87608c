//! Readings that come late, twice, long after they were taken or from a broken probe: none of them spoils a verdict.

use inkdwell_cure::judged::Verdict;
use inkdwell_cure::live::Taken;

use crate::day::{Day, at, batch};

#[test]
fn a_reading_that_comes_late_or_twice_is_not_used() {
    let mut day = Day::new();
    assert_eq!(day.read("film", 5.0, 30.0), Taken::Fed);
    assert_eq!(day.read("film", 5.0, 31.0), Taken::Late);
    assert_eq!(day.read("film", 4.0, 31.0), Taken::Late);
    assert_eq!(day.read("cloth", 4.0, 31.0), Taken::Fed);
    assert_eq!(day.floor.latest("film").unwrap().value, Some(30.0));
}

/// A thermocouple breaks in the heat: ten minutes later nobody waits for it any more, and what was seen of the
/// print is judged. It is no secret in between that the probe says OPEN.
#[test]
fn a_ride_probe_that_reads_open_is_given_up() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for tenth in 0..300 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 4.0 * t).min(170.0));
        day.tick(t);
    }
    for second in 30..640 {
        day.open_circuit("film", f64::from(second));
        day.tick(f64::from(second));
        assert_eq!(day.passes().len(), usize::from(second >= 630), "{second}");
    }
    let judged = day.passes()[0].judged.as_ref().unwrap();
    assert!(judged.cut);
    assert_eq!(judged.verdict, Verdict::Unproven);
    assert!((day.passes()[0].end.seconds_since(at(29.9))).abs() < 1e-3);
    // It is mended, and rides again.
    day.ride(700.0);
    assert_eq!(day.passes().len(), 2);
    assert!(!day.passes()[1].judged.as_ref().unwrap().cut);
}

/// What was kept back is read long after it was taken, while the ticks are of now.
#[test]
fn old_readings_are_no_silence() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for half in 0..260 {
        let t = f64::from(half) * 0.5;
        let celsius = (25.0 + 4.0 * t)
            .min(170.0)
            .min(25.0 + 2.5 * (110.0 - t))
            .max(25.0);
        day.read("film", t, celsius);
        let events = &mut day.events;
        day.floor
            .tick(at(90_000.0 + t), &mut |event| events.push(event));
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 1);
    assert!(!passes[0].judged.as_ref().unwrap().cut);
}
