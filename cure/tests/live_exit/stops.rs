//! Days that end and begin again while prints are on their way.

use std::sync::Arc;

use inkdwell_cure::live::{Floor, Saved, SeenBy};

use crate::day::Day;
use crate::recorded::{Trace, channels, model, shop};

/// The day is ended and begun again while prints lie between the counter's eye and the exit probe: each has one
/// verdict, whether it was told at the end or seen afterwards.
#[test]
fn a_print_on_its_way_at_a_stop_is_told_once() {
    let run = Trace::read("exit-run.csv");
    let model = model();
    let channels = channels(&run);
    let mut on_their_way = 0;
    // Prints follow each other by 16 s; from the eye until enough of one is seen to know it takes some four.
    for stop in [200.0, 203.5, 207.0, 210.5, 214.0] {
        let mut day = Day::new(model.ride(), None);
        day.feed(&channels, 0.0, stop);
        let counted = channels[3].1.iter().filter(|own| own.0 < stop);
        let counted = counted.map(|own| own.1).fold(0.0, f64::max);
        on_their_way += counted as usize - day.left().len();
        day.finish();
        let kept = postcard::to_allocvec(day.floor.saved()).unwrap();
        let saved: Saved = postcard::from_bytes(&kept).unwrap();
        day.floor = Floor::restored(&shop(), saved, &mut |event| panic!("{event:?}"));
        day.floor.know_ride(3, Arc::new(model.ride().clone()));
        day.feed(&channels, stop, 260.0);
        let left = day.left().into_iter().map(|left| left.seen.print);
        let ended = day.ended().into_iter().map(|pass| pass.print);
        let mut numbers: Vec<u64> = left.chain(ended).flatten().collect();
        numbers.sort_unstable();
        let all: Vec<u64> = (1..=numbers.len() as u64).collect();
        assert!(numbers.len() > 8, "{numbers:?}");
        assert_eq!(numbers, all, "stopped at {stop} s");
    }
    assert!(on_their_way > 0, "no print was on its way");
}

/// The day is ended and begun again while a print with a probe in its ink is in the heat, or has just left it: it
/// is told once, as cut, and neither what its probe shows afterwards nor what the exit probe sees of it is another.
#[test]
fn a_ride_on_its_way_at_a_stop_is_told_once() {
    let run = Trace::read("exit-run.csv");
    let reference = Trace::read("exit-reference.csv");
    let model = model();
    let all = channels(&run);
    // The fifth print carries a probe. Its place passes the exit probe at about 141 s: it is there that its film is
    // the reference's.
    let film = reference.column("film").iter();
    let film: Vec<(f64, f64)> = film
        .map(|own| (own.0 + 140.9 - model.ride().passed, own.1))
        .collect();
    let mut columns = all.to_vec();
    columns.push(("film", film.as_slice(), 1.0));
    // It enters at 82 s, leaves the heat at 133 s, and is below 45 °C some minute later. The eye has counted the print
    // ahead of it by then: before that, nobody knows which of the two the next step belongs to.
    for stop in [130.0, 138.0, 150.0] {
        let mut day = Day::new(model.ride(), None);
        day.feed(&columns, 0.0, stop);
        day.finish();
        let kept = postcard::to_allocvec(day.floor.saved()).unwrap();
        let saved: Saved = postcard::from_bytes(&kept).unwrap();
        day.floor = Floor::restored(&shop(), saved, &mut |event| panic!("{event:?}"));
        day.floor.know_ride(3, Arc::new(model.ride().clone()));
        // It was off for three seconds.
        day.feed(&columns, stop + 3.0, 300.0);
        let ended = day.ended();
        let rides: Vec<_> = ended
            .iter()
            .filter(|pass| pass.by == SeenBy::Ride)
            .collect();
        assert_eq!(rides.len(), 1, "stopped at {stop} s: {rides:?}");
        assert!(rides[0].judged.as_ref().unwrap().cut, "stopped at {stop} s");
        let others = ended.iter().filter(|pass| pass.by != SeenBy::Ride);
        let others = others.map(|pass| pass.print);
        let left = day.left().into_iter().map(|left| left.seen.print);
        let mut numbers: Vec<u64> = others.chain(left).flatten().collect();
        numbers.sort_unstable();
        let mut expected: Vec<u64> = (1..=numbers.len() as u64 + 1).collect();
        expected.retain(|own| *own != 5);
        assert!(numbers.len() > 10, "{numbers:?}");
        assert_eq!(numbers, expected, "stopped at {stop} s");
    }
}
