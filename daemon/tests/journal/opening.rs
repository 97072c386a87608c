//! Who may open a journal, and what is one.

use std::fs;

use inkdwell_daemon::journal::{self, Batch, OpenError, Readers, Settings};
use inkdwell_daemon::record::{Record, ShopDeclared};
use rusqlite::Connection;

use crate::common::{at, open, reading, readings};

#[test]
fn a_second_daemon_is_refused_and_told_who_has_it() {
    let folder = tempfile::tempdir().unwrap();
    let (writer, _readers) = open(folder.path());
    let second = journal::open(folder.path(), Settings::default());
    let Err(OpenError::Locked { process, .. }) = &second else {
        panic!("{second:?}");
    };
    assert_eq!(*process, Some(std::process::id()));
    drop(writer);
    open(folder.path());
}

#[cfg(unix)]
#[test]
fn the_folder_is_made_for_its_owner_alone() {
    use std::os::unix::fs::PermissionsExt;
    let above = tempfile::tempdir().unwrap();
    let folder = above.path().join("a").join("b");
    open(&folder);
    let mode = fs::metadata(&folder).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o700);
}

#[test]
fn other_files_are_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("journal.sqlite");
    let foreign = Connection::open(&file).unwrap();
    foreign.execute_batch("CREATE TABLE t (x)").unwrap();
    drop(foreign);
    let before = fs::read(&file).unwrap();
    let refused = journal::open(folder.path(), Settings::default());
    assert!(
        matches!(refused, Err(OpenError::Foreign { .. })),
        "{refused:?}"
    );
    assert_eq!(fs::read(&file).unwrap(), before);

    fs::write(&file, "dear diary ".repeat(1000)).unwrap();
    let read = Readers::at(&file).unwrap().reader();
    assert!(matches!(read, Err(OpenError::Foreign { .. })), "{read:?}");
    let missing = Readers::at(&folder.path().join("nowhere"));
    assert!(
        matches!(missing, Err(OpenError::Missing { .. })),
        "{missing:?}"
    );
}

#[test]
fn a_journal_of_a_later_program_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let (writer, readers) = open(folder.path());
    drop(writer);
    let file = readers.file();
    let connection = Connection::open(file).unwrap();
    connection.pragma_update(None, "user_version", 99).unwrap();
    let refused = journal::open(folder.path(), Settings::default());
    assert!(
        matches!(refused, Err(OpenError::Newer { found: 99, .. })),
        "{refused:?}"
    );
    let read = readers.reader();
    assert!(
        matches!(read, Err(OpenError::Newer { found: 99, .. })),
        "{read:?}"
    );
}

#[test]
fn numbers_stay_the_same_over_restarts() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, _) = open(folder.path());
    let film = writer.channel("probes", "film");
    let other = writer.channel("broker", "film");
    let word = writer.word("OPEN");
    assert_ne!(film, other);
    writer
        .commit(&readings(vec![reading(other, at(0.0), 1.0)]))
        .unwrap();
    let source = writer.source("broker");
    drop(writer);
    let (mut writer, readers) = open(folder.path());
    assert_eq!(writer.channel("broker", "film"), other);
    assert_eq!(writer.channel("probes", "film"), film);
    assert_eq!(
        (writer.word("OPEN"), writer.source("broker")),
        (word, source)
    );
    let reader = readers.reader().unwrap();
    assert_eq!(reader.word(word).unwrap().as_deref(), Some("OPEN"));
    assert_eq!(reader.channel("broker", "film").unwrap(), Some(other));
    assert_eq!(reader.channels().unwrap().len(), 2);
}

/// The version before kept no shop files: its journal gets a table for them, and all that it holds stays.
#[test]
fn a_journal_that_kept_no_shop_files_yet_is_taken_over() {
    let folder = tempfile::tempdir().unwrap();
    let (mut writer, readers) = open(folder.path());
    let film = writer.channel("probes", "film");
    writer
        .commit(&readings(vec![reading(film, at(0.0), 1.0)]))
        .unwrap();
    drop(writer);
    let connection = Connection::open(readers.file()).unwrap();
    connection
        .execute_batch("DROP TABLE shop_file; PRAGMA user_version = 4;")
        .unwrap();
    drop(connection);
    let read = readers.reader();
    assert!(
        matches!(read, Err(OpenError::Older { found: 4, .. })),
        "{read:?}"
    );
    let (mut writer, readers) = open(folder.path());
    let declared =
        Record::ShopDeclared(ShopDeclared::of("[shop]\nname = \"Lantern Yard Print\"\n"));
    let batch = Batch {
        records: vec![(at(1.0), declared)],
        ..Batch::default()
    };
    writer.commit(&batch).unwrap();
    let reader = readers.reader().unwrap();
    let head = reader.head().unwrap().number;
    let kept = reader.shop_as_of(at(0.0), head).unwrap().unwrap();
    assert_eq!((kept.record, kept.at), (head, at(1.0)));
    assert_eq!(reader.readings(film, at(0.0), at(9.0)).count(), 1);
    assert!(reader.verify(None, |_| {}).unwrap().is_sound());
}
