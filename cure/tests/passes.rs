//! Where passes begin and end, which samples count, and what gaps and faults do.
//!
//! The traces are straight lines, so that every expected figure follows by hand from their corners.

mod common;

use common::{assert_close, doubt, events, hold, ink, judge, judge_one, lines, plan, plan_for};
use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::Seconds;
use inkdwell_cure::engine::{Engine, EventKind};
use inkdwell_cure::judged::Verdict;
use inkdwell_cure::reason::Reason;
use inkdwell_cure::remark::Remark;

/// 25 °C to 170 °C in 58 s (2.5 °C/s), 20 s there, back in 58 s.
const PLAIN: [(f64, f64); 6] = [
    (0.0, 25.0),
    (10.0, 25.0),
    (68.0, 170.0),
    (88.0, 170.0),
    (146.0, 25.0),
    (160.0, 25.0),
];

#[test]
fn a_pass_lies_between_its_crossings_of_wake() {
    let pass = judge_one(plan(0.0), &lines(&PLAIN, 0.25));
    // 45 °C is 20 °C above 25 °C: 8 s into the rise, 8 s before the end of the fall.
    assert_close(pass.start.0, 18.0, 1e-9);
    assert_close(pass.end.0, 138.0, 1e-9);
    // 160 °C is crossed 4 s before and after the soak.
    assert_close(pass.time_above.0, 28.0, 1e-9);
    assert_close(pass.cure.unwrap().best, 28.0 / 5.0, 1e-9);
    assert_close(pass.max_rise, 2.5, 1e-9);
    assert_close(pass.peak.0, 170.0, 0.0);
    assert_eq!(
        (pass.samples, pass.faults, pass.gaps, pass.cut),
        (481, 0, 0, false)
    );
    assert_eq!((pass.index, pass.verdict), (1, Verdict::Cured));
    assert!(pass.reasons.is_empty());
}

#[test]
fn uncertainty_shifts_the_trace_both_ways() {
    let pass = judge_one(plan(5.0), &lines(&PLAIN, 0.25));
    // At 165 °C and 155 °C read at T: 2 s nearer the soak on each side, and 2 s farther.
    let cure = pass.cure.unwrap();
    assert_close(cure.low * 5.0, 24.0, 1e-9);
    assert_close(cure.high * 5.0, 32.0, 1e-9);
    assert_close(pass.uncertainty.0, 5.0, 0.0);
}

#[test]
fn short_dips_are_bridged_and_long_ones_end_the_pass() {
    // Down to 35 °C and up again at 10 °C/s: below 45 °C for 2 s.
    let mut corners = vec![
        (0.0, 25.0),
        (10.0, 125.0),
        (20.0, 125.0),
        (29.0, 35.0),
        (38.0, 125.0),
    ];
    corners.extend([(50.0, 125.0), (60.0, 25.0), (70.0, 25.0)]);
    let bridged = judge_one(plan(0.0), &lines(&corners, 0.1));
    assert_close(bridged.start.0, 2.0, 1e-9);
    assert_close(bridged.end.0, 58.0, 1e-9);
    assert_close(bridged.samples as f64, 561.0, 0.0);
    // Down to 30 °C: below for exactly 3 s, which is not shorter than 3 s.
    corners[3] = (29.5, 30.0);
    corners[4] = (39.0, 125.0);
    let parted = judge(plan(0.0), &lines(&corners, 0.1));
    assert_eq!(parted.len(), 2);
    assert_close(parted[0].end.0, 28.0, 1e-9);
    assert_close(parted[1].start.0, 31.0, 1e-9);
    assert_eq!(parted[1].index, 2);
}

#[test]
fn what_is_shorter_than_ten_seconds_is_no_pass() {
    let corners = [(0.0, 25.0), (5.0, 85.0), (10.0, 25.0), (30.0, 25.0)];
    let events = events(plan(0.0), &lines(&corners, 0.1));
    assert_eq!(events.len(), 2);
    assert!(matches!(events[1].kind, EventKind::PassDropped { .. }));
}

