//! Reports gathered from journals whose every record is known: which prints belong to which day, what they say, what they
//! refuse to say, and that whoever meddles with the journal is found out.

use std::path::Path;

use chrono::{NaiveDate, NaiveTime};
use inkdwell_config::library::Library;
use inkdwell_config::shop::Shop;
use inkdwell_config::written::declared;
use inkdwell_daemon::journal::{self, Batch, Reader, Readers, Settings, Writer};
use inkdwell_daemon::record::{
    BatchClosed, BatchOpened, Calibrated, Dose, HarmSeen, HoldJoined, HoldOpened, HoldSettled,
    Judged, Occurred, Occurrence, PassAssigned, PassJudged, Place, Record, Settled, ShopDeclared,
    SignedOff,
};
use inkdwell_daemon::report::{self, Asked, Known, Report, ShopFile, Unsupported, When, gather};
use inkdwell_daemon::time::Micros;
use rusqlite::Connection;

/// A moment in UTC.
fn utc(text: &str) -> Micros {
    let time = chrono::DateTime::parse_from_rfc3339(text).unwrap();
    Micros(time.timestamp_micros())
}

fn open(folder: &Path) -> (Writer, Readers) {
    let settings = Settings {
        keep_free: Some(0),
        ..Settings::default()
    };
    journal::open(folder, settings).unwrap()
}

fn shop() -> ShopFile {
    let text = "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n";
    ShopFile::named(Shop::parse("shop.toml", text).value)
}

/// What is said of a print that peaked at a temperature, with a cure dose of so much and a tenth either way.
fn judged(verdict: &str, peak: f64, cure: f64) -> Judged {
    let dose = |best: f64| Dose {
        low: 0.9 * best,
        best,
        high: 1.1 * best,
    };
    Judged {
        evidence: "measured".to_owned(),
        cut: false,
        samples: 300,
        faults: 0,
        gaps: 0,
        peak_c: peak,
        threshold_c: 160.0,
        time_above_s: 3.0 * cure,
        max_rise_c_per_s: 5.0,
        uncertainty_c: 1.5,
        cure: Some(dose(cure)),
        harms: vec![HarmSeen {
            harm: "scorch".to_owned(),
            dose: dose(0.2),
        }],
        verdict: verdict.to_owned(),
        harm: (verdict == "overheated").then(|| "scorch".to_owned()),
        reasons: Vec::new(),
        remarks: Vec::new(),
    }
}

fn unseen() -> Judged {
    Judged {
        evidence: "none".to_owned(),
        cure: None,
        harms: Vec::new(),
        ..judged("unproven", 0.0, 0.0)
    }
}

fn opened(batch: u64, job: &str) -> Record {
    let library = Library::shipped();
    let (ink, fabric) = (
        library.ink("plastisol-standard").unwrap(),
        library.fabric("cotton-jersey").unwrap(),
    );
    Record::BatchOpened(BatchOpened {
        batch,
        station: "belt-1".to_owned(),
        job: job.to_owned(),
        ink: ink.id.clone(),
        fabric: fabric.id.clone(),
        declared: declared(ink, fabric),
        last_heat: false,
        quantity: None,
        blank_cost: Some(6.5),
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    })
}

fn closed(batch: u64) -> Record {
    let by = "Mara".to_owned();
    Record::BatchClosed(BatchClosed { batch, by })
}

fn pass(number: u64, start: Micros, batch: Option<u64>, judged: Option<Judged>) -> Record {
    Record::PassJudged(PassJudged {
        pass: number,
        station: "belt-1".to_owned(),
        probe: Some("film".to_owned()),
        place: Place::Ride,
        start,
        end: start.plus_seconds(40.0),
        batch,
        print: batch.map(|_| number),
        belt_m_per_min: Some(3.4),
        judged,
    })
}

fn occurred(what: Occurrence) -> Record {
    Record::Occurred(Occurred {
        station: None,
        what,
    })
}

fn commit(writer: &mut Writer, at: Micros, record: Record) {
    let batch = Batch {
        records: vec![(at, record)],
        ..Batch::default()
    };
    writer.commit(&batch).unwrap();
}

