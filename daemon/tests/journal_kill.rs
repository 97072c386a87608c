//! A daemon that is killed in the middle of its work: whatever it had reported as committed is there, once,
//! as it was.
//!
//! This program runs itself as the one that writes, kills it at a random moment, looks, and lets the next one
//! go on in the same folder. `INKDWELL_KILLS=500` makes it go on for longer.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use inkdwell_daemon::intake::MessageMark;
use inkdwell_daemon::journal::{
    self, Batch, ChannelReading, CommitNumber, JournaledReading, Reader, Settings, Shown, Writer,
};
use inkdwell_daemon::record::{Occurred, Occurrence, Record};
use inkdwell_daemon::time::Micros;
use rand::RngExt;

const CHILD: &str = "INKDWELL_KILL_TEST_FOLDER";
const CHANNELS: u64 = 3;

fn settings() -> Settings {
    Settings {
        keep_free: Some(0),
        pack_readings: 400,
        ..Settings::default()
    }
}

/// Commit so-and-so, which is the same whoever makes it.
fn batch(writer: &mut Writer, number: u64) -> Batch {
    let readings = (0..number % 40).map(|index| JournaledReading {
        channel: writer.channel("probes", &format!("channel {}", index % CHANNELS)),
        at: Micros((number * 100 + index) as i64),
        shown: Shown::Number((number * 31 + index) as f64 / 10.0),
        fed: index % 7 != 6,
    });
    let readings = readings.collect();
    let what = Occurrence::Unseen { prints: number };
    let record = Record::Occurred(Occurred {
        station: None,
        what,
    });
    Batch {
        readings,
        records: vec![(Micros(number as i64), record)],
        marks: vec![(
            writer.source("probes"),
            MessageMark {
                packet: (number % 50) as u16,
                digest: [number as u8; 16],
            },
        )],
        checkpoint: number
            .is_multiple_of(5)
            .then(|| number.to_be_bytes().to_vec()),
    }
}

/// Writes until it is killed, and says of each commit that it has happened.
fn write_on(folder: &Path) {
    let (mut writer, _readers) = journal::open(folder, settings()).unwrap();
    let mut out = std::io::stdout().lock();
    loop {
        let number = writer.last_commit().0 + 1;
        let next = batch(&mut writer, number);
        let committed = writer.commit(&next).unwrap();
        assert_eq!(committed.number, CommitNumber(number));
        if writeln!(out, "{number}")
            .and_then(|()| out.flush())
            .is_err()
        {
            return;
        }
        writer.tidy(Duration::from_millis(1)).unwrap();
    }
}

/// Ends it whatever happens to the test.
struct Victim(Child);

impl Drop for Victim {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Lets a writer work for a while, kills it, and gives the last commit that it reported.
fn kill_one(folder: &Path, after: u64, reported: u64) -> u64 {
    let child = Command::new(std::env::current_exe().unwrap())
        .env(CHILD, folder)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut victim = Victim(child);
    let mut lines = BufReader::new(victim.0.stdout.take().unwrap()).lines();
    let mut last = reported;
    // The moment of the kill falls anywhere in the work that follows a report.
    for _ in 0..after {
        last = lines.next().unwrap().unwrap().parse().unwrap();
    }
    victim.0.kill().unwrap();
    for line in lines {
        last = line.unwrap().parse().unwrap();
    }
    last
}

fn check(folder: &Path, reported: u64) -> u64 {
    let (mut writer, readers) = journal::open(folder, settings()).unwrap();
    let last = writer.last_commit().0;
    assert!(
        last == reported || last == reported + 1,
        "{reported} was reported, {last} is there"
    );
    let expected: Vec<Batch> = (1..=last)
        .map(|number| batch(&mut writer, number))
        .collect();
    let reader = readers.reader().unwrap();
    check_readings(&reader, &expected);
    check_records(&reader, &expected);
    let checkpoint = reader.last_checkpoint().unwrap();
    let expected = expected
        .iter()
        .rev()
        .find_map(|batch| batch.checkpoint.clone());
    assert_eq!(checkpoint.map(|own| own.bytes), expected);
    let found = reader.verify(None, |_| {}).unwrap();
    assert_eq!(found.broken, []);
    last
}

fn check_readings(reader: &Reader, expected: &[Batch]) {
    for index in 0..CHANNELS {
        let name = format!("channel {index}");
        let Some(channel) = reader.channel("probes", &name).unwrap() else {
            assert!(expected.len() < 4);
            continue;
        };
        let expected: Vec<ChannelReading> = expected
            .iter()
            .flat_map(|batch| &batch.readings)
            .filter(|reading| reading.channel == channel)
            .map(|reading| ChannelReading {
                at: reading.at,
                shown: reading.shown,
                fed: reading.fed,
            })
            .collect();
        let kept: Result<Vec<_>, _> = reader
            .readings(channel, Micros(i64::MIN), Micros(i64::MAX))
            .collect();
        assert!(kept.unwrap() == expected, "{name} differs");
    }
}

fn check_records(reader: &Reader, expected: &[Batch]) {
    let records = reader.records(journal::RecordQuery::default());
    let kept: Vec<_> = records
        .map(|kept| kept.unwrap())
        .map(|kept| (kept.at, kept.record))
        .collect();
    let expected: Vec<_> = expected
        .iter()
        .flat_map(|batch| batch.records.clone())
        .collect();
    assert!(kept == expected, "the records differ");
}

fn main() {
    if let Some(folder) = std::env::var_os(CHILD) {
        write_on(Path::new(&folder));
        return;
    }
    // A test runner asks for the names of tests.
    if std::env::args().any(|argument| argument == "--list") {
        println!("a_killed_writer_loses_nothing: test");
        return;
    }
    let kills = std::env::var("INKDWELL_KILLS").map_or(20, |kills| kills.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let mut last = 0;
    for kill in 1..=kills {
        let after = rand::rng().random_range(0..60);
        let reported = kill_one(folder.path(), after, last);
        last = check(folder.path(), reported);
        if kill % 20 == 0 {
            println!("killed {kill} times, {last} commits, nothing lost");
        }
    }
    assert!(last > kills, "the writers hardly wrote: {last} commits");
}
