//! Whoever meddles with the file is found out, and the first broken link is named.

use std::path::{Path, PathBuf};

use inkdwell_daemon::journal::{Batch, Broken, Head, Readers, Verification};
use inkdwell_daemon::record::{Occurrence, Record};
use inkdwell_daemon::time::Micros;
use rusqlite::Connection;

use crate::common::{
    at, batch_opened, judged, occurred, open, open_with, packing_at, pass, reading, records,
    tidy_all,
};

const RECORDS: u64 = 12;

/// A journal of twelve records, record 5 a pass, with the writer gone.
fn journal(folder: &Path) -> PathBuf {
    let (mut writer, readers) = open(folder);
    for number in 1..=RECORDS {
        let record = match number {
            1 => batch_opened(1, "belt-1"),
            5 => Record::PassJudged(pass(1, at(40.0), Some(1), Some(judged("cured", None)))),
            _ => occurred(Occurrence::Unseen { prints: number }),
        };
        writer
            .commit(&records(at(number as f64), [record]))
            .unwrap();
    }
    readers.file().to_owned()
}

fn verify(file: &Path) -> Verification {
    let reader = Readers::at(file).unwrap().reader().unwrap();
    reader.verify(None, |_| {}).unwrap()
}

/// The first broken link after some SQL.
fn broken_by(sql: &str) -> Vec<Broken> {
    let folder = tempfile::tempdir().unwrap();
    let file = journal(folder.path());
    assert_eq!(verify(&file).broken, [], "before meddling");
    Connection::open(&file).unwrap().execute_batch(sql).unwrap();
    verify(&file).broken
}

#[test]
fn an_untouched_journal_is_sound() {
    let folder = tempfile::tempdir().unwrap();
    let found = verify(&journal(folder.path()));
    assert!(found.is_sound());
    assert_eq!((found.records, found.head.number.0), (RECORDS, RECORDS));
}

#[test]
fn a_changed_record_is_named() {
    let broken = [Broken::Changed {
        record: 5,
        at: at(5.0),
    }];
    let text =
        "UPDATE record SET body = replace(body, '\"cured\"', '\"unproven\"') WHERE number = 5";
    assert_eq!(broken_by(text), broken);
    let hash = "UPDATE record SET hash = zeroblob(32) WHERE number = 5";
    assert_eq!(broken_by(hash), broken);
    let time = "UPDATE record SET at = at - 3600000000 WHERE number = 5";
    let earlier = at(5.0 - 3600.0);
    assert_eq!(
        broken_by(time),
        [Broken::Changed {
            record: 5,
            at: earlier
        }]
    );
}

#[test]
fn of_two_changed_records_the_first_is_named() {
    let sql = "UPDATE record SET body = '{}' WHERE number IN (4, 9)";
    let (record, at) = (4, at(4.0));
    assert_eq!(broken_by(sql), [Broken::Changed { record, at }]);
}

#[test]
fn missing_records_are_named() {
    assert_eq!(
        broken_by("DELETE FROM record WHERE number IN (7, 8)"),
        [Broken::Missing { first: 7, last: 8 }]
    );
    assert_eq!(
        broken_by("DELETE FROM record WHERE number = 1"),
        [Broken::Missing { first: 1, last: 1 }]
    );
}

#[test]
fn a_gap_that_was_closed_up_is_found() {
    let sql = "DELETE FROM record WHERE number = 7;
               UPDATE record SET number = number - 1 WHERE number > 7;
               UPDATE head SET number = number - 1 WHERE chain = 'record';";
    assert_eq!(
        broken_by(sql),
        [Broken::ClosedUp {
            record: 7,
            at: at(8.0)
        }]
    );
}

#[test]
fn reordered_records_are_found() {
    let swap = |one: u64, other: u64| {
        format!(
            "UPDATE record SET number = -1 WHERE number = {one};
             UPDATE record SET number = {one} WHERE number = {other};
             UPDATE record SET number = {other} WHERE number = -1;"
        )
    };
    for (one, other) in [(3, 4), (3, 10), (11, 12)] {
        assert_eq!(
            broken_by(&swap(one, other)),
            [Broken::Reordered {
                record: one,
                at: at(other as f64),
                belongs: other
            }]
        );
    }
}

#[test]
fn an_inserted_record_is_found() {
    let sql = "UPDATE record SET number = -number - 1 WHERE number >= 6;
               UPDATE record SET number = -number WHERE number < 0;
               INSERT INTO record (number, commit_number, at, kind, body, hash)
               SELECT 6, commit_number, at, kind, body, hash FROM record WHERE number = 2;
               UPDATE head SET number = number + 1 WHERE chain = 'record';";
    assert_eq!(
        broken_by(sql),
        [Broken::Inserted {
            record: 6,
            at: at(2.0)
        }]
    );
}

#[test]
fn an_end_that_was_cut_off_is_found() {
    let sql = "DELETE FROM record WHERE number > 10";
    assert_eq!(
        broken_by(sql),
        [Broken::CutOff {
            first: 11,
            last: 12
        }]
    );
    let added = "INSERT INTO record (number, commit_number, at, kind, body, hash)
                 SELECT 13, commit_number, at, kind, body, hash FROM record WHERE number = 12";
    assert_eq!(
        broken_by(added),
        [Broken::Added {
            record: 13,
            at: at(12.0)
        }]
    );
    let other = "UPDATE head SET hash = zeroblob(32) WHERE chain = 'record'";
    assert_eq!(broken_by(other), [Broken::OtherEnd { record: 12 }]);
}

