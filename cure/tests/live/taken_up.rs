//! A floor that is put away and taken up again says what it would have said, under another shop file too.

use inkdwell_cure::live::{Floor, FloorEvent};
use proptest::prelude::*;

use crate::day::{Day, SHOP, at, batch, shop};

#[test]
fn another_shop_file_loses_no_pass_that_it_does_not_concern() {
    let mut day = Day::new();
    day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
    for tenth in 0..400 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 4.0 * t).min(170.0));
    }
    let kept = postcard::to_allocvec(day.floor.saved()).unwrap();
    let changed = SHOP.replace("id = \"flash-1\"", "id = \"flash-7\"");
    let changed = changed.replace("station = \"flash-1\"", "station = \"flash-7\"");
    let saved = postcard::from_bytes(&kept).unwrap();
    let events = &mut day.events;
    day.floor = Floor::restored(&shop(&changed), saved, &mut |event| events.push(event));
    for tenth in 400..1200 {
        let t = f64::from(tenth) * 0.1;
        day.read("film", t, (25.0 + 2.5 * (110.0 - t)).clamp(25.0, 170.0));
    }
    let passes = day.passes();
    assert_eq!(passes.len(), 1);
    assert!(!passes[0].judged.as_ref().unwrap().cut);

    // A probe that is declared otherwise is another one: what it was in the middle of is cut.
    let mut events = Vec::new();
    let other = SHOP.replace("uncertainty = \"1 C\"", "uncertainty = \"2 C\"");
    let saved = postcard::from_bytes(&kept).unwrap();
    drop(Floor::restored(&shop(&other), saved, &mut |event| {
        events.push(event)
    }));
    let FloorEvent::PassEnded(pass) = &events[0] else {
        panic!("{events:?}");
    };
    assert!(pass.judged.as_ref().unwrap().cut);
}

proptest! {
    /// Put away and taken up again at any reading, a floor says the same.
    #[test]
    fn a_floor_may_be_put_away_at_any_moment(cuts in prop::collection::btree_set(0..700_usize, 0..4)) {
        let run = |cuts: &std::collections::BTreeSet<usize>| {
            let mut day = Day::new();
            day.open("belt-1", 0.0, batch(1, "plastisol-standard"));
            for step in 0..700_usize {
                if cuts.contains(&step) {
                    let kept = postcard::to_allocvec(day.floor.saved()).unwrap();
                    let saved = postcard::from_bytes(&kept).unwrap();
                    day.floor = Floor::restored(&shop(SHOP), saved, &mut |_| ());
                }
                let t = step as f64 * 0.4;
                let phase = t % 140.0;
                let celsius =
                    (25.0 + 4.0 * phase).min(170.0).min(25.0 + 2.5 * (110.0 - phase)).max(25.0);
                day.read("cloth", t, celsius + 2.0);
                day.read("film", t, celsius);
                day.read("speed", t, 3.0 + if step > 300 { 0.4 } else { 0.0 });
                day.read("prints", t, (step / 40) as f64);
                if step == 350 {
                    day.open("belt-1", t, batch(2, "water-based"));
                }
                let events = &mut day.events;
                day.floor.tick(at(t), &mut |event| events.push(event));
            }
            day.events
        };
        prop_assert_eq!(run(&std::collections::BTreeSet::new()), run(&cuts));
    }
}
