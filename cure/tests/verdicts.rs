//! Guarded acceptance: the limit must lie outside the whole band of uncertainty.
//!
//! JCGM 106:2012, 8.3.2 (clause from memory), accepts only what is measured at least a guard band
//! w = U inside a limit, so that the chance of a wrong acceptance stays below 2.3 % for a normal
//! distribution. Here the quantity is a temperature held for the time that the law asks, so that the
//! rule can be read off in °C.

mod common;

use common::{equivalents, fabric, hold, ink, judge_one, lines, plan_for};
use inkdwell_config::display::Units;
use inkdwell_config::fabric::Harm;
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::plan::{ChannelPlan, Watch};
use inkdwell_cure::reason::Reason;

const U: f64 = 2.0;

/// A print that soaks for 60 s at `celsius`, with an ink that wants 30 s at 160 °C on a cloth that
/// takes 30 s at 200 °C.
fn soaked(celsius: f64) -> inkdwell_cure::judged::JudgedPass {
    let ink = ink(160.0, hold(160.0, 30.0));
    let fabric = fabric(&[(Harm::Scorch, hold(200.0, 30.0))]);
    let corners = [
        (0.0, 25.0),
        (60.0, celsius),
        (120.0, celsius),
        (180.0, 25.0),
        (190.0, 25.0),
    ];
    judge_one(plan_for(&ink, &fabric, U), &lines(&corners, 0.5))
}

#[test]
fn acceptance_is_guarded_by_u_on_both_sides() {
    for (celsius, expected) in [
        (157.9, Verdict::UnderCured),
        (158.1, Verdict::Unproven),
        (160.0, Verdict::Unproven),
        (161.9, Verdict::Unproven),
        (162.1, Verdict::Cured),
        (197.9, Verdict::Cured),
        (198.1, Verdict::Unproven),
        (201.9, Verdict::Unproven),
        (202.1, Verdict::Overheated),
    ] {
        assert_eq!(soaked(celsius).verdict, expected, "at {celsius} °C");
    }
}

#[test]
fn reasons_say_by_how_much_to_move() {
    let cool = soaked(160.0);
    let [Reason::CureWithinUncertainty { remedy, .. }] = cool.reasons[..] else {
        panic!("{:?}", cool.reasons);
    };
    // 2 °C hotter brings the whole soak to 160 °C at T - U; the time in bins of a degree rounds it.
    let shift = remedy.shift.unwrap().0;
    assert!((1.0..=2.6).contains(&shift), "{shift}");
    let hot = soaked(202.1);
    let [Reason::Overheated { remedy, .. }] = hot.reasons[..] else {
        panic!("{:?}", hot.reasons);
    };
    // 202.1 + 2 must come below 200.
    let shift = remedy.shift.unwrap().0;
    assert!((3.5..=5.0).contains(&shift), "{shift}");
}

#[test]
fn a_sentence_gives_the_figure_and_the_remedy() {
    let law = equivalents(&[(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)]);
    let corners = [
        (0.0, 25.0),
        (60.0, 161.0),
        (72.0, 161.0),
        (140.0, 25.0),
        (150.0, 25.0),
    ];
    let plan = plan_for(&ink(160.0, law), &fabric(&[]), 1.0);
    let pass = judge_one(plan, &lines(&corners, 0.5));
    assert_eq!(pass.verdict, Verdict::UnderCured);
    let metric = pass.reasons[0].sentence(Units::Metric);
    let start = "under-cured: 13 s above 160 °C where 90 s are needed";
    assert!(metric.starts_with(start), "{metric}");
    assert!(
        metric.contains("slow the belt or raise the chamber"),
        "{metric}"
    );
    let us = pass.reasons[0].sentence(Units::Us);
    assert!(
        us.starts_with("under-cured: 13 s above 320 °F where 90 s are needed"),
        "{us}"
    );
}

#[test]
fn when_both_hold_the_print_is_overheated_and_both_are_named() {
    let ink = ink(190.0, hold(190.0, 300.0));
    let harms = [
        (Harm::DyeMigration, hold(140.0, 40.0)),
        (Harm::Melt, hold(150.0, 10.0)),
    ];
    let corners = [
        (0.0, 25.0),
        (60.0, 170.0),
        (120.0, 170.0),
        (180.0, 25.0),
        (190.0, 25.0),
    ];
    let plan = plan_for(&ink, &fabric(&harms), 1.0);
    let pass = judge_one(plan, &lines(&corners, 0.5));
    // Melt has the larger low dose: about 76 s of 10 s against 85 s of 40 s.
    assert_eq!(
        (pass.verdict, pass.harm),
        (Verdict::Overheated, Some(Harm::Melt))
    );
    let named: Vec<bool> = pass
        .reasons
        .iter()
        .map(|reason| matches!(reason, Reason::Overheated { .. }))
        .collect();
    assert_eq!(named, [true, true, false, false]);
    assert!(matches!(
        pass.reasons[2..],
        [Reason::UnderCured { .. }, Reason::Conflict]
    ));
}

