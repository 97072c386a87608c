//! A print belongs to the day that the clock on the wall showed, whatever was done to that clock.

use chrono::NaiveTime;
use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::report::{Asked, When};

use crate::shop::{commit, day, judged, occurred, open, opened, pass, told, utc};

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
