//! For each alarm a story in which it must come, and when, and one like it in which it must not.
//!
//! Each bound is the delay that the catalogue or the shop file states, and what the telling of it adds: a tick (1 s)
//! and the distance of two readings. What hangs on the physics of a dryer is told in the tests across crates,
//! from simulated traces.

mod alarm_day;

use alarm_day::{Day, at, shop};
use inkdwell_config::quantity::{Celsius, Seconds};
use inkdwell_cure::alarm::{Change, Job, Kind, Notice};
use inkdwell_cure::live::LockedSettings;

/// A dryer of two zones whose belt runs at 3 m/min through 2 m, a flash unit with a platen probe, and a sensor in
/// the room whose calibration was due some years before the day.
const SHOP: &str = r#"
[[source]]
id = "line"
kind = "replay"

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
zones = [ { length = "1 m", air = "190 C" }, { length = "1 m", air = "180 C" } ]

[[station]]
id = "flash-1"
kind = "flash-unit"

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
source = "line"

[[probe]]
id = "exit"
station = "belt-1"
place = "exit"
distance = "0.3 m"
spot = "30 mm"
source = "line"

[[probe]]
id = "surface"
station = "flash-1"
place = "exit"
distance = "0 m"
spot = "20 mm"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "platen"
station = "flash-1"
place = "platen"
source = "line"

[[probe]]
id = "room"
place = "room"
source = "line"
calibration = { points = [ ["20 C", "20.1 C"] ], date = 2021-05-04, due = DUE, by = "the bench" }

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "fan"
station = "belt-1"
kind = "exhaust"
proved_from = 0.5
source = "line"

[[sink]]
id = "office"
kind = "command"
program = "/bin/true"
"#;

fn day() -> Day {
    Day::new(&shop(&SHOP.replace("DUE", "2099-01-01")))
}

/// A reading with the unrest of a real one: 0.3 °C, in a pattern that never repeats within a minute.
fn unrest(time: f64) -> f64 {
    0.2 * (time * 1.7).sin() + 0.1 * (time * 5.3).cos()
}

/// What the dryer's probes and signals show at a moment.
struct Dryer<'a> {
    zones: (&'a dyn Fn(f64) -> f64, &'a dyn Fn(f64) -> f64),
    belt: &'a dyn Fn(f64) -> f64,
    fan: f64,
}

impl Dryer<'_> {
    /// Two readings a second from one moment to another.
    fn run(&self, day: &mut Day, from: f64, to: f64) {
        let steps = ((to - from) * 2.0).round() as u32;
        for step in 0..steps {
            let time = from + f64::from(step) * 0.5;
            day.read("zone-1", time, Some((self.zones.0)(time) + unrest(time)));
            day.read(
                "zone-2",
                time,
                Some((self.zones.1)(time) + unrest(time + 9.0)),
            );
            day.read("speed", time, Some((self.belt)(time)));
            day.read("fan", time, Some(self.fan));
            day.read("room", time, Some(22.0 + unrest(time)));
            day.read("exit", time, Some(60.0 + unrest(time)));
        }
    }
}

const SOUND: Dryer<'static> = Dryer {
    zones: (&|_| 190.0, &|_| 180.0),
    belt: &|_| 3.0,
    fan: 1.0,
};

/// It comes once, within so many seconds of its cause.
fn comes(day: &Day, kind: Kind, cause: f64, within: f64) {
    let raised = day.raised(kind);
    assert_eq!(
        raised.len(),
        1,
        "{}: {raised:?}, {:?}",
        kind.name(),
        day.all_raised()
    );
    let after = raised[0] - cause;
    println!(
        "{:<24} {after:>8.1} s after its cause (bound {within} s)",
        kind.name()
    );
    assert!(
        (0.0..=within).contains(&after),
        "{} after {after} s",
        kind.name()
    );
}

fn does_not(day: &Day, kind: Kind) {
    assert_eq!(day.raised(kind), [], "{}", kind.name());
}

/// A ride up to a peak from a moment on; over 120 s later.
fn ride(day: &mut Day, from: f64, peak: f64) {
    ride_out(day, from, peak, 110.0);
}

/// The same with a longer stay: cool again after so many seconds.
fn ride_out(day: &mut Day, from: f64, peak: f64, out: f64) {
    for half in 0..(2.0 * out + 40.0) as u32 {
        let t = f64::from(half) * 0.5;
        let celsius = (25.0 + 4.0 * t)
            .min(peak)
            .min(25.0 + 2.5 * (out - t))
            .max(25.0);
        day.read("film", from + t, Some(celsius + unrest(t) * 0.1));
    }
}