fn day(text: &str) -> Asked {
    Asked {
        when: When::Day {
            date: text.parse::<NaiveDate>().unwrap(),
            begins: NaiveTime::MIN,
        },
        ..Asked::default()
    }
}

fn told(reader: &Reader, asked: &Asked) -> Report {
    gather(
        reader,
        Some(&shop()),
        asked,
        None,
        utc("2026-11-01T00:00:00Z"),
    )
    .unwrap()
}

/// A print every minute of a batch, the peaks given.
fn run(writer: &mut Writer, begun: Micros, peaks: &[f64]) {
    commit(writer, begun, opened(1, "Night market"));
    for (number, peak) in (1..).zip(peaks) {
        let start = begun.plus_seconds(60.0 * number as f64);
        // One more degree, a fifth more cure: about what an Arrhenius law gives.
        let cure = 2.0 * (0.2 * (peak - 165.0)).exp();
        commit(
            writer,
            start.plus_seconds(40.0),
            pass(number, start, Some(1), Some(judged("cured", *peak, cure))),
        );
    }
}

/// Summer time ends in Vienna on 2026-10-25 at 1:00 UTC (directive 2000/84/EC): that day has 25 hours, from 22:00 UTC to
/// 23:00 UTC.
#[test]
fn a_print_belongs_to_the_day_that_the_wall_showed() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let times = [
        "2026-10-24T21:59:59Z",
        "2026-10-24T22:00:00Z",
        "2026-10-25T00:30:00Z",
        "2026-10-25T01:30:00Z",
        "2026-10-25T22:59:59Z",
        "2026-10-25T23:00:00Z",
    ];
    let version = "0.1.0".to_owned();
    commit(
        &mut writer,
        utc("2026-10-24T20:00:00Z"),
        occurred(Occurrence::Started { version }),
    );
    commit(
        &mut writer,
        utc("2026-10-24T20:00:01Z"),
        opened(1, "Night market"),
    );
    for (number, time) in (1..).zip(times) {
        let start = utc(time);
        commit(
            &mut writer,
            start,
            pass(number, start, Some(1), Some(judged("cured", 170.0, 2.0))),
        );
    }
    let reader = readers.reader().unwrap();
    let passes = |asked: &Asked| -> Vec<u64> {
        let report = told(&reader, asked);
        let prints = report.batches.iter().flat_map(|batch| &batch.prints);
        prints.map(|print| print.pass).collect()
    };
    assert_eq!(passes(&day("2026-10-24")), [1]);
    assert_eq!(passes(&day("2026-10-25")), [2, 3, 4, 5]);
    assert_eq!(passes(&day("2026-10-26")), [6]);
    // Half past two came twice; the offset tells them apart.
    let report = told(&reader, &day("2026-10-25"));
    let prints = &report.batches[0].prints;
    assert!(prints[1].at.at.starts_with("2026-10-25T02:30:00.000+02:00"));
    assert!(prints[2].at.at.starts_with("2026-10-25T02:30:00.000+01:00"));
    // A shift from 22:00 to 6:00, in a shop whose days begin at six.
    let shift = Asked {
        when: When::Day {
            date: "2026-10-24".parse().unwrap(),
            begins: NaiveTime::from_hms_opt(6, 0, 0).unwrap(),
        },
        ..Asked::default()
    };
    assert_eq!(passes(&shift), [1, 2, 3, 4]);
}

