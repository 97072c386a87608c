//! What a report counts and works out, what it asks somebody to look at, and what it refuses to say.

use inkdwell_daemon::journal::Batch;
use inkdwell_daemon::record::{
    Calibrated, HoldJoined, HoldOpened, HoldSettled, Judged, Record, Settled, SignedOff,
};
use inkdwell_daemon::report::Known;

use crate::shop::{commit, day, judged, open, opened, pass, run, told, utc};

fn unseen() -> Judged {
    Judged {
        evidence: "none".to_owned(),
        cure: None,
        harms: Vec::new(),
        ..judged("unproven", 0.0, 0.0)
    }
}

#[test]
fn evidence_holds_and_money_are_counted() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let noon = utc("2026-03-02T12:00:00Z");
    commit(&mut writer, noon, opened(1, "Night market"));
    let verdicts = [
        Some(judged("cured", 170.0, 2.0)),
        Some(judged("under-cured", 150.0, 0.4)),
        Some(judged("overheated", 210.0, 9.0)),
        Some(unseen()),
        None,
    ];
    for (number, judged) in (1..).zip(verdicts) {
        let start = noon.plus_seconds(60.0 * number as f64);
        let batch = judged.as_ref().map(|_| 1);
        commit(
            &mut writer,
            start.plus_seconds(40.0),
            pass(number, start, batch, judged),
        );
    }
    for (hold, pass, verdict) in [(1, 2, "under-cured"), (2, 3, "overheated")] {
        let opened = HoldOpened {
            hold,
            batch: Some(1),
            station: "belt-1".to_owned(),
            verdict: verdict.to_owned(),
            evidence: "measured".to_owned(),
            harm: None,
        };
        commit(
            &mut writer,
            noon.plus_seconds(400.0),
            Record::HoldOpened(opened),
        );
        commit(
            &mut writer,
            noon.plus_seconds(400.0),
            Record::HoldJoined(HoldJoined { hold, pass }),
        );
    }
    let settled = HoldSettled {
        hold: 2,
        outcome: Settled::Scrapped,
        by: "Jon".to_owned(),
        why: "brown".to_owned(),
    };
    commit(
        &mut writer,
        noon.plus_seconds(500.0),
        Record::HoldSettled(settled),
    );
    let reader = readers.reader().unwrap();
    let report = told(&reader, &day("2026-03-02"));
    let batch = &report.batches[0];
    assert_eq!((report.prints, report.without_batch), (4, 1));
    let proof = &batch.proof;
    assert_eq!(
        (proof.measured, proof.measured_good, proof.unseen),
        (3, 1, 1)
    );
    // One good of three: 1 - 0.95^(1/3), from the binomial law by hand: P(1 or more of 3) = 1 - (1 - p)³ = 0.05.
    let share = proof.good_at_least.known().unwrap();
    assert!(
        (share - (1.0 - 0.95_f64.powf(1.0 / 3.0))).abs() < 1e-9,
        "{share}"
    );
    assert!(
        proof.words.contains("1 print went unseen"),
        "{}",
        proof.words
    );
    assert_eq!(
        report.answer.sentence,
        "1 of 5 prints proved good; 1 scorched, 1 under-cured, 1 unproven, 1 without a batch, \
                                        and 1 hold is not settled (1 print to pull)."
    );
    // One blank at 6.50.
    assert_eq!(
        (report.scrapped.prints, report.scrapped.money.known()),
        (1, Some(&6.5))
    );
    assert_eq!(report.tomorrow[0].kind, "holds");
    let settled = batch.holds[1].settled.as_ref().unwrap();
    assert_eq!(
        (settled.outcome, settled.decided.by.as_str()),
        (Settled::Scrapped, "Jon")
    );
    // What nobody saw has no figures, and none is made up for it.
    let unseen = &batch.prints[3];
    assert_eq!(
        (unseen.peak_c, unseen.cure, unseen.evidence.as_str()),
        (None, None, "none")
    );
}