/// What a recipe without drifts of its own has locked.
fn locked(zone: &str, celsius: f64) -> LockedSettings {
    LockedSettings {
        recipe: 3,
        belt: None,
        belt_drift: 0.05,
        zones: vec![(zone.to_owned(), Celsius(celsius))],
        zone_drift: 8.0,
        exit: None,
        exit_drift: 6.0,
        ride_every: None,
    }
}

// Prints.

#[test]
fn a_print_that_is_under_cured() {
    let story = |peak: f64| {
        let mut day = day();
        day.open("belt-1", 1.0, "plastisol-standard", "cotton-jersey");
        ride(&mut day, 10.0, peak);
        day
    };
    // The ride is back below 45 °C 102 s after its beginning; a dip is waited for 3 s.
    comes(&story(150.0), Kind::PrintUnderCured, 112.0, 5.0);
    does_not(&story(170.0), Kind::PrintUnderCured);
}

#[test]
fn a_print_that_is_overheated() {
    let story = |peak: f64| {
        let mut day = day();
        day.open("belt-1", 1.0, "plastisol-standard", "cotton-jersey");
        ride_out(&mut day, 10.0, peak, 190.0);
        day
    };
    comes(&story(225.0), Kind::PrintOverheated, 192.0, 5.0);
    does_not(&story(180.0), Kind::PrintOverheated);
}

/// Heatings under the lamp, each 20 s, to a peak.
fn heatings(day: &mut Day, from: f64, count: u32, peak: f64) {
    for number in 0..count {
        for half in 0..40 {
            let t = f64::from(half) * 0.5;
            let celsius = (40.0 + (peak - 40.0) * t / 5.0).min(peak - (t - 5.0) * 5.0);
            let time = from + f64::from(number) * 20.0 + t;
            day.read("surface", time, Some(celsius.max(40.0) + unrest(time)));
        }
    }
    let end = from + f64::from(count) * 20.0;
    day.until(end + 30.0);
}

#[test]
fn a_print_that_is_flashed_too_much() {
    let story = |peak: f64| {
        let mut day = day();
        day.open("flash-1", 1.0, "plastisol-standard", "cotton-jersey");
        heatings(&mut day, 10.0, 2, peak);
        day
    };
    // A heating lasts until the next one begins.
    comes(&story(140.0), Kind::FlashOffWindow, 30.0, 5.0);
    does_not(&story(112.0), Kind::FlashOffWindow);
}

#[test]
fn several_unproven_prints_in_a_row() {
    // At 160.5 °C the limit of 160 °C lies inside the doubt of 1 °C.
    let story = |peaks: [f64; 4]| {
        let mut day = day();
        day.open("belt-1", 1.0, "plastisol-standard", "cotton-jersey");
        for (number, peak) in (0..).zip(peaks) {
            ride(&mut day, 10.0 + f64::from(number) * 150.0, peak);
        }
        day
    };
    comes(
        &story([160.5, 160.5, 160.5, 160.5]),
        Kind::PrintsUnproven,
        310.0 + 102.0,
        5.0,
    );
    does_not(&story([160.5, 160.5, 170.0, 160.5]), Kind::PrintsUnproven);
}

/// Low-cure water-based ink at 133 °C, which needs 122 °C for so long a stay (by its law, from the shipped library), each print a little cooler than the one before; against prints that scatter as much
/// without going anywhere.
#[test]
fn prints_that_drift_toward_a_limit() {
    let story = |drift: f64| {
        let mut day = day();
        day.open("belt-1", 1.0, "water-based-low-cure", "cotton-jersey");
        for number in 0..24 {
            let n = f64::from(number);
            let peak = 133.0 - drift * (n - 6.0).max(0.0) + 1.5 * (n * 2.4).sin();
            ride_out(&mut day, 10.0 + n * 230.0, peak, 190.0);
        }
        day
    };
    let drifting = story(0.6);
    let raised = drifting.raised(Kind::DriftTowardLimit);
    assert!(!raised.is_empty(), "{:?}", drifting.all_raised());
    let under = drifting.raised(Kind::PrintUnderCured);
    println!(
        "drift-toward-limit at {:?}, under-cured at {under:?}",
        raised
    );
    // That is what it is for: it comes while there is still time.
    assert!(under.first().is_none_or(|under| *under > raised[0] + 230.0));
    does_not(&story(0.0), Kind::DriftTowardLimit);
}