/// The clock on the wall was a day ahead until somebody set it: people go by what it showed.
#[test]
fn a_clock_that_was_set_counts_as_it_stood() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let noon = utc("2026-03-02T12:00:00Z");
    let version = "0.1.0".to_owned();
    commit(&mut writer, noon, occurred(Occurrence::Started { version }));
    commit(
        &mut writer,
        noon.plus_seconds(1.0),
        opened(1, "Night market"),
    );
    let before = noon.plus_seconds(60.0);
    commit(
        &mut writer,
        before,
        pass(1, before, Some(1), Some(judged("cured", 170.0, 2.0))),
    );
    let ahead_us = -86_400_000_000;
    commit(
        &mut writer,
        noon.plus_seconds(120.0),
        occurred(Occurrence::ClockStepped { ahead_us }),
    );
    let after = noon.plus_seconds(180.0);
    commit(
        &mut writer,
        after,
        pass(2, after, Some(1), Some(judged("cured", 170.0, 2.0))),
    );
    let reader = readers.reader().unwrap();
    let of = |text: &str| -> Vec<u64> {
        let report = told(&reader, &day(text));
        report
            .batches
            .iter()
            .flat_map(|own| own.prints.iter().map(|print| print.pass))
            .collect()
    };
    assert_eq!((of("2026-03-02"), of("2026-03-01")), (vec![1], vec![2]));
    assert_eq!(
        told(&reader, &day("2026-03-02")).totals.clock_steps
            + told(&reader, &day("2026-03-01")).totals.clock_steps,
        1
    );
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

/// A report stays true when the journal grows: it is held against the records up to its own head.
#[test]
fn what_comes_later_changes_no_report() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let begun = utc("2026-03-02T06:00:00Z");
    run(&mut writer, begun, &[170.0, 171.0]);
    let start = begun.plus_seconds(600.0);
    commit(&mut writer, start, pass(3, start, None, None));
    let reader = readers.reader().unwrap();
    let report = told(&reader, &day("2026-03-02"));
    let later = begun.plus_seconds(700.0);
    commit(&mut writer, later, closed(1));
    let assigned = PassAssigned {
        pass: 3,
        batch: 1,
        station: "belt-1".to_owned(),
        print: 3,
        by: "Mara".to_owned(),
        judged: judged("cured", 169.0, 2.0),
    };
    commit(&mut writer, later, Record::PassAssigned(assigned));
    let reader = readers.reader().unwrap();
    assert_eq!(
        report::check(&reader, Some(&shop()), &report).unwrap(),
        None
    );
    let anew = told(&reader, &day("2026-03-02"));
    assert_eq!((report.prints, report.without_batch), (2, 1));
    assert_eq!((anew.prints, anew.without_batch), (3, 0));
    assert_ne!(report.journal.fingerprint, anew.journal.fingerprint);
    let batch = Asked {
        when: When::Batch(1),
        ..Asked::default()
    };
    assert_eq!(told(&reader, &batch).prints, 3);
}

/// A shop that moved: the file that held then says where it was, and what the journal does not keep nobody knows.
#[test]
fn the_shop_file_that_held_then_is_the_one_that_counts() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let gathered =
        |reader: &Reader, asked: &Asked| gather(reader, None, asked, None, Micros(0)).unwrap();
    let file = |name: &str, zone: &str| {
        let text = format!("[shop]\nname = \"{name}\"\ntimezone = \"{zone}\"\n");
        Record::ShopDeclared(ShopDeclared::of(&text))
    };
    let begun = utc("2026-03-02T06:00:00Z");
    run(&mut writer, begun, &[170.0, 171.0]);
    let before = gathered(&readers.reader().unwrap(), &day("2026-03-02"));
    assert_eq!(before.shop.timezone, "UTC");
    assert!(before.shop.name.known().is_none() && before.shop.file_record.is_none());
    assert!(
        before.remarks[0].contains("keeps no shop file"),
        "{:?}",
        before.remarks
    );

    let morning = begun.plus_seconds(3600.0);
    commit(
        &mut writer,
        morning,
        file("Lantern Yard Print", "Europe/Vienna"),
    );
    let vienna = gathered(&readers.reader().unwrap(), &day("2026-03-02"));
    assert_eq!(
        (vienna.shop.timezone.as_str(), vienna.shop.file_record),
        ("Europe/Vienna", Some(4))
    );
    // 2026-03-02 in Vienna begins an hour before it does by UTC (directive 2000/84/EC: winter time is UTC+1).
    assert_eq!(
        vienna.period.from.as_deref(),
        Some("2026-03-02T00:00:00.000000+01:00")
    );
    assert_eq!(vienna.remarks, Vec::<String>::new());

    let later = utc("2026-06-01T12:00:00Z");
    commit(
        &mut writer,
        later,
        file("Lantern Lake Print", "America/Chicago"),
    );
    commit(
        &mut writer,
        later,
        pass(
            3,
            later.plus_seconds(60.0),
            Some(1),
            Some(judged("cured", 170.0, 2.0)),
        ),
    );
    let reader = readers.reader().unwrap();
    let summer = gathered(&reader, &day("2026-06-01"));
    assert_eq!(summer.shop.timezone, "America/Chicago");
    assert!(
        summer.remarks[0].contains("The shop file was changed: 2 held"),
        "{:?}",
        summer.remarks
    );
    // The day in March is told as it was, and each report is still supported, that without a shop file too.
    assert_eq!(
        gathered(&reader, &day("2026-03-02")).shop.name,
        vienna.shop.name
    );
    for report in [&before, &vienna, &summer] {
        assert_eq!(report::check(&reader, None, report).unwrap(), None);
        // A file that somebody names has no say in it.
        if report.shop.file_record.is_some() {
            assert_eq!(report::check(&reader, Some(&shop()), report).unwrap(), None);
        }
    }
    // Another text in that record is found out.
    Connection::open(readers.file())
        .unwrap()
        .execute_batch(
            "UPDATE record SET body = replace(body, 'Vienna', 'London') WHERE number = 4",
        )
        .unwrap();
    let reader = readers.reader().unwrap();
    assert!(report::check(&reader, None, &vienna).unwrap().is_some());
    assert!(!reader.verify(None, |_| {}).unwrap().is_sound());
}

