//! Each print that the eye counts is there once, whether or not a probe rode on it.

use inkdwell_cure::live::SeenBy;

use crate::day::{Day, batch};

/// The eye sees a print 2.1 m / 0.05 m/s = 42 s after it entered.
#[test]
fn prints_that_no_probe_saw_are_told_from_rides() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    day.read("speed", 0.0, 3.0);
    day.read("prints", 0.0, 100.0);
    day.read("prints", 50.0, 101.0);
    // The ride wakes 5 s after 60 s and enters the heat a little before that: it is counted at about 105 s.
    for tenth in 0..1300 {
        let t = f64::from(tenth) * 0.1;
        let celsius = (25.0 + 4.0 * t)
            .min(170.0)
            .min(25.0 + 2.5 * (110.0 - t))
            .max(25.0);
        day.read("film", 60.0 + t, celsius);
        match tenth {
            300 => drop(day.read("prints", 90.0, 102.0)),
            450 => drop(day.read("prints", 105.0, 103.0)),
            600 => drop(day.read("prints", 120.0, 104.0)),
            _ => {}
        }
    }
    let seen: Vec<_> = day
        .passes()
        .iter()
        .map(|pass| (pass.by, pass.print))
        .collect();
    let expected = [
        (SeenBy::Counter, Some(1)),
        (SeenBy::Counter, Some(2)),
        (SeenBy::Counter, Some(4)),
        (SeenBy::Ride, Some(3)),
    ];
    assert_eq!(seen, expected);
}

/// Prints every 0.75 m, as close as the shop file says, the film of every fourth on a ride; each print counts
/// once, whoever saw it. The eye sees a garment's leading edge, 0.31 m before the print's middle, and the film
/// passes 45 °C 0.25 m behind the entrance, so that the two are 0.56 m apart.
#[test]
fn in_a_close_run_every_print_is_there_once() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    let (speed, pitch) = (0.05, 0.75);
    // The middle of print n enters at `entered(n)`.
    let entered = |print: u32| 10.0 + f64::from(print - 1) * pitch / speed;
    day.read("speed", 0.0, 3.0);
    let mut counted = 0;
    for half in 0..1200 {
        let t = f64::from(half) * 0.5;
        let rider = (1..=32).rfind(|print| print % 8 == 1 && entered(*print) <= t);
        let film = rider.map_or(25.0, |print| {
            let inside = t - entered(print);
            (25.0 + 4.0 * inside)
                .min(170.0)
                .min(170.0 - 2.5 * (inside - 40.0))
                .max(25.0)
        });
        day.read("film", t, film);
        day.read("speed", t, 3.0);
        let passed = |print: &u32| t >= entered(*print) + (2.1 - 0.31) / speed;
        counted = counted.max((1..=32).filter(passed).count());
        day.read("prints", t, counted as f64);
        day.tick(t);
    }
    let mut prints: Vec<_> = day
        .passes()
        .iter()
        .map(|pass| (pass.print, pass.by))
        .collect();
    prints.sort_by_key(|(print, _)| *print);
    let by = |print: u64| match print % 8 {
        1 => SeenBy::Ride,
        _ => SeenBy::Counter,
    };
    let expected: Vec<_> = (1..=32).map(|print| (Some(print), by(print))).collect();
    assert_eq!(prints, expected);
}
