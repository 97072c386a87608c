//! A report stays true though the journal grows and the shop moves.

use inkdwell_daemon::journal::Reader;
use inkdwell_daemon::record::{PassAssigned, Record, ShopDeclared};
use inkdwell_daemon::report::{self, Asked, When, gather};
use inkdwell_daemon::time::Micros;
use rusqlite::Connection;

use crate::shop::{closed, commit, day, judged, open, pass, run, shop, told, utc};

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
