//! A full disk stops everything, corrupts nothing, and is over when it is over.

use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use inkdwell_daemon::journal::{self, Batch, CommitError, Readers, Settings, Writer};
use inkdwell_daemon::record::Occurrence;

use crate::common::{at, occurred, open, open_with, packing_at, reading, tidy_all};

/// Readings and a record, the n-th of their kind. The values do not pack well.
fn batch(writer: &mut Writer, number: u64) -> Batch {
    let channel = writer.channel("probes", &format!("film {}", number % 7));
    let readings = (0..200u64).map(|index| {
        let scrambled = (number * 200 + index).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let when = at(number as f64 + index as f64 / 200.0);
        reading(channel, when, scrambled as f64 / 1e9)
    });
    let prints = number;
    Batch {
        readings: readings.collect(),
        records: vec![(at(number as f64), occurred(Occurrence::Unseen { prints }))],
        checkpoint: Some(number.to_be_bytes().to_vec()),
        ..Batch::default()
    }
}

fn check(readers: &Readers, commits: u64) {
    let reader = readers.reader().unwrap();
    let found = reader.verify(None, |_| {}).unwrap();
    assert_eq!(found.broken, []);
    assert_eq!((found.records, found.readings), (commits, 200 * commits));
}

#[test]
fn the_reserve_is_not_touched() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings {
        keep_free: Some(u64::MAX),
        ..Settings::default()
    };
    let (mut writer, readers) = journal::open(folder.path(), settings).unwrap();
    let first = batch(&mut writer, 1);
    for _ in 0..2 {
        let refused = writer.commit(&first);
        let Err(error @ CommitError::Full { free, floor }) = &refused else {
            panic!("{refused:?}");
        };
        assert!(free.is_some() && *floor == u64::MAX && error.passes());
    }
    assert_eq!(readers.reader().unwrap().last_commit().unwrap().0, 0);
    drop(writer);
    let (mut writer, readers) = open(folder.path());
    writer.commit(&first).unwrap();
    check(&readers, 1);
}

/// A file system of a few megabytes.
struct SmallDisk<'a>(&'a Path);

impl SmallDisk<'_> {
    fn mount(at: &Path) -> Option<SmallDisk<'_>> {
        let mut mount = Command::new("mount");
        mount
            .args(["-t", "tmpfs", "-o", "size=3m", "tmpfs"])
            .arg(at);
        let mounted = mount.output().is_ok_and(|output| output.status.success());
        mounted.then_some(SmallDisk(at))
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0).status();
    }
}

#[test]
fn a_disk_that_is_full_to_the_last_byte_loses_nothing() {
    let place = tempfile::tempdir().unwrap();
    let Some(_disk) = SmallDisk::mount(place.path()) else {
        // Written past the test runner, which would keep it to itself.
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: the test of a full disk needs the right to mount a tmpfs (run it as root)"
        );
        return;
    };
    let filler = place.path().join("filler");
    std::fs::write(&filler, vec![1; 1 << 20]).unwrap();
    let (mut writer, readers) = open_with(&place.path().join("data"), packing_at(2000));
    let mut commits = 0;
    let full = loop {
        let next = batch(&mut writer, commits + 1);
        match writer.commit(&next) {
            Ok(_) => commits += 1,
            Err(error) => break error,
        }
        // Upkeep may find the disk full as well, and may leave its work for later.
        match writer.tidy(Duration::from_millis(1)) {
            Ok(_) | Err(CommitError::Full { .. }) => {}
            Err(error) => panic!("{error}"),
        }
    };
    assert!(matches!(full, CommitError::Full { .. }), "{full}");
    assert!(commits > 10);
    let next = batch(&mut writer, commits + 1);
    for _ in 0..5 {
        // Giving back the log may have made room for one more, but not for two of the same.
        if writer.commit(&next).is_ok() {
            commits += 1;
            break;
        }
    }
    let kept = readers.reader().unwrap().last_commit().unwrap().0;
    assert_eq!(kept, commits);

    std::fs::remove_file(&filler).unwrap();
    let next = batch(&mut writer, commits + 1);
    writer.commit(&next).unwrap();
    tidy_all(&mut writer);
    check(&readers, commits + 1);
    drop(writer);
    let (_writer, readers) = open(&place.path().join("data"));
    check(&readers, commits + 1);
}
