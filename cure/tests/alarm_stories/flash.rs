//! Flash units, platens, the exhaust, the stack.

use crate::common::{Dryer, SOUND, comes, day, does_not, heatings, unrest};
use inkdwell_cure::alarm::Kind;

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
