//! The chamber and its heaters.

use crate::common::{Dryer, SOUND, comes, day, does_not};
use inkdwell_cure::alarm::Kind;

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
