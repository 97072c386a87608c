//! What the records say, asked for in every way.

use inkdwell_daemon::journal::{
    Batch, Batches, CommitError, Holds, NextNumbers, PassQuery, Reader, RecordQuery, VerdictCount,
    Writer,
};
use inkdwell_daemon::record::{Occurrence, Record};
use inkdwell_daemon::time::Micros;

use crate::common::{
    at, batch_closed, batch_noted, batch_opened, calibrated, hold_joined, hold_opened,
    hold_settled, judged, occurred, open, pass, pass_assigned, recipe_locked, recipe_retired,
    records,
};

/// A morning: two batches, one of them closed, a print that was under-cured and one that scorched, one
/// that nobody expected and that was given its batch later.
fn morning() -> Batch {
    let good = || Some(judged("cured", None));
    let cold = Some(judged("under-cured", None));
    let burnt = Some(judged("overheated", Some("scorch")));
    let passes = [
        Record::PassJudged(pass(1, at(10.0), None, None)),
        Record::PassJudged(pass(2, at(110.0), Some(1), good())),
        Record::PassJudged(pass(3, at(120.0), Some(1), cold)),
        Record::PassJudged(pass(4, at(210.0), Some(2), good())),
        Record::PassJudged(pass(5, at(220.0), Some(2), burnt)),
        Record::PassJudged(pass(6, at(230.0), Some(2), good())),
    ];
    let mut all = vec![
        (at(0.0), occurred(Occurrence::Stopped)),
        (at(1.0), calibrated("film", "2026-02-02")),
        (at(2.0), calibrated("exit", "2026-03-02")),
        (at(100.0), batch_opened(1, "belt-1")),
        (at(125.0), hold_opened(1, Some(1))),
        (at(126.0), hold_joined(1, 3)),
        (at(150.0), batch_noted(1, "cool chamber")),
        (at(180.0), batch_closed(1)),
        (at(200.0), batch_opened(2, "flash-1")),
        (at(300.0), hold_opened(2, Some(2))),
        (at(301.0), hold_joined(2, 5)),
        (at(302.0), hold_settled(2)),
        (at(310.0), recipe_locked(1, 2)),
        (at(320.0), recipe_locked(2, 4)),
        (at(330.0), recipe_retired(1)),
        (at(340.0), occurred(Occurrence::DiskFull)),
        (at(350.0), calibrated("film", "2026-04-02")),
        (at(360.0), pass_assigned(1, 2, judged("unproven", None))),
    ];
    all.extend(passes.map(|record| match &record {
        Record::PassJudged(pass) => (pass.end, record),
        _ => (at(0.0), record),
    }));
    all.sort_by_key(|(when, record)| (*when, matches!(record, Record::PassAssigned(_))));
    Batch {
        records: all,
        ..Batch::default()
    }
}

fn with_morning(check: impl FnOnce(&mut Writer, &Reader)) {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    writer.commit(&morning()).unwrap();
    let reader = readers.reader().unwrap();
    check(&mut writer, &reader);
    assert_eq!(reader.verify(None, |_| {}).unwrap().broken, []);
}

fn count(verdict: Option<&str>, harm: Option<&str>, passes: u64) -> VerdictCount {
    VerdictCount {
        verdict: verdict.map(str::to_owned),
        harm: harm.map(str::to_owned),
        passes,
    }
}

#[test]
fn passes_are_found_by_everything() {
    with_morning(|_, reader| {
        let all = PassQuery::default();
        let found = |query: PassQuery| -> Vec<u64> {
            let passes = reader.passes(&query).unwrap();
            passes.iter().map(|kept| kept.pass.pass).collect()
        };
        assert_eq!(found(all.clone()), [1, 2, 3, 4, 5, 6]);
        let newest = Some(2);
        assert_eq!(
            found(PassQuery {
                newest,
                ..all.clone()
            }),
            [6, 5]
        );
        let (from, before) = (Some(at(110.0)), Some(at(220.0)));
        assert_eq!(
            found(PassQuery {
                from,
                before,
                ..all.clone()
            }),
            [2, 3, 4]
        );
        let batch = Some(2);
        assert_eq!(
            found(PassQuery {
                batch,
                ..all.clone()
            }),
            [1, 4, 5, 6]
        );
        let verdict = Some("cured".to_owned());
        assert_eq!(
            found(PassQuery {
                verdict,
                batch,
                ..all.clone()
            }),
            [4, 6]
        );
        let station = Some("nowhere".to_owned());
        assert_eq!(
            found(PassQuery {
                station,
                ..all.clone()
            }),
            [0u64; 0]
        );
        let without_batch = true;
        assert_eq!(
            found(PassQuery {
                without_batch,
                ..all
            }),
            [0u64; 0]
        );
        assert!(reader.pass(7).unwrap().is_none());
        let counts = reader.verdict_counts(&PassQuery::default()).unwrap();
        let expected = [
            count(Some("cured"), None, 3),
            count(Some("overheated"), Some("scorch"), 1),
            count(Some("under-cured"), None, 1),
            count(Some("unproven"), None, 1),
        ];
        assert_eq!(counts, expected);
    });
}