/// The first figure that a meddled journal does not support.
fn unsupported_by(sql: &str) -> Option<Unsupported> {
    let folder = tempfile::tempdir().unwrap();
    let file = {
        let (mut writer, readers) = open(folder.path());
        run(
            &mut writer,
            utc("2026-03-02T06:00:00Z"),
            &[170.0, 171.0, 172.0],
        );
        readers.file().to_owned()
    };
    let report = told(
        &Readers::at(&file).unwrap().reader().unwrap(),
        &day("2026-03-02"),
    );
    Connection::open(&file).unwrap().execute_batch(sql).unwrap();
    let reader = Readers::at(&file).unwrap().reader().unwrap();
    // The chain says so as well.
    let head = report.journal.head.parse().unwrap();
    let sound = reader.verify(Some(head), |_| {}).unwrap().is_sound();
    let found = report::check(&reader, Some(&shop()), &report).unwrap();
    assert_eq!(sound, found.is_none(), "{sql}");
    found
}

#[test]
fn whoever_meddles_with_a_verdict_is_found_out() {
    assert_eq!(unsupported_by(""), None);
    // The second record is the first print's.
    let verdict =
        "UPDATE record SET body = replace(body, '\"cured\"', '\"curee\"') WHERE number = 3";
    let found = unsupported_by(verdict).unwrap();
    assert_eq!(found.path, "batches[0].prints[1].verdict");
    assert_eq!(
        (found.said, found.journal),
        ("cured".into(), "curee".into())
    );
    let deleted = "DELETE FROM record WHERE number = 3; DELETE FROM pass WHERE number = 2;";
    let found = unsupported_by(deleted).unwrap();
    assert!(found.path.starts_with("batches[0].prints[1]."), "{found:?}");
    let reordered = "UPDATE record SET number = 99 WHERE number = 3; UPDATE record SET number = 3 WHERE number = 4;
                     UPDATE record SET number = 4 WHERE number = 99;
                     UPDATE pass SET record = 7 - record WHERE number IN (2, 3);";
    let found = unsupported_by(reordered).unwrap();
    assert_eq!(found.path, "batches[0].prints[1].record");
}

