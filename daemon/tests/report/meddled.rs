//! Whoever meddles with the journal, puts another in its place or changes the report is found out.

use inkdwell_daemon::journal::Readers;
use inkdwell_daemon::report::{self, Report, Unsupported};
use rusqlite::Connection;

use crate::shop::{day, open, run, shop, told, utc};

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
