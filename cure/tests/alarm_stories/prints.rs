//! Prints that went wrong.

use crate::common::{comes, day, does_not, heatings, ride, ride_out};
use inkdwell_cure::alarm::Kind;

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