fn flash_plan(watch: Watch) -> ChannelPlan {
    let ink = ink(160.0, hold(160.0, 5.0));
    let fabric = fabric(&[(Harm::Scorch, hold(200.0, 3.0))]);
    ChannelPlan {
        watch,
        ..plan_for(&ink, &fabric, U)
    }
}

/// Heatings to the given peaks from a platen at 60 °C, 10 s up and 15 s down.
fn flashes(peaks: &[f64]) -> Vec<(f64, f64)> {
    let mut corners = vec![(0.0, 60.0), (5.0, 60.0)];
    for peak in peaks {
        let start = corners[corners.len() - 1].0;
        corners.extend([
            (start + 10.0, *peak),
            (start + 25.0, 60.0),
            (start + 30.0, 60.0),
        ]);
    }
    lines(&corners, 0.1)
}

/// Common practice, no source: standard plastisol gels at 104 to 121 °C at its surface.
#[test]
fn a_flash_is_judged_by_its_peak_against_the_gel_window() {
    let peaks = [101.9, 102.1, 105.9, 106.1, 118.9, 119.1, 122.9, 123.1];
    let verdicts: Vec<Verdict> = common::judge(flash_plan(Watch::FlashGel), &flashes(&peaks))
        .iter()
        .map(|pass| pass.verdict)
        .collect();
    use Verdict::{Gelled, OverFlashed, UnderFlashed, Unproven};
    let expected = [
        UnderFlashed,
        Unproven,
        Unproven,
        Gelled,
        Gelled,
        Unproven,
        Unproven,
        OverFlashed,
    ];
    assert_eq!(verdicts, expected);
}

#[test]
fn a_heating_runs_from_trough_to_trough() {
    let passes = common::judge(flash_plan(Watch::FlashGel), &flashes(&[112.0, 113.0]));
    assert_eq!(passes.len(), 2);
    common::assert_close(passes[0].start.0, 5.0, 0.11);
    common::assert_close(passes[0].end.0, 35.0, 0.11);
    common::assert_close(passes[1].start.0, 35.0, 0.11);
    assert_eq!(passes[0].threshold.0, 104.0);
    assert!(passes[0].cure.is_none());
    assert!(
        passes
            .iter()
            .all(|pass| !pass.cut && pass.reasons.is_empty())
    );
}

#[test]
fn a_rise_of_less_than_fifteen_degrees_is_no_heating_and_a_flicker_no_trough() {
    let small = lines(&[(0.0, 60.0), (5.0, 60.0), (10.0, 74.0), (20.0, 60.0)], 0.1);
    assert!(common::judge(flash_plan(Watch::FlashGel), &small).is_empty());
    let flicker = [
        (0.0, 30.0),
        (10.0, 90.0),
        (11.0, 87.0),
        (16.0, 112.0),
        (40.0, 40.0),
    ];
    let passes = common::judge(flash_plan(Watch::FlashGel), &lines(&flicker, 0.1));
    assert_eq!(passes.len(), 1);
}

#[test]
fn a_flash_that_the_trace_does_not_see_to_its_peak_is_cut() {
    let rising = lines(&[(0.0, 30.0), (5.0, 30.0), (15.0, 112.0)], 0.1);
    let pass = judge_one(flash_plan(Watch::FlashGel), &rising);
    assert!(pass.cut);
    assert_eq!(pass.verdict, Verdict::Unproven);
}

#[test]
fn a_last_heat_under_the_lamp_is_judged_by_the_cure_law() {
    let corners = [
        (0.0, 60.0),
        (10.0, 60.0),
        (30.0, 177.0),
        (40.0, 177.0),
        (70.0, 60.0),
    ];
    let pass = judge_one(flash_plan(Watch::FlashFinal), &lines(&corners, 0.1));
    assert_eq!((pass.verdict, pass.threshold.0), (Verdict::Cured, 160.0));
    assert!(pass.cure.unwrap().low > 2.0);
}

#[test]
fn a_scorched_flash_is_overheated_before_anything_else() {
    let pass = judge_one(flash_plan(Watch::FlashGel), &flashes(&[240.0]));
    assert_eq!(
        (pass.verdict, pass.harm),
        (Verdict::Overheated, Some(Harm::Scorch))
    );
    assert!(matches!(pass.reasons[0], Reason::Overheated { .. }));
    assert!(matches!(pass.reasons[1], Reason::OverFlashed { .. }));
}