#[test]
fn a_trace_that_begins_or_ends_inside_a_pass_proves_nothing() {
    let trace = lines(&PLAIN, 0.25);
    let late: Vec<_> = trace
        .iter()
        .copied()
        .filter(|sample| sample.0 >= 30.0)
        .collect();
    let begins = judge_one(plan(0.0), &late);
    assert!(begins.cut);
    assert_eq!(
        (begins.start, begins.verdict),
        (Seconds(30.0), Verdict::Unproven)
    );
    assert!(matches!(
        begins.reasons[..],
        [Reason::BeginsTooLate { gap: None, .. }]
    ));
    let early: Vec<_> = trace
        .iter()
        .copied()
        .filter(|sample| sample.0 <= 100.0)
        .collect();
    let ends = judge_one(plan(0.0), &early);
    assert_eq!(
        (ends.end, ends.cut, ends.verdict),
        (Seconds(100.0), true, Verdict::Unproven)
    );
    assert!(matches!(
        ends.reasons[..],
        [Reason::EndsTooSoon { gap: None, .. }]
    ));
}

#[test]
fn harm_that_is_done_stands_in_a_cut_pass() {
    let corners = [(0.0, 25.0), (50.0, 210.0), (90.0, 210.0)];
    let pass = judge_one(plan(0.0), &lines(&corners, 0.5));
    assert!(pass.cut);
    assert_eq!(
        (pass.verdict, pass.harm),
        (Verdict::Overheated, Some(Harm::Scorch))
    );
    assert!(matches!(
        pass.reasons[..],
        [Reason::Overheated { .. }, Reason::EndsTooSoon { .. }]
    ));
}

#[test]
fn a_gap_gives_the_low_dose_nothing_and_is_interpolated_for_the_others() {
    let mut trace = lines(&PLAIN, 0.25);
    trace.retain(|sample| !(sample.0 > 70.0 && sample.0 < 80.0));
    let pass = judge_one(plan(0.0), &trace);
    let cure = pass.cure.unwrap();
    assert_eq!(pass.gaps, 1);
    assert_close(cure.low * 5.0, 18.0, 1e-9);
    assert_close(cure.best * 5.0, 28.0, 1e-9);
    assert_close(pass.time_above.0, 28.0, 1e-9);
    // 18 s are proved outside the gap and 5 s are needed: the verdict does not hang on it.
    assert_eq!(pass.verdict, Verdict::Cured);
    assert_eq!(pass.remarks[0], Remark::GapsWithoutWeight { gaps: 1 });
}

#[test]
fn a_verdict_that_hangs_on_a_gap_is_unproven_and_names_it() {
    // 30 s at 200 °C scorch. 25 s are seen and 8 s lie in a gap whose ends are at 190 °C: in a
    // straight line it never reached 200 °C, but nobody saw it.
    let corners = [
        (0.0, 25.0),
        (50.0, 205.0),
        (74.0, 205.0),
        (75.0, 190.0),
        (83.0, 190.0),
        (130.0, 25.0),
    ];
    let mut trace = lines(&corners, 0.25);
    trace.retain(|sample| !(sample.0 > 75.0 && sample.0 < 83.0));
    let pass = judge_one(plan(0.0), &trace);
    assert!(pass.harms[0].dose.high < 1.0);
    assert_eq!(pass.verdict, Verdict::Unproven);
    let [
        Reason::HangsOnGap {
            from,
            lasting,
            gaps,
            ..
        },
    ] = pass.reasons[..]
    else {
        panic!("{:?}", pass.reasons);
    };
    assert_close(from.0, 75.0, 1e-9);
    assert_close(lasting.0, 8.0, 1e-9);
    assert_eq!(gaps, 1);
}

#[test]
fn a_gap_across_wake_cuts_the_pass_there() {
    let mut trace = lines(&PLAIN, 0.25);
    // From 25 °C at 10 s to 75 °C at 30 s nothing is seen; the straight line crosses 45 °C at 18 s.
    trace.retain(|sample| !(sample.0 > 10.0 && sample.0 < 30.0));
    let pass = judge_one(plan(0.0), &trace);
    assert_close(pass.start.0, 18.0, 1e-9);
    assert_eq!(
        (pass.cut, pass.gaps, pass.verdict),
        (true, 1, Verdict::Unproven)
    );
    assert!(matches!(
        pass.reasons[..],
        [Reason::BeginsTooLate {
            gap: Some(Seconds(20.0)),
            ..
        }]
    ));
}

#[test]
fn bad_samples_are_dropped_and_counted() {
    let mut trace = lines(&PLAIN, 0.25);
    let good = judge_one(plan(0.0), &trace);
    for bad in [f64::NAN, 601.0, -41.0, 300.0, 20.0] {
        let place = trace.iter().position(|sample| sample.0 > 75.0).unwrap();
        trace.insert(place, (75.1, bad));
        let pass = judge_one(plan(0.0), &trace);
        assert_eq!(pass.faults, 1, "{bad}");
        assert_eq!(
            (pass.cure, pass.samples),
            (good.cure, good.samples),
            "{bad}"
        );
        trace.remove(place);
    }
}

