//! The belt.

use crate::common::{Dryer, comes, day, does_not};
use inkdwell_cure::alarm::Kind;

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
