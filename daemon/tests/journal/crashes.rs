//! A pulled plug loses nothing that was committed, and nothing half-done stays.

use std::fs;
use std::path::Path;

use inkdwell_daemon::journal::{Batch, Writer};
use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::time::Micros;
use proptest::prelude::*;

use crate::common::{at, occurred, open, reading};

const FILE: &str = "journal.sqlite";
const LOG: &str = "journal.sqlite-wal";

fn batch(writer: &mut Writer, number: u64, readings: u64) -> Batch {
    let channel = writer.channel("probes", &format!("film {}", number % 3));
    let readings = (0..readings).map(|index| {
        let when = at(number as f64 + index as f64 / readings as f64);
        reading(channel, when, (number * 1000 + index) as f64)
    });
    let prints = number;
    Batch {
        readings: readings.collect(),
        records: vec![(at(number as f64), occurred(Occurrence::Unseen { prints }))],
        checkpoint: number.is_multiple_of(4).then(|| vec![number as u8; 300]),
        ..Batch::default()
    }
}

/// The folder as it lies on the disk, without what only lived in memory.
fn copied(from: &Path, log: &[u8]) -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    fs::copy(from.join(FILE), copy.path().join(FILE)).unwrap();
    fs::write(copy.path().join(LOG), log).unwrap();
    copy
}

fn check(folder: &Path, batches: &[Batch]) {
    let (writer, readers) = open(folder);
    let reader = readers.reader().unwrap();
    assert_eq!(writer.last_commit().0, batches.len() as u64);
    let replayed: Vec<_> = reader
        .replay_after(inkdwell_daemon::journal::CommitNumber(0))
        .map(|commit| commit.unwrap())
        .collect();
    assert_eq!(replayed.len(), batches.len());
    for (commit, batch) in replayed.iter().zip(batches) {
        assert_eq!(commit.readings, batch.readings);
        assert_eq!(commit.records.len(), batch.records.len());
    }
    let last = batches
        .iter()
        .rev()
        .find_map(|batch| batch.checkpoint.clone());
    let checkpoint = reader.last_checkpoint().unwrap();
    assert_eq!(checkpoint.map(|checkpoint| checkpoint.bytes), last);
    assert_eq!(reader.verify(None, |_| {}).unwrap().broken, []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// The log reached the disk only in part, or its last part is rubbish: every commit that was reported
    /// while the log was no longer than that is there, whole, and nothing else is.
    #[test]
    fn a_torn_log_loses_only_what_was_not_reported(
        sizes in prop::collection::vec(0u64..600, 1..12),
        torn in prop::collection::vec((0.0f64..1.0, any::<bool>()), 4),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let (mut writer, _readers) = open(folder.path());
        let length = || fs::metadata(folder.path().join(LOG)).unwrap().len();
        let begun = length();
        let mut batches = Vec::new();
        let mut lengths = Vec::new();
        for (readings, number) in sizes.into_iter().zip(1..) {
            let batch = batch(&mut writer, number, readings);
            writer.commit(&batch).unwrap();
            batches.push(batch);
            lengths.push(length());
        }
        let log = fs::read(folder.path().join(LOG)).unwrap();
        for (share, rubbish) in torn {
            let there = begun + ((log.len() as u64 - begun) as f64 * share) as u64;
            let mut bytes = log[..there as usize].to_vec();
            if rubbish {
                bytes.resize(log.len(), 0x5a);
            }
            let whole = lengths.iter().filter(|length| **length <= there).count();
            check(copied(folder.path(), &bytes).path(), &batches[..whole]);
        }
    }
}

#[test]
fn a_copy_of_the_folder_in_use_goes_on_from_there() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, _readers) = open(folder.path());
    let mut batches = Vec::new();
    for number in 1..=30 {
        let batch = batch(&mut writer, number, 50);
        writer.commit(&batch).unwrap();
        batches.push(batch);
        if number.is_multiple_of(10) {
            let log = fs::read(folder.path().join(LOG)).unwrap();
            let copy = copied(folder.path(), &log);
            check(copy.path(), &batches);
            let (mut other, readers) = open(copy.path());
            let next = self::batch(&mut other, number + 1, 5);
            assert_eq!(other.commit(&next).unwrap().number.0, number + 1);
            let reader = readers.reader().unwrap();
            assert_eq!(reader.verify(None, |_| {}).unwrap().broken, []);
        }
    }
}

#[test]
fn the_last_time_is_known_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    assert_eq!(readers.reader().unwrap().last_time().unwrap(), None);
    let batch = batch(&mut writer, 7, 10);
    writer.commit(&batch).unwrap();
    drop(writer);
    let (_writer, readers) = open(folder.path());
    let last = readers.reader().unwrap().last_time().unwrap();
    assert_eq!(last, Some(Micros(at(7.9).0)));
}