#[test]
fn faults_outside_a_pass_are_not_its_own() {
    let mut trace = lines(&PLAIN, 0.25);
    trace.insert(1, (0.1, f64::NAN));
    trace.push((161.0, f64::NAN));
    assert_eq!(judge_one(plan(0.0), &trace).faults, 0);
}

#[test]
fn a_real_step_ends_the_run_of_bad_samples_by_itself() {
    // From 30 °C to 120 °C at once: 90 °C are believed after 0.6 s.
    let mut trace = lines(&[(0.0, 30.0), (10.0, 30.0)], 0.1);
    trace.extend(lines(
        &[(10.1, 120.0), (40.0, 120.0), (70.0, 30.0), (80.0, 30.0)],
        0.1,
    ));
    let pass = judge_one(plan(0.0), &trace);
    assert_eq!(
        pass.faults, 5,
        "10.1 s to 10.5 s are bad; the sixth, 0.6 s after, is good"
    );
}

#[test]
fn at_the_beginning_the_third_sample_decides_between_two() {
    let good = lines(&PLAIN, 0.25);
    let mut first_is_bad = good.clone();
    first_is_bad[0].1 = 300.0;
    let pass = judge_one(plan(0.0), &first_is_bad);
    assert_eq!((pass.cut, pass.faults), (false, 0));
    assert_close(pass.start.0, 18.0, 1e-9);
    let mut second_is_bad = good;
    second_is_bad[1].1 = 300.0;
    let pass = judge_one(plan(0.0), &second_is_bad);
    assert_eq!((pass.cut, pass.faults), (false, 0));
}

#[test]
fn rows_with_equal_times_are_one_sample() {
    let mut trace = Vec::new();
    for (time, celsius) in lines(&PLAIN, 1.0) {
        trace.extend([(time, celsius - 1.0), (time, celsius + 1.0)]);
    }
    let merged = judge_one(plan(0.0), &trace);
    let plain = judge_one(plan(0.0), &lines(&PLAIN, 1.0));
    assert_eq!(merged.samples, plain.samples);
    assert_close(merged.cure.unwrap().best, plain.cure.unwrap().best, 1e-9);
    assert!(matches!(merged.remarks[0], Remark::EqualTimes { .. }));
}

#[test]
fn a_slow_logger_is_told_of_the_option() {
    let pass = judge_one(plan(0.0), &lines(&PLAIN, 6.0));
    let slow = pass
        .remarks
        .iter()
        .find(|remark| matches!(remark, Remark::SlowLogger { .. }));
    assert!(slow.is_some(), "{:?}", pass.remarks);
}

#[test]
fn scorch_is_judged_on_the_cloth_and_dye_migration_under_the_ink() {
    let ink = ink(160.0, hold(160.0, 5.0));
    let limits = [
        (Harm::DyeMigration, hold(165.0, 100.0)),
        (Harm::Scorch, hold(165.0, 100.0)),
    ];
    let mut engine = Engine::new();
    let ride = engine.add_channel(plan_for(&ink, &common::fabric(&limits), 0.0));
    let cloth = engine.add_cloth(ride, "cloth_c", doubt(0.0));
    let mut judged = Vec::new();
    let mut note = |event: inkdwell_cure::engine::Event| judged.push(event);
    for (time, celsius) in lines(&PLAIN, 0.25) {
        let here = inkdwell_config::quantity::Celsius;
        engine.feed_cloth(cloth, Seconds(time), Some(here(celsius + 5.0)));
        engine.feed(ride, Seconds(time), Some(here(celsius)), &mut note);
    }
    engine.finish(&mut note);
    let passes = common::passes_of(judged);
    let doses: Vec<f64> = passes[0]
        .harms
        .iter()
        .map(|harm| harm.dose.best * 100.0)
        .collect();
    // The film is above 165 °C for 20 s + 2·2 s; the cloth, 5 °C hotter, for 20 s + 2·4 s.
    assert_close(doses[0], 24.0, 1e-9);
    assert_close(doses[1], 28.0, 1e-9);
    assert!(passes[0].remarks.is_empty(), "{:?}", passes[0].remarks);
}

#[test]
fn without_a_cloth_channel_a_remark_says_what_is_not_seen() {
    let pass = judge_one(plan(0.0), &lines(&PLAIN, 0.25));
    assert_eq!(
        pass.remarks,
        [Remark::ClothNotSeen {
            harms: vec![Harm::Scorch]
        }]
    );
}
