//! What people do, or should: batches, recipes, rides, drills, shelves.

use crate::alarm_day::{BEGAN, Day, at, shop};
use crate::common::{Dryer, SHOP, SOUND, comes, day, does_not, locked, ride, unrest};
use inkdwell_config::quantity::Seconds;
use inkdwell_cure::alarm::{Change, Job, Kind};

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
        .map(|event| event.at.seconds_since(BEGAN))
        .collect();
    assert_eq!(announced, [101.0, 300.0]);
}