// The belt.

#[test]
fn a_belt_that_stands_in_a_hot_chamber() {
    let story = |stands: (f64, f64), zone: f64| {
        let mut day = day();
        let dryer = Dryer {
            zones: (&move |_| zone, &move |_| zone),
            belt: &move |time| {
                if time >= stands.0 && time < stands.1 {
                    0.0
                } else {
                    3.0
                }
            },
            fan: 1.0,
        };
        dryer.run(&mut day, 0.0, 200.0);
        day
    };
    // 5 s of grace, a tick, and half a second to the next reading.
    comes(
        &story((100.0, 150.0), 190.0),
        Kind::BeltStoppedHot,
        100.0,
        6.5,
    );
    does_not(&story((100.0, 103.0), 190.0), Kind::BeltStoppedHot);
    does_not(&story((100.0, 150.0), 80.0), Kind::BeltStoppedHot);
}

/// The heat is switched off after 10 min, and the chamber cools by 12 °C a minute.
#[test]
fn a_belt_that_is_switched_off_before_the_chamber_has_cooled() {
    let story = |off: f64| {
        let mut day = day();
        let cools = |time: f64| (190.0 - (time - 600.0).max(0.0) * 0.2).max(40.0);
        let dryer = Dryer {
            zones: (&cools, &cools),
            belt: &move |time| if time >= off { 0.0 } else { 3.0 },
            fan: 1.0,
        };
        dryer.run(&mut day, 0.0, 1300.0);
        day
    };
    // At 850 s it has 140 °C, at 1100 s 90 °C.
    comes(&story(850.0), Kind::BeltOffBeforeCooled, 850.0, 11.5);
    let too_soon = story(850.0);
    does_not(&too_soon, Kind::BeltStoppedHot);
    does_not(&story(1100.0), Kind::BeltOffBeforeCooled);
}

// The chamber.

#[test]
fn a_chamber_over_its_limit() {
    let story = |celsius: f64| {
        let mut day = day();
        let zone = move |time: f64| {
            if time >= 100.0 {
                (190.0 + (time - 100.0) * 0.5).min(celsius)
            } else {
                190.0
            }
        };
        let dryer = Dryer {
            zones: (&zone, &|_| 180.0),
            ..SOUND
        };
        dryer.run(&mut day, 0.0, 260.0);
        day
    };
    // 220 °C is passed 60 s after the rise begins; 5 s of delay, a tick, and what the unrest makes of it.
    comes(&story(230.0), Kind::ChamberOverLimit, 159.0, 8.0);
    does_not(&story(216.0), Kind::ChamberOverLimit);
}

#[test]
fn a_chamber_that_rises_abnormally_fast() {
    let story = |per_minute: f64, from: f64| {
        let mut day = day();
        let zone = move |time: f64| (from + (time - 100.0).max(0.0) * per_minute / 60.0).min(200.0);
        let dryer = Dryer {
            zones: (&zone, &zone),
            ..SOUND
        };
        dryer.run(&mut day, 0.0, 400.0);
        day.raised(Kind::ChamberRisingFast)
    };
    // At twice the limit it takes half of the 20 to 35 s over which a rise is measured; both zones rise.
    let raised = story(120.0, 120.0);
    println!(
        "chamber-rising-fast      {:?} s, its cause at 100 s",
        raised
    );
    assert!(
        raised.len() == 2 && raised.iter().all(|time| *time <= 100.0 + 30.0),
        "{raised:?}"
    );
    assert_eq!(story(40.0, 25.0), [0.0; 0], "heating up from cold");
}

#[test]
fn a_heater_that_does_not_reach_its_set_temperature() {
    let story = |celsius: f64| {
        let mut day = day();
        let dryer = Dryer {
            zones: (&move |_| celsius, &|_| 180.0),
            ..SOUND
        };
        dryer.run(&mut day, 0.0, 300.0);
        day.open("belt-1", 300.0, "plastisol-standard", "cotton-jersey");
        dryer.run(&mut day, 300.0, 500.0);
        day
    };
    comes(&story(165.0), Kind::HeaterShortOfSet, 300.0, 121.5);
    does_not(&story(185.0), Kind::HeaterShortOfSet);
}