#[test]
fn a_journal_that_was_put_in_its_place_is_found_out() {
    let begun = utc("2026-03-02T06:00:00Z");
    let of = |peaks: &[f64]| {
        let folder = tempfile::tempdir().unwrap();
        let (mut writer, readers) = open(folder.path());
        run(&mut writer, begun, peaks);
        (folder, readers.reader().unwrap())
    };
    let (_one, reader) = of(&[170.0, 171.0]);
    let report = told(&reader, &day("2026-03-02"));
    // As many records, and another print among them.
    let (_other, replaced) = of(&[170.0, 171.5]);
    let head = report.journal.head.parse().unwrap();
    assert!(!replaced.verify(Some(head), |_| {}).unwrap().is_sound());
    let found = report::check(&replaced, Some(&shop()), &report)
        .unwrap()
        .unwrap();
    assert_eq!(found.path, "batches[0].prints[1].cure.best");
    // One that ends sooner has not even the record.
    let (_short, shorter) = of(&[170.0]);
    let error = report::check(&shorter, Some(&shop()), &report).unwrap_err();
    assert!(error.to_string().contains("has no record 3"), "{error}");
}

#[test]
fn a_meddled_report_is_found_out_wherever_it_was_changed() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    run(&mut writer, utc("2026-03-02T06:00:00Z"), &[170.0, 171.0]);
    let reader = readers.reader().unwrap();
    let report = told(&reader, &day("2026-03-02"));
    let check = |report: &Report| {
        let found = report::check(&reader, Some(&shop()), report).unwrap();
        found.map(|found| found.path)
    };
    assert_eq!(check(&report), None);
    // Neither when it was made nor by which version is a figure of the journal.
    let mut later = report.clone();
    later.made.at = "2027-01-01T00:00:00.000+01:00".to_owned();
    later.program = "9.9.9".to_owned();
    assert_eq!(check(&later), None);
    let mut own = report.clone();
    own.answer.sentence = "All is well.".to_owned();
    assert_eq!(check(&own).as_deref(), Some("answer.sentence"));
    let mut own = report.clone();
    own.batches[0].proof.measured_good = 1;
    assert_eq!(
        check(&own).as_deref(),
        Some("batches[0].proof.measured_good")
    );
    let mut own = report.clone();
    own.journal.fingerprint = "0".repeat(64);
    assert_eq!(check(&own).as_deref(), Some("journal.fingerprint"));
    let mut own = report.clone();
    own.period.title = "Another day".to_owned();
    assert_eq!(check(&own).as_deref(), Some("journal.fingerprint"));
}

#[test]
fn the_data_fits_its_schema_and_comes_back_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    run(&mut writer, utc("2026-03-02T06:00:00Z"), &[170.0, 171.0]);
    let report = told(&readers.reader().unwrap(), &day("2026-03-02"));
    let value = serde_json::to_value(&report).unwrap();
    let schema = serde_json::to_value(report::schema()).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let problems: Vec<String> = validator
        .iter_errors(&value)
        .map(|error| error.to_string())
        .collect();
    assert_eq!(problems, Vec::<String>::new());
    let text = serde_json::to_string(&report).unwrap();
    let back: Report = serde_json::from_str(&text).unwrap();
    assert_eq!(back, report);
    let page = report::html::page(&report).unwrap();
    let data = report::html::data_of(&page).unwrap();
    assert_eq!(serde_json::from_str::<Report>(&data).unwrap(), report);
}

/// What people type stands in the page as what they typed.
#[test]
fn nothing_that_was_typed_becomes_part_of_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let begun = utc("2026-03-02T06:00:00Z");
    let nasty = "</template><script>alert(1)</script>&lt;\"'";
    commit(&mut writer, begun, opened(1, nasty));
    commit(
        &mut writer,
        begun,
        pass(1, begun, Some(1), Some(judged("cured", 170.0, 2.0))),
    );
    let report = told(&readers.reader().unwrap(), &day("2026-03-02"));
    let page = report::html::page(&report).unwrap();
    assert!(!page.contains("<script") && page.matches("</template>").count() == 1);
    let data = report::html::data_of(&page).unwrap();
    let back: Report = serde_json::from_str(&data).unwrap();
    assert_eq!(back.batches[0].job, nasty);
    assert!(
        report::pdf::document(&report)
            .unwrap()
            .starts_with(b"%PDF-")
    );
}