#[test]
fn a_pass_that_was_given_a_batch_says_so() {
    with_morning(|_, reader| {
        let first = reader.pass(1).unwrap().unwrap();
        assert_eq!((first.pass.batch, first.pass.print), (Some(2), Some(1)));
        assert_eq!(first.pass.judged, Some(judged("unproven", None)));
        assert!(first.assigned.is_some() && first.readings_kept);
        let second = reader.pass(2).unwrap().unwrap();
        assert_eq!(
            second.pass,
            pass(2, at(110.0), Some(1), Some(judged("cured", None)))
        );
        let record = reader.record(second.record).unwrap();
        assert_eq!(record.record, Record::PassJudged(second.pass));
    });
}

#[test]
fn batches_carry_their_notes_and_counts() {
    with_morning(|_, reader| {
        let numbers = |which| -> Vec<u64> {
            let batches = reader.batches(which).unwrap();
            batches.iter().map(|kept| kept.batch.batch).collect()
        };
        assert_eq!(numbers(Batches::Open), [2]);
        assert_eq!(numbers(Batches::All), [1, 2]);
        assert_eq!(numbers(Batches::Newest(1)), [2]);
        assert_eq!(numbers(Batches::Between(at(0.0), at(200.0))), [1]);
        assert_eq!(numbers(Batches::Between(at(181.0), at(201.0))), [2]);
        assert!(reader.batch(3).unwrap().is_none());
        let first = reader.batch(1).unwrap().unwrap();
        assert_eq!(first.opened, at(100.0));
        assert_eq!(first.closed.map(|(when, _)| when), Some(at(180.0)));
        assert_eq!(first.notes.len(), 1);
        assert_eq!(first.notes[0].1.note, "cool chamber");
        let expected = [
            count(Some("cured"), None, 1),
            count(Some("under-cured"), None, 1),
        ];
        assert_eq!(first.counts, expected);
    });
}

#[test]
fn holds_carry_their_passes() {
    with_morning(|_, reader| {
        let numbers = |which| -> Vec<u64> {
            let holds = reader.holds(which).unwrap();
            holds.iter().map(|kept| kept.hold.hold).collect()
        };
        assert_eq!(numbers(Holds::Open), [1]);
        assert_eq!(numbers(Holds::Settled), [2]);
        assert_eq!(numbers(Holds::All), [1, 2]);
        assert_eq!(numbers(Holds::OfBatch(1)), [1]);
        assert_eq!(numbers(Holds::OfPass(5)), [2]);
        assert_eq!(numbers(Holds::Opened(at(125.0), at(300.0))), [1]);
        let second = reader.hold(2).unwrap().unwrap();
        assert_eq!(second.passes, [5]);
        let (when, settled) = second.settled.unwrap();
        assert_eq!((when, settled.why.as_str()), (at(302.0), "cool chamber"));
    });
}

#[test]
fn recipes_calibrations_and_events() {
    with_morning(|_, reader| {
        let force = reader.recipes_in_force().unwrap();
        assert_eq!(force.len(), 1);
        assert_eq!((force[0].recipe.recipe, force[0].locked), (2, at(320.0)));
        let all = reader.recipes().unwrap();
        assert_eq!(all.len(), 2);
        assert_eq!(
            all[0].retired.as_ref().map(|(when, _)| *when),
            Some(at(330.0))
        );
        assert_eq!(reader.recipe(2).unwrap().as_ref(), Some(&force[0]));
        let dates = |probe| -> Vec<String> {
            let all = reader.calibrations(probe).unwrap();
            all.into_iter().map(|kept| kept.calibration.date).collect()
        };
        assert_eq!(dates(Some("film")), ["2026-02-02", "2026-04-02"]);
        assert_eq!(dates(None), ["2026-02-02", "2026-03-02", "2026-04-02"]);
        let events = reader.events(at(0.0), at(340.0)).unwrap();
        assert_eq!(events.len(), 1);
        assert_eq!(events[0].event.what, Occurrence::Stopped);
        assert_eq!(
            reader.newest_events(1).unwrap()[0].event.what,
            Occurrence::DiskFull
        );
    });
}