#[test]
fn a_heater_that_sags() {
    let story = |lasting: f64| {
        let mut day = day();
        let sags = move |time: f64| {
            let within = time >= 700.0 && time < 700.0 + lasting;
            if within {
                180.0 - ((time - 700.0) * 0.8).min(20.0)
            } else {
                180.0
            }
        };
        let dryer = Dryer {
            zones: (&|_| 190.0, &sags),
            ..SOUND
        };
        dryer.run(&mut day, 0.0, 300.0);
        day.open("belt-1", 300.0, "plastisol-standard", "cotton-jersey");
        dryer.run(&mut day, 300.0, 1000.0);
        day
    };
    // 12 °C below are reached after 15 s; 15 s of delay, a tick.
    comes(&story(200.0), Kind::HeaterSagging, 715.0, 18.0);
    does_not(&story(28.0), Kind::HeaterSagging);
    does_not(&story(200.0), Kind::ZoneOutOfLine);
}

/// Zone 2 sinks by 15 °C an hour, too slowly to sag; against both sinking together.
#[test]
fn a_zone_out_of_line_with_its_neighbour() {
    let story = |other: f64| {
        let mut day = day();
        let hour = |time: f64| (time - 600.0).max(0.0) / 3600.0;
        let dryer = Dryer {
            zones: (&move |time| 190.0 - other * hour(time), &|time| {
                180.0 - 15.0 * hour(time)
            }),
            ..SOUND
        };
        dryer.run(&mut day, 0.0, 300.0);
        day.open("belt-1", 300.0, "plastisol-standard", "cotton-jersey");
        dryer.run(&mut day, 300.0, 7200.0);
        day.raised(Kind::ZoneOutOfLine)
    };
    // 25 °C apart after 100 min; 60 s of delay. With only two nobody knows which is wrong: both are named.
    let raised = story(0.0);
    println!("zone-out-of-line         {raised:?} s, its cause at 6600 s");
    assert!(
        raised.len() == 2 && raised.iter().all(|time| (6500.0..6700.0).contains(time)),
        "{raised:?}"
    );
    assert_eq!(story(15.0), [0.0; 0]);
}

// Flash, platen, exhaust, stack.

#[test]
fn a_flash_unit_that_is_lit_while_nothing_moves() {
    let story = |moves: bool| {
        let mut day = day();
        heatings(&mut day, 10.0, 10, 112.0);
        let end = 210.0;
        if moves {
            heatings(&mut day, end + 31.0, 20, 112.0);
            return day;
        }
        for half in 0..600 {
            let time = end + 31.0 + f64::from(half) * 0.5;
            let celsius = (40.0 + f64::from(half)).min(170.0);
            day.read("surface", time, Some(celsius + unrest(time)));
        }
        day
    };
    // The last print comes under it at 241 s, when it begins to warm.
    comes(&story(false), Kind::FlashLitIdle, 241.0, 120.0 + 30.0);
    does_not(&story(true), Kind::FlashLitIdle);
}

#[test]
fn a_platen_that_overheats() {
    let story = |peak: f64| {
        let mut day = day();
        day.open("flash-1", 0.0, "plastisol-standard", "cotton-jersey");
        for second in 0..300 {
            let time = f64::from(second);
            day.read(
                "platen",
                time,
                Some((40.0 + time * 0.5).min(peak) + unrest(time)),
            );
        }
        day
    };
    // 75 °C after 70 s.
    comes(&story(80.0), Kind::PlatenOverheating, 69.0, 13.0);
    does_not(&story(73.0), Kind::PlatenOverheating);
}

#[test]
fn an_exhaust_that_is_not_proved() {
    let story = |ink: &str, unproved: (f64, f64)| {
        let mut day = day();
        SOUND.run(&mut day, 0.0, 60.0);
        day.open("belt-1", 60.0, ink, "cotton-jersey");
        SOUND.run(&mut day, 60.0, unproved.0);
        let dryer = Dryer { fan: 0.0, ..SOUND };
        dryer.run(&mut day, unproved.0, unproved.1);
        SOUND.run(&mut day, unproved.1, 300.0);
        day
    };
    comes(
        &story("discharge", (100.0, 200.0)),
        Kind::ExhaustNotProved,
        100.0,
        31.5,
    );
    does_not(&story("discharge", (100.0, 120.0)), Kind::ExhaustNotProved);
    does_not(
        &story("plastisol-standard", (100.0, 200.0)),
        Kind::ExhaustNotProved,
    );
}

