//! A belt or a zone that leaves what its recipe locked is told at once, and so is its return.

use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_cure::live::{BatchPlan, Departure, FloorEvent, LockedSettings};

use crate::day::{Day, batch};

#[test]
fn leaving_the_recipe_is_said_at_once() {
    let mut day = Day::new();
    let settings = LockedSettings {
        recipe: 4,
        belt: Some(MetresPerSecond(0.05)),
        belt_drift: 0.05,
        zones: vec![("zone-1".to_owned(), Celsius(190.0))],
        zone_drift: 8.0,
        exit: None,
        exit_drift: 6.0,
        ride_every: None,
    };
    let recipe = Some(settings);
    let with_recipe = BatchPlan {
        recipe,
        ..batch(1, "plastisol-standard")
    };
    day.open("belt-1", 0.0, with_recipe);
    day.read("speed", 1.0, 3.1);
    day.read("zone-1", 1.0, 185.0);
    assert!(day.events.is_empty());
    day.read("speed", 2.0, 3.3);
    day.read("zone-1", 2.0, 181.0);
    day.read("speed", 3.0, 3.0);
    day.read("zone-1", 3.0, 189.0);
    let [belt, zone, met] = day.events.as_slice() else {
        panic!("{:?}", day.events);
    };
    let left = |event: &FloorEvent| match event {
        FloorEvent::RecipeLeft { what, .. } => what.clone(),
        other => panic!("{other:?}"),
    };
    assert!(matches!(left(belt), Departure::Belt { .. }));
    assert!(matches!(left(zone), Departure::Zone { .. }));
    assert!(matches!(met, FloorEvent::RecipeMet { recipe: 4, .. }));
}
