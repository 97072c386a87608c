//! Readings may be forgotten by age; evidence is not.

use std::time::Duration;

use inkdwell_daemon::journal::{Batch, PassQuery};
use inkdwell_daemon::record::Record;
use inkdwell_daemon::time::Micros;

use crate::common::{at, judged, open_with, packing_at, pass, reading, tidy_all};

#[test]
fn old_readings_go_and_evidence_stays() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open_with(folder.path(), packing_at(100));
    let channel = writer.channel("probes", "film");
    // A hundred seconds make a stretch; each has a pass.
    for number in 0..500u32 {
        let when = at(f64::from(number));
        let records = match number % 100 {
            60 => {
                let (of, start) = (u64::from(number / 100) + 1, at(f64::from(number) - 45.0));
                let pass = pass(of, start, None, Some(judged("cured", None)));
                vec![(when, Record::PassJudged(pass))]
            }
            _ => Vec::new(),
        };
        writer
            .commit(&Batch {
                readings: vec![reading(channel, when, f64::from(number) / 10.0)],
                records,
                checkpoint: Some(Vec::new()),
                ..Batch::default()
            })
            .unwrap();
        tidy_all(&mut writer);
    }
    // The third stretch reaches to 299 s: it is not wholly older than that.
    let cutoff = at(299.0);
    let first = writer
        .forget_readings_before(cutoff, Duration::ZERO)
        .unwrap();
    assert_eq!(
        (first.stretches, first.readings, first.more),
        (1, 100, true)
    );
    let second = writer
        .forget_readings_before(cutoff, Duration::from_secs(60))
        .unwrap();
    assert_eq!((second.stretches, second.more), (1, false));

    let reader = readers.reader().unwrap();
    let kept: Vec<Micros> = reader
        .readings(channel, Micros(0), Micros(i64::MAX))
        .map(|reading| reading.unwrap().at)
        .collect();
    let expected: Vec<Micros> = (200..500).map(|second| at(f64::from(second))).collect();
    assert_eq!(kept, expected);
    assert_eq!(reader.readings_forgotten_to().unwrap(), Some(at(199.0)));
    let passes = reader.passes(&PassQuery::default()).unwrap();
    let have_readings: Vec<bool> = passes.iter().map(|pass| pass.readings_kept).collect();
    assert_eq!(have_readings, [false, false, true, true, true]);
    let found = reader.verify(None, |_| {}).unwrap();
    assert_eq!(found.broken, []);
    assert_eq!((found.forgotten_readings, found.records), (200, 5));
    let sizes = reader.sizes().unwrap();
    assert_eq!((sizes.readings, sizes.forgotten_readings), (300, 200));

    drop(writer);
    let (mut writer, _) = open_with(folder.path(), packing_at(100));
    let all = writer
        .forget_readings_before(Micros(i64::MAX), Duration::from_secs(60))
        .unwrap();
    assert_eq!(all.stretches, 3);
    assert_eq!(reader.verify(None, |_| {}).unwrap().broken, []);
}

/// A reader that lingers half-way through a channel must not make the log grow without end.
#[test]
fn a_lingering_reader_does_not_hold_the_log() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open_with(folder.path(), packing_at(5000));
    let channel = writer.channel("probes", "film");
    let commit = |writer: &mut _, number: u32| {
        let readings = (0..1000).map(|index| {
            let when = at(f64::from(number) + f64::from(index) / 1000.0);
            reading(channel, when, f64::from(index * number))
        });
        let batch = Batch {
            readings: readings.collect(),
            checkpoint: Some(Vec::new()),
            ..Batch::default()
        };
        inkdwell_daemon::journal::Writer::commit(writer, &batch).unwrap();
    };
    for number in 0..20 {
        commit(&mut writer, number);
    }
    tidy_all(&mut writer);
    let reader = readers.reader().unwrap();
    let mut lingering = reader.readings(channel, Micros(0), Micros(i64::MAX));
    assert!(lingering.next().is_some());
    // About 20 kB a commit: 24 MB in all.
    for number in 20..1200 {
        commit(&mut writer, number);
        tidy_all(&mut writer);
    }
    let log = folder.path().join("journal.sqlite-wal");
    let length = log.metadata().unwrap().len();
    assert!(length < 12_000_000, "{length} bytes");
    assert!(lingering.next().is_some());
}
