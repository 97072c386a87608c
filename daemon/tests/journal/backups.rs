//! A backup is of one moment, also while the journal is written.

use std::sync::atomic::{AtomicBool, Ordering};

use inkdwell_daemon::journal::{self, BackupError, Batch, Readers, Settings};
use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::time::Micros;

use crate::common::{at, occurred, open_with, packing_at, reading};

#[test]
fn a_backup_while_it_is_written_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open_with(&folder.path().join("data"), packing_at(2000));
    let channel = writer.channel("probes", "film");
    let mut commit = move |number: u32| {
        let readings = (0..100).map(|index| {
            let when = at(f64::from(number) + f64::from(index) / 100.0);
            reading(channel, when, f64::from(number) + f64::from(index) / 100.0)
        });
        let prints = u64::from(number);
        let batch = Batch {
            readings: readings.collect(),
            records: vec![(
                at(f64::from(number)),
                occurred(Occurrence::Unseen { prints }),
            )],
            checkpoint: Some(vec![0; 5000]),
            ..Batch::default()
        };
        writer.commit(&batch).unwrap();
        writer.tidy(std::time::Duration::from_millis(2)).unwrap();
    };
    for number in 0..200 {
        commit(number);
    }
    let (stop, wanted) = (AtomicBool::new(false), folder.path().join("copy.sqlite"));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut number = 200;
            while !stop.load(Ordering::Relaxed) {
                commit(number);
                number += 1;
            }
        });
        let mut told = 0;
        let made = readers
            .reader()
            .unwrap()
            .backup(&wanted, |progress| told = progress.total);
        stop.store(true, Ordering::Relaxed);
        made.unwrap();
        assert!(told > 0 || wanted.metadata().unwrap().len() > 0);
    });

    let beside: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .collect();
    assert_eq!(beside.len(), 2, "the copy and the data folder: {beside:?}");
    let copy = Readers::at(&wanted).unwrap().reader().unwrap();
    let found = copy.verify(None, |_| {}).unwrap();
    assert_eq!(found.broken, []);
    assert!(found.records >= 200);
    assert_eq!(found.readings, 100 * found.records);
    let mut expected = 0;
    for kept in copy.readings(channel, Micros(0), Micros(i64::MAX)) {
        assert_eq!(kept.unwrap().at, at(f64::from(expected) / 100.0));
        expected += 1;
    }
    assert_eq!(u64::try_from(expected).unwrap(), found.readings);

    let again = readers.reader().unwrap().backup(&wanted, |_| {});
    assert!(matches!(again, Err(BackupError::Exists(_))), "{again:?}");
}

#[test]
fn a_backup_can_be_taken_into_use() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open_with(&folder.path().join("data"), Settings::default());
    let record = occurred(Occurrence::Stopped);
    writer
        .commit(&crate::common::records(at(0.0), [record]))
        .unwrap();
    let restored = folder.path().join("restored");
    std::fs::create_dir(&restored).unwrap();
    readers
        .reader()
        .unwrap()
        .backup(&restored.join("journal.sqlite"), |_| {})
        .unwrap();
    let (mut other, others) = journal::open(&restored, Settings::default()).unwrap();
    assert_eq!(other.head(), writer.head());
    let record = occurred(Occurrence::Stopped);
    other
        .commit(&crate::common::records(at(1.0), [record]))
        .unwrap();
    let found = others.reader().unwrap().verify(Some(writer.head()), |_| {});
    assert_eq!(found.unwrap().broken, []);
}

#[test]
fn a_backup_that_cannot_be_written_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (_writer, readers) = open_with(&folder.path().join("data"), Settings::default());
    let nowhere = folder.path().join("nowhere").join("copy");
    let failed = readers.reader().unwrap().backup(&nowhere, |_| {});
    assert!(
        matches!(failed, Err(BackupError::File { .. })),
        "{failed:?}"
    );
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}
