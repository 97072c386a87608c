//! What counts as evidence of a print, and what is told where there is none.

use inkdwell_cure::judged::{Evidence, Verdict};
use inkdwell_cure::live::{Departure, FloorEvent, SeenBy};
use inkdwell_cure::reason::Reason;

use crate::day::{Day, at};
use crate::recorded::{Trace, channels, model, offline};

/// A ride that is older than its recipe allows proves nothing.
#[test]
fn evidence_from_too_old_a_ride_is_none() {
    let run = Trace::read("exit-run.csv");
    let model = model();
    // The ride ended about an hour before; prints leave from 70 s on.
    let mut day = Day::new(model.ride(), Some(3600.0));
    day.feed(&channels(&run), 0.0, 300.0);
    let mut desk = model.ready().unwrap();
    let mut judged = day.left().into_iter().map(|left| {
        let age = left.seen.end.seconds_since(model.ride().ended());
        (age, desk.judge(&left.window, &left.laws))
    });
    assert!(judged.all(|(age, pass)| {
        let too_old = matches!(pass.reasons.as_slice(), [Reason::RideTooOld { .. }]);
        let none = pass.evidence == Evidence::None && pass.verdict == Verdict::Unproven;
        (age > 3600.0) == (too_old && none)
    }));
    let ages = day.left().len();
    assert!(ages > 10, "{ages}");
}

/// The station declares a belt signal: while it is silent nothing is inferred.
#[test]
fn without_the_belt_signal_that_is_declared_there_is_no_evidence() {
    let run = Trace::read("exit-run.csv");
    let model = model();
    let all = channels(&run);
    let silent = [all[0], all[1], all[3]];
    let mut day = Day::new(model.ride(), None);
    day.feed(&silent, 0.0, 250.0);
    let mut desk = model.ready().unwrap();
    let left = day.left();
    assert!(left.len() > 5, "{}", left.len());
    for print in left {
        let pass = desk.judge(&print.window, &print.laws);
        assert_eq!(pass.verdict, Verdict::Unproven);
        assert_eq!(pass.evidence, Evidence::None);
        assert_eq!(pass.reasons, [Reason::NoBeltSignal]);
    }
}

/// The eye counts on while the exit probe shows nothing: those prints are told of, with no evidence.
#[test]
fn what_was_counted_and_no_probe_saw_is_told() {
    let run = Trace::read("exit-run.csv");
    let model = model();
    let all = channels(&run);
    let mut day = Day::new(model.ride(), None);
    day.feed(&all[2..], 0.0, 400.0);
    let counted = all[3].1.iter().filter(|own| own.0 < 400.0);
    let counted = counted.map(|own| own.1).fold(0.0, f64::max);
    day.finish();
    assert!(day.left().is_empty());
    let told: Vec<_> = day
        .ended()
        .iter()
        .map(|pass| (pass.by, pass.print))
        .collect();
    let all: Vec<_> = (1..=counted as u64)
        .map(|print| (SeenBy::Counter, Some(print)))
        .collect();
    assert!(told.len() > 15);
    assert_eq!(told, all);
}

/// A print that rides with a probe in its ink is one print, though exit probe and eye see it too.
#[test]
fn a_ride_past_the_exit_probe_is_one_print() {
    let run = Trace::read("exit-run.csv");
    let reference = Trace::read("exit-reference.csv");
    let model = model();
    let all = channels(&run);
    // The fifth print of the run carries a probe: its film is the reference's, shifted to when it passed.
    let fifth = &offline(&run)[4];
    let first = reference.column("film");
    let shift = 0.5 * (fifth.start.0 + fifth.end.0) - model.ride().passed;
    let film: Vec<(f64, f64)> = first.iter().map(|own| (own.0 + shift, own.1)).collect();
    let mut columns = all.to_vec();
    columns.push(("film", film.as_slice(), 1.0));
    let mut day = Day::new(model.ride(), None);
    day.feed(&columns, 0.0, 300.0);
    let rides = day.ended();
    assert_eq!(rides.len(), 1);
    assert_eq!((rides[0].by, rides[0].print), (SeenBy::Ride, Some(5)));
    let numbers: Vec<_> = day
        .left()
        .iter()
        .filter_map(|left| left.seen.print)
        .collect();
    let others: Vec<u64> = (1..=numbers.len() as u64 + 1)
        .filter(|own| *own != 5)
        .collect();
    assert_eq!(numbers, others);
}

/// The recipe says how prints leave; the heater that sags from 200 s on (the scenario) shows there.
#[test]
fn prints_that_leave_otherwise_leave_the_recipe() {
    let run = Trace::read("exit-run.csv");
    let model = model();
    let mut day = Day::new(model.ride(), None);
    day.feed(&channels(&run), 0.0, 400.0);
    let left = day.events.iter().filter_map(|event| match event {
        FloorEvent::RecipeLeft { what, at, .. } => Some((what, *at)),
        _ => None,
    });
    let left: Vec<_> = left.collect();
    assert!(
        left.iter()
            .all(|(what, _)| matches!(what, Departure::Exit { .. }))
    );
    assert!(
        left.iter()
            .any(|(_, when)| when.seconds_since(at(0.0)) > 200.0),
        "{left:?}"
    );
}