/// Whoever cuts off the end and moves the mark of the end is found out by a head on paper.
#[test]
fn a_head_on_paper_shows_what_the_file_hides() {
    let folder = tempfile::tempdir().unwrap();
    let file = journal(folder.path());
    let on_paper = verify(&file).head;
    let sql = "DELETE FROM record WHERE number > 10;
               DELETE FROM event WHERE record > 10;
               UPDATE head SET number = 10,
               hash = (SELECT hash FROM record WHERE number = 10) WHERE chain = 'record'";
    let check = |head: Head| {
        let reader = Readers::at(&file).unwrap().reader().unwrap();
        reader.verify(Some(head), |_| {}).unwrap().broken
    };
    assert_eq!(check(on_paper), []);
    Connection::open(&file).unwrap().execute_batch(sql).unwrap();
    assert_eq!(verify(&file).broken, [], "it hides it from itself");
    assert_eq!(check(on_paper), [Broken::OtherHead { expected: on_paper }]);
}

#[test]
fn tables_that_disagree_with_the_records_are_found() {
    let broken = broken_by("UPDATE pass SET verdict = 'unproven'");
    let [Broken::Table { table, what }] = &broken[..] else {
        panic!("{broken:?}");
    };
    assert_eq!((table.as_str(), what.as_str()), ("pass", "row 1 differs"));
    let broken = broken_by("DELETE FROM event WHERE record = 9");
    let [Broken::Table { table, what }] = &broken[..] else {
        panic!("{broken:?}");
    };
    assert_eq!(table, "event");
    assert_eq!(what, "row 10 stands where row 9 should");
    let broken = broken_by("UPDATE record SET kind = 'calibrated' WHERE number = 3");
    assert!(matches!(&broken[..], [Broken::Table { table, .. }] if table == "record"));
}

/// A journal with three stretches of twenty readings, and some that are not packed.
fn with_readings(folder: &Path) -> PathBuf {
    let (mut writer, readers) = open_with(folder, packing_at(20));
    let channel = writer.channel("probes", "film");
    let other = writer.channel("probes", "cloth");
    for number in 0..35 {
        let (when, value) = (at(f64::from(number)), f64::from(number) / 10.0);
        writer
            .commit(&Batch {
                readings: vec![reading(channel, when, value), reading(other, when, -value)],
                checkpoint: Some(Vec::new()),
                ..Batch::default()
            })
            .unwrap();
        tidy_all(&mut writer);
    }
    readers.file().to_owned()
}

#[test]
fn changed_readings_are_found() {
    let broken = |sql: &str| {
        let folder = tempfile::tempdir().unwrap();
        let file = with_readings(folder.path());
        let sound = verify(&file);
        assert_eq!((sound.stretches, sound.readings), (3, 70));
        assert_eq!(sound.broken, []);
        Connection::open(&file).unwrap().execute_batch(sql).unwrap();
        verify(&file).broken
    };
    let second = |broken: Vec<Broken>| match &broken[..] {
        [Broken::Readings { stretch, from, .. }] => (*stretch, *from),
        other => panic!("{other:?}"),
    };
    let of_second = (2, at(10.0));
    for sql in [
        // The same readings as an hour's others would be: well formed, but not these.
        "UPDATE block SET bytes = (SELECT bytes FROM block WHERE stretch = 1 LIMIT 1) WHERE stretch = 2",
        "UPDATE stamps SET bytes = (SELECT bytes FROM stamps WHERE stretch = 1) WHERE stretch = 2",
        "UPDATE block SET channel = 3 - channel WHERE stretch = 2",
        "DELETE FROM block WHERE number = (SELECT min(number) FROM block WHERE stretch = 2)",
        "UPDATE stretch SET readings = 21 WHERE number = 2",
        "UPDATE stretch SET forgotten = 1 WHERE number = 2",
    ] {
        assert_eq!(second(broken(sql)), of_second, "{sql}");
    }
    assert_eq!(
        broken("DELETE FROM stretch WHERE number = 3"),
        [Broken::StretchEnd { stretch: 2 }]
    );
    assert_eq!(
        broken("UPDATE recent SET bytes = substr(bytes, 1, 9) WHERE number = 33"),
        [Broken::Recent { commit: 33 }]
    );
}

#[test]
fn a_damaged_file_is_an_answer_and_no_panic() {
    let folder = tempfile::tempdir().unwrap();
    let file = with_readings(folder.path());
    Connection::open(&file)
        .unwrap()
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        .unwrap();
    let whole = std::fs::read(&file).unwrap();
    let mut found = 0;
    for page in 1..whole.len() / 4096 {
        let mut bytes = whole.clone();
        bytes[page * 4096..(page + 1) * 4096].fill(0xa5);
        std::fs::write(&file, bytes).unwrap();
        let Ok(reader) = Readers::at(&file).unwrap().reader() else {
            found += 1;
            continue;
        };
        found += match reader.verify(None, |_| {}) {
            Ok(verification) => usize::from(!verification.is_sound()),
            Err(_) => 1,
        };
    }
    assert_eq!(found, whole.len() / 4096 - 1, "every page counts");
}

#[test]
fn what_is_broken_is_said_in_a_sentence() {
    let broken = Broken::Changed {
        record: 5,
        at: Micros(1_790_000_000_000_000),
    };
    // 1790000000 s after the epoch, by `date -u -d @1790000000`.
    assert_eq!(
        broken.to_string(),
        "record 5 (2026-09-21 14:13:20 UTC): it was changed after it was written"
    );
    assert_eq!((broken.record(), broken.part()), (Some(5), "records"));
}