/// A signal that falls silent proves nothing either.
#[test]
fn an_exhaust_that_is_not_heard() {
    let mut day = day();
    SOUND.run(&mut day, 0.0, 60.0);
    day.open("belt-1", 60.0, "discharge", "cotton-jersey");
    SOUND.run(&mut day, 60.0, 100.0);
    for second in 100..200 {
        day.read(
            "zone-1",
            f64::from(second),
            Some(190.0 + unrest(f64::from(second))),
        );
    }
    // Silent for 30 s, then 30 s of grace.
    comes(&day, Kind::ExhaustNotProved, 99.5, 62.0);
}

#[test]
fn prints_too_hot_to_stack() {
    let story = |fabric: &str, celsius: f64| {
        let mut day = day();
        day.open("belt-1", 0.0, "plastisol-low-bleed", fabric);
        for second in 0..120 {
            let time = f64::from(second);
            let print = (time % 20.0) > 10.0;
            day.read(
                "exit",
                time,
                Some(if print { celsius } else { 60.0 } + unrest(time)),
            );
        }
        day
    };
    comes(&story("polyester", 128.0), Kind::TooHotToStack, 11.0, 2.5);
    does_not(&story("polyester", 105.0), Kind::TooHotToStack);
    does_not(&story("cotton-jersey", 128.0), Kind::TooHotToStack);
}

// Probes.

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

// The shop's machine.

#[test]
fn a_source_that_is_down() {
    let story = |back: f64| {
        let mut day = day();
        let down = Notice::SourceDown("line".to_owned(), "nothing answers".to_owned());
        day.notice(10.0, &down);
        day.notice(back, &Notice::SourceUp("line".to_owned()));
        day.until(100.0);
        day
    };
    comes(&story(60.0), Kind::SourceDown, 10.0, 6.0);
    does_not(&story(13.0), Kind::SourceDown);
}

/// The source is down, so its probes are silent: people hear of one alarm.
#[test]
fn what_hangs_on_a_wire_is_one_alarm() {
    let mut day = day();
    day.open("belt-1", 0.0, "plastisol-standard", "cotton-jersey");
    SOUND.run(&mut day, 0.0, 100.0);
    let down = Notice::SourceDown("line".to_owned(), "nothing answers".to_owned());
    day.notice(100.0, &down);
    day.until(400.0);
    let announced: Vec<String> = day
        .told
        .iter()
        .filter(|event| event.announce)
        .map(|event| event.id.to_string())
        .collect();
    assert_eq!(announced, ["source-down@line"]);
    assert!(
        day.raised(Kind::ProbeSilent).len() >= 3,
        "{:?}",
        day.all_raised()
    );
}

#[test]
fn what_happens_to_clock_queue_disk_and_outbox() {
    let mut day = day();
    SOUND.run(&mut day, 0.0, 50.0);
    let kinds = [
        Kind::ClockStepped,
        Kind::QueueOverflow,
        Kind::DiskNearlyFull,
        Kind::OutboxGrowing,
    ];
    kinds.into_iter().for_each(|kind| does_not(&day, kind));
    day.notice(50.0, &Notice::ClockStepped(Seconds(3600.0)));
    day.notice(50.0, &Notice::TurnedAway("line".to_owned(), 40));
    day.notice(50.0, &Notice::DiskLow(700_000_000));
    day.notice(50.0, &Notice::OutboxGrowing("office".to_owned(), 2000));
    day.until(120.0);
    let delays = [0.0, 0.0, 0.0, 61.0];
    for (kind, within) in kinds.into_iter().zip(delays) {
        comes(&day, kind, 50.0, within);
    }
}

/// Eight messages wait for half a minute: a way out that was slow once.
#[test]
fn an_outbox_that_clears_in_time_is_nothing() {
    let mut day = day();
    day.notice(5.0, &Notice::OutboxGrowing("office".to_owned(), 8));
    day.notice(35.0, &Notice::OutboxClear("office".to_owned()));
    day.until(200.0);
    does_not(&day, Kind::OutboxGrowing);
}

// Batches, recipes, rides, drills.

#[test]
fn ink_past_its_pot_life() {
    // Discharge ink lives 6 h by the shipped library; this was mixed 5 h before the batch.
    let story = |fresh: bool| {
        let mut day = day();
        day.open_so("belt-1", 10.0, "discharge", "cotton-jersey", None, |job| {
            Job {
                ink_mixed: Some(if fresh { at(0.0) } else { at(-5.0 * 3600.0) }),
                ..job
            }
        });
        day.until(2.0 * 3600.0);
        day
    };
    comes(&story(false), Kind::InkPastPotLife, 3600.0, 1.0);
    does_not(&story(true), Kind::InkPastPotLife);
}

