//! A file that may not grow, which can only be arranged from within.

use super::number::CommitNumber;
use super::{Batch, CommitError, JournaledReading, Settings, Shown, open};
use crate::record::{Occurred, Occurrence, Record};
use crate::time::Micros;

fn batch(writer: &mut super::Writer, number: u64) -> Batch {
    let channel = writer.channel("probes", &format!("film {number}"));
    let readings = (0..500).map(|index| JournaledReading {
        channel,
        at: Micros((number * 500 + index) as i64),
        shown: Shown::Number(index as f64 / 7.0),
        fed: true,
    });
    let what = Occurrence::Unseen { prints: number };
    let station = Some("belt-1".to_owned());
    let record = Record::Occurred(Occurred { station, what });
    Batch {
        readings: readings.collect(),
        records: vec![(Micros(number as i64), record)],
        checkpoint: Some(number.to_be_bytes().to_vec()),
        ..Batch::default()
    }
}

#[test]
fn a_file_that_cannot_grow_refuses_and_forgets_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings {
        keep_free: Some(0),
        pack_readings: 2000,
        ..Settings::default()
    };
    let (mut writer, readers) = open(folder.path(), settings).unwrap();
    let pages: i64 = writer
        .connection
        .query_row("PRAGMA page_count", [], |row| row.get(0))
        .unwrap();
    writer
        .connection
        .pragma_update(None, "max_page_count", pages + 20)
        .unwrap();
    let mut commits = 0;
    let refused = loop {
        let next = batch(&mut writer, commits + 1);
        match writer.commit(&next) {
            Ok(_) => commits += 1,
            Err(error) => break error,
        }
        assert!(commits < 1000);
    };
    assert!(matches!(refused, CommitError::Full { .. }), "{refused:?}");
    let next = batch(&mut writer, commits + 1);
    let head = writer.head();
    let again = writer.commit(&next);
    assert!(matches!(again, Err(CommitError::Full { .. })), "{again:?}");
    // Packing needs room as well; it says so, and goes on when there is some.
    let tidied = loop {
        match writer.tidy(std::time::Duration::ZERO) {
            Ok(tidied) if tidied.more => {}
            done => break done,
        }
    };
    assert!(
        matches!(tidied, Ok(_) | Err(CommitError::Full { .. })),
        "{tidied:?}"
    );
    assert_eq!(writer.head(), head);
    assert_eq!(writer.last_commit(), CommitNumber(commits));

    writer
        .connection
        .pragma_update(None, "max_page_count", 1_000_000)
        .unwrap();
    let committed = writer.commit(&next).unwrap();
    assert_eq!(committed.number, CommitNumber(commits + 1));
    assert_eq!(committed.first_record.0, head.number.0 + 1);
    while writer
        .tidy(std::time::Duration::from_millis(50))
        .unwrap()
        .more
    {}
    let reader = readers.reader().unwrap();
    let found = reader.verify(None, |_| {}).unwrap();
    assert_eq!(found.broken, []);
    assert_eq!(found.records, commits + 1);
    assert_eq!(found.readings, 500 * (commits + 1));
    let channels = reader.channels().unwrap();
    assert_eq!(channels.len() as u64, commits + 1);
}
