//! Probes.

use crate::alarm_day::{Day, shop};
use crate::common::{SHOP, comes, day, does_not, ride, unrest};
use inkdwell_cure::alarm::Kind;

/// A zone's probe does something from 100 s on; the rest is sound.
fn probe_does(does: &dyn Fn(f64) -> Option<Option<f64>>, to: f64) -> Day {
    let mut day = day();
    day.open("belt-1", 0.0, "plastisol-standard", "cotton-jersey");
    let steps = (to * 2.0) as u32;
    for step in 0..steps {
        let time = f64::from(step) * 0.5;
        day.read("zone-1", time, Some(190.0 + unrest(time)));
        day.read("room", time, Some(22.0 + unrest(time)));
        day.read("exit", time, Some(60.0 + unrest(time)));
        let sound = Some(Some(180.0 + (unrest(time + 3.0) * 10.0).round() / 10.0));
        let shown = if time < 100.0 { sound } else { does(time) };
        if let Some(value) = shown {
            day.read("zone-2", time, value);
        }
    }
    day
}

#[test]
fn a_probe_that_is_open() {
    let opens = |lasting: f64| {
        probe_does(
            &move |time| Some((time > 100.0 + lasting).then_some(180.0 + unrest(time))),
            140.0,
        )
    };
    comes(&opens(40.0), Kind::ProbeOpen, 100.0, 4.5);
    does_not(&opens(1.5), Kind::ProbeOpen);
}

#[test]
fn a_probe_that_is_out_of_range() {
    let shows = |celsius: f64| probe_does(&move |time| Some(Some(celsius + unrest(time))), 140.0);
    comes(&shows(900.0), Kind::ProbeOutOfRange, 100.0, 4.5);
    does_not(&shows(188.0), Kind::ProbeOutOfRange);
}

#[test]
fn a_probe_that_is_stuck() {
    let sticks = |to: f64| {
        probe_does(
            &move |time| {
                Some(Some(if time < to {
                    180.3
                } else {
                    180.0 + unrest(time)
                }))
            },
            300.0,
        )
    };
    comes(&sticks(300.0), Kind::ProbeStuck, 100.0, 121.0);
    does_not(&sticks(200.0), Kind::ProbeStuck);
}

/// An instrument that shows whole degrees shows one of them for minutes: nothing is wrong with it.
#[test]
fn a_coarse_probe_is_not_stuck() {
    let day = probe_does(
        &|time| Some(Some(if time < 104.0 { 181.0 } else { 180.0 })),
        600.0,
    );
    // Its smallest step so far is a tenth of a degree, so it counts as fine: this is the story in which it is.
    assert_eq!(day.raised(Kind::ProbeStuck).len(), 1);
    let mut day = Day::new(&shop(&SHOP.replace("DUE", "2099-01-01")));
    day.open("belt-1", 0.0, "plastisol-standard", "cotton-jersey");
    for half in 0..2400 {
        let time = f64::from(half) * 0.5;
        let shown = if time % 500.0 < 250.0 { 180.0 } else { 181.0 };
        day.read("zone-2", time, Some(shown));
    }
    does_not(&day, Kind::ProbeStuck);
}

/// White noise by a linear congruential generator (constants of Numerical Recipes), twelve of them summed.
struct Noise(u32);

impl Noise {
    fn next(&mut self) -> f64 {
        let sum: f64 = (0..12)
            .map(|_| {
                self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                f64::from(self.0) / f64::from(u32::MAX)
            })
            .sum();
        sum - 6.0
    }
}

#[test]
fn a_probe_that_is_noisy() {
    let story = |sigma: f64| {
        let noise = std::cell::RefCell::new(Noise(17));
        probe_does(
            &move |_| Some(Some(180.0 + sigma * noise.borrow_mut().next())),
            300.0,
        )
    };
    // 16 of the last 32 differences, which takes 8 s at two a second, usually a little more; 5 s of delay.
    comes(&story(6.0), Kind::ProbeNoisy, 100.0, 25.0);
    does_not(&story(1.0), Kind::ProbeNoisy);
}

#[test]
fn a_probe_that_is_silent() {
    let silent = |until: f64| {
        probe_does(
            &move |time| (time > until).then_some(Some(180.0 + unrest(time))),
            300.0,
        )
    };
    comes(&silent(300.0), Kind::ProbeSilent, 100.0, 62.0);
    does_not(&silent(150.0), Kind::ProbeSilent);
}

/// A probe that lies in a drawer between rides is not missed.
#[test]
fn a_ride_probe_is_missed_only_in_a_ride() {
    let mut day = day();
    day.open("belt-1", 0.0, "plastisol-standard", "cotton-jersey");
    for second in 0..60 {
        day.read("film", f64::from(second), None);
    }
    ride(&mut day, 60.0, 170.0);
    day.until(900.0);
    assert!(
        !day.all_raised()
            .keys()
            .any(|alarm| alarm.ends_with("@film")),
        "{:?}",
        day.all_raised()
    );
    // In the heat its wire breaks.
    for second in 0..40 {
        let time = 900.0 + f64::from(second);
        day.read(
            "film",
            time,
            (second < 30).then_some(25.0 + 4.0 * f64::from(second)),
        );
    }
    day.until(950.0);
    comes(&day, Kind::ProbeOpen, 930.0, 4.5);
}

#[test]
fn a_calibration_that_is_overdue() {
    // The day of these stories is 2026-09-21.
    let story = |due: &str| {
        let mut day = Day::new(&shop(&SHOP.replace("DUE", due)));
        day.until(5.0);
        day
    };
    comes(&story("2026-09-20"), Kind::CalibrationOverdue, 0.0, 1.0);
    does_not(&story("2026-09-21"), Kind::CalibrationOverdue);
}