#[test]
fn records_come_by_time_and_kind() {
    with_morning(|writer, reader| {
        let kinds = |query: RecordQuery| -> Vec<&'static str> {
            let records = reader.records(query);
            records.map(|kept| kept.unwrap().record.kind()).collect()
        };
        let query = RecordQuery::default();
        assert_eq!(kinds(query.clone()).len(), 24);
        let of_holds = vec!["hold-opened", "hold-settled"];
        let holds = RecordQuery {
            kinds: of_holds,
            ..query.clone()
        };
        assert_eq!(kinds(holds), ["hold-opened", "hold-opened", "hold-settled"]);
        let one = RecordQuery {
            kinds: vec!["batch-noted"],
            ..query.clone()
        };
        assert_eq!(kinds(one), ["batch-noted"]);
        let (from, before) = (at(330.0), at(350.0));
        assert_eq!(
            kinds(RecordQuery {
                from,
                before,
                ..query
            }),
            ["recipe-retired", "occurred"]
        );
        let newest = reader.newest_records(1).unwrap();
        assert_eq!(newest[0].record.kind(), "pass-assigned");

        // More than are fetched at a time, many of one time.
        let many = (0..1000).map(|prints| {
            (
                at(1000.0 + (prints / 300) as f64),
                occurred(Occurrence::Unseen { prints }),
            )
        });
        let batch = Batch {
            records: many.collect(),
            ..Batch::default()
        };
        writer.commit(&batch).unwrap();
        let from = RecordQuery {
            from: at(1000.0),
            ..RecordQuery::default()
        };
        let seen: Vec<_> = reader
            .records(from)
            .map(|kept| kept.unwrap().record)
            .collect();
        let expected: Vec<_> = batch
            .records
            .into_iter()
            .map(|(_, record)| record)
            .collect();
        assert_eq!(seen, expected);
    });
}

#[test]
fn numbers_go_on() {
    with_morning(|writer, _| {
        let next = writer.next_numbers().unwrap();
        assert_eq!(
            next,
            NextNumbers {
                pass: 7,
                batch: 3,
                hold: 3,
                recipe: 3
            }
        );
    });
}

#[test]
fn a_record_that_contradicts_the_journal_is_refused_with_everything_beside_it() {
    with_morning(|writer, reader| {
        let head = writer.head();
        let event = || occurred(Occurrence::Stopped);
        for wrong in [
            Record::PassJudged(pass(6, at(500.0), None, None)),
            batch_opened(2, "belt-1"),
            batch_closed(1),
            batch_noted(9, "none"),
            hold_joined(9, 1),
            hold_joined(2, 5),
            hold_settled(2),
            recipe_retired(1),
            pass_assigned(99, 1, judged("cured", None)),
        ] {
            let kind = wrong.kind();
            let refused = writer.commit(&records(at(500.0), [event(), wrong]));
            let Err(error @ CommitError::Contradiction { .. }) = refused else {
                panic!("{kind}: {refused:?}");
            };
            assert!(!error.passes());
            assert_eq!((writer.head(), reader.head().unwrap()), (head, head));
        }
        let mut odd = judged("cured", None);
        odd.peak_c = f64::NAN;
        let odd = Record::PassJudged(pass(7, at(500.0), None, Some(odd)));
        let refused = writer.commit(&records(at(500.0), [odd]));
        assert!(
            matches!(refused, Err(CommitError::Unwritable(_))),
            "{refused:?}"
        );
        let after = writer.commit(&records(at(501.0), [event()])).unwrap();
        assert_eq!(after.first_record.0, head.number.0 + 1);
        let late = reader.events(at(501.0), Micros(i64::MAX)).unwrap();
        assert_eq!(late[0].record, after.first_record);
    });
}