#[test]
fn prints_without_a_batch() {
    let story = |batch: bool| {
        let mut day = day();
        if batch {
            day.open("belt-1", 1.0, "plastisol-standard", "cotton-jersey");
        }
        ride(&mut day, 10.0, 170.0);
        day
    };
    comes(&story(false), Kind::NoBatchOpen, 112.0, 5.0);
    does_not(&story(true), Kind::NoBatchOpen);
}

#[test]
fn a_station_that_leaves_its_recipe() {
    let story = |celsius: f64| {
        let mut day = day();
        let recipe = Some(locked("zone-1", 190.0));
        day.open_so(
            "belt-1",
            0.0,
            "plastisol-standard",
            "cotton-jersey",
            recipe,
            |job| job,
        );
        let dryer = Dryer {
            zones: (
                &move |time| if time < 100.0 { 190.0 } else { celsius },
                &|_| 180.0,
            ),
            ..SOUND
        };
        dryer.run(&mut day, 0.0, 200.0);
        day
    };
    comes(&story(180.0), Kind::RecipeLeft, 100.0, 1.0);
    does_not(&story(184.0), Kind::RecipeLeft);
}

#[test]
fn a_ride_that_is_due() {
    let story = |rides: bool| {
        let mut day = day();
        day.open_so(
            "belt-1",
            10.0,
            "plastisol-standard",
            "cotton-jersey",
            None,
            |job| Job {
                ride_every: Some(Seconds(600.0)),
                ..job
            },
        );
        if rides {
            ride(&mut day, 400.0, 170.0);
        }
        day.until(700.0);
        day
    };
    comes(&story(false), Kind::RideOverdue, 610.0, 1.5);
    does_not(&story(true), Kind::RideOverdue);
}

/// Each drill is raised and marked; nothing else is.
#[test]
fn a_drill() {
    let mut day = day();
    for seconds in [10.0, 15.0] {
        day.until(seconds);
        let told = &mut day.told;
        day.watchman
            .drill(at(seconds), "Mara", "new phone", &mut |event| {
                told.push(event)
            });
    }
    assert_eq!(day.raised(Kind::Drill), [10.0, 15.0]);
    assert!(day.told.iter().all(|event| event.drill));
    assert_eq!(
        Day::new(&shop(&SHOP.replace("DUE", "2099-01-01"))).raised(Kind::Drill),
        [0.0; 0]
    );
}

/// A dryer that is off is quiet, whatever its probes do; switched on, what is wrong is told.
#[test]
fn what_a_dryer_that_is_off_does_is_no_alarm() {
    let mut day = day();
    for second in 0..300 {
        let time = f64::from(second);
        day.read("zone-1", time, Some(22.0 + unrest(time)));
        day.read("zone-2", time, None);
        day.read("room", time, Some(22.0 + unrest(time)));
        day.read("speed", time, Some(0.0));
    }
    assert_eq!(day.all_raised().len(), 0, "{:?}", day.all_raised());
    day.open("belt-1", 300.0, "plastisol-standard", "cotton-jersey");
    for second in 300..320 {
        day.read("zone-2", f64::from(second), None);
    }
    comes(&day, Kind::ProbeOpen, 300.0, 5.0);
}

/// Shelved, an alarm is silent; when its time is over and it still holds, it is told anew.
#[test]
fn a_shelf_ends_by_itself() {
    let mut day = day();
    day.open_so(
        "belt-1",
        0.0,
        "plastisol-standard",
        "cotton-jersey",
        None,
        |job| Job {
            ride_every: Some(Seconds(100.0)),
            ..job
        },
    );
    day.until(120.0);
    let change = Change::Shelved {
        until: at(300.0),
        by: "Mara".to_owned(),
        why: "after the break".to_owned(),
    };
    day.person(120.0, "ride-overdue@belt-1", &change);
    day.until(310.0);
    let announced: Vec<f64> = day
        .told
        .iter()
        .filter(|event| event.announce && event.id.kind == Kind::RideOverdue)
        .map(|event| event.at.seconds_since(alarm_day::BEGAN))
        .collect();
    assert_eq!(announced, [101.0, 300.0]);
}