/// A steady process: quantiles of the normal law in an order without a pattern; the same climbing; and few.
#[test]
fn no_statistic_is_shown_where_its_conditions_fail() {
    let begun = utc("2026-03-02T06:00:00Z");
    let of = |peaks: &[f64]| {
        let folder = tempfile::tempdir().unwrap();
        let (mut writer, readers) = open(folder.path());
        run(&mut writer, begun, peaks);
        let reader = readers.reader().unwrap();
        told(&reader, &day("2026-03-02")).batches[0].figures[0].clone()
    };
    // Half normal quantiles to three digits, from a printed table of z: shares 1/82, 3/82, 5/82 ...
    let z = [
        2.251, 1.792, 1.547, 1.369, 1.227, 1.106, 1.000, 0.903, 0.815, 0.733, 0.655, 0.581, 0.509,
        0.440, 0.373, 0.308, 0.244, 0.183, 0.122, 0.061,
    ];
    let all: Vec<f64> = z
        .iter()
        .map(|z| -z)
        .chain([0.0])
        .chain(z.iter().rev().copied())
        .collect();
    let steady: Vec<f64> = (0..41).map(|place| 170.0 + all[place * 17 % 41]).collect();
    let figures = of(&steady);
    let chart = figures.chart.known().unwrap();
    assert!(chart.stable, "{chart:?}");
    let capability = figures.capability.known().unwrap();
    // ln dose = ln 2 + 0.2 (peak - 165): mean ln 2 + 1, deviation 0.2 times that of the quantiles, which is near 1.
    let expected = (2.0_f64.ln() + 1.0) / (3.0 * 0.2);
    assert!(
        (capability.cpk.best / expected - 1.0).abs() < 0.05,
        "{capability:?}"
    );
    assert!(capability.cpk.low < capability.cpk.best && capability.cpk.best < capability.cpk.high);
    assert!(figures.trend.known().is_none());

    let climbing: Vec<f64> = (0..41)
        .map(|place| 165.0 + 0.3 * f64::from(place))
        .collect();
    let figures = of(&climbing);
    assert!(!figures.chart.known().unwrap().stable);
    let Known::Not { unknown } = &figures.capability else {
        panic!("{figures:?}");
    };
    assert!(unknown.contains("not stable"), "{unknown}");
    // 0.3 °C from print to print, a print a minute.
    let trend = figures.trend.known().unwrap();
    assert!(
        (trend.over_all_c - 12.0).abs() < 1e-9 && (trend.c_per_hour - 18.0).abs() < 1e-9,
        "{trend:?}"
    );

    let figures = of(&steady[..9]);
    assert!(figures.chart.known().is_none() && figures.capability.known().is_none());
}

#[test]
fn a_wash_test_that_disagrees_asks_for_a_review() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let begun = utc("2026-03-02T06:00:00Z");
    run(&mut writer, begun, &[168.0, 170.0]);
    let test = |pass: Option<u64>, passed: bool| {
        Record::SignedOff(SignedOff {
            batch: 1,
            pass,
            method: "ISO 105-C06".to_owned(),
            passed,
            result: "grade 2".to_owned(),
            by: "Ada".to_owned(),
        })
    };
    commit(&mut writer, begun.plus_seconds(900.0), test(Some(1), true));
    let reader = readers.reader().unwrap();
    let agreed = told(&reader, &day("2026-03-02")).batches[0]
        .sign_offs
        .clone();
    assert_eq!((agreed.tests.len(), agreed.review.len()), (1, 0));
    commit(&mut writer, begun.plus_seconds(901.0), test(Some(2), false));
    commit(&mut writer, begun.plus_seconds(902.0), test(None, false));
    let reader = readers.reader().unwrap();
    let review = told(&reader, &day("2026-03-02")).batches[0]
        .sign_offs
        .review
        .clone();
    // The second print's best dose is 2 e^(0.2 · 5) = 5.44, its low end nine tenths of that: 4.89, 389 % over 1.
    assert!(
        review[0].contains("print 2, which got 5.4 times") && review[0].contains("at least 389 %"),
        "{review:?}"
    );
    // The weakest of both is the first: 0.9 · 2 e^0.6 = 3.28.
    assert!(review[1].contains("at least 3.28 times"), "{review:?}");
    // A test of a batch that never was is refused.
    let Record::SignedOff(mut other) = test(None, true) else {
        return;
    };
    other.batch = 9;
    let batch = Batch {
        records: vec![(begun, Record::SignedOff(other))],
        ..Batch::default()
    };
    assert!(writer.commit(&batch).is_err());
}

#[test]
fn a_probe_that_is_due_is_told_of() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let begun = utc("2026-03-02T06:00:00Z");
    let calibrated = Calibrated {
        probe: "film".to_owned(),
        points_c: vec![(160.0, 160.8)],
        uncertainty_c: Some(0.6),
        date: "2025-03-05".to_owned(),
        due: Some("2026-03-05".to_owned()),
        by: "Ada".to_owned(),
    };
    commit(
        &mut writer,
        begun.plus_seconds(-60.0),
        Record::Calibrated(calibrated),
    );
    run(&mut writer, begun, &[170.0]);
    let report = told(&readers.reader().unwrap(), &day("2026-03-02"));
    let calibration = report.probes[0].calibration.known().unwrap();
    assert_eq!(calibration.due_in_days, Some(3));
    let probe = report
        .tomorrow
        .iter()
        .find(|own| own.kind == "probe")
        .unwrap();
    assert_eq!(
        (probe.figure, probe.unit.as_deref()),
        (Some(3.0), Some("days"))
    );
}
