//! How long the daemon takes to start on the journal of a year: a batch of 3000 prints on each of 365 days with
//! the holds that they leave, and the readings that retention leaves: ten probes, one a second, of the last days.
//!
//! The year takes some gigabytes in the folder for temporary files (`TMPDIR`), and minutes to make.
//! `INKDWELL_BENCH_DAYS` and `INKDWELL_BENCH_KEPT_DAYS` make it smaller or larger:
//! `INKDWELL_BENCH_DAYS=3 INKDWELL_BENCH_KEPT_DAYS=0 cargo bench -p inkdwell-daemon --bench whole -- start`.

use std::fs;
use std::time::{Duration, Instant};

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{self, Batch, JournaledReading, Settings, Shown, Writer};
use inkdwell_daemon::keeper::Keeper;
use inkdwell_daemon::time::Micros;

use super::child::Daemon;
use super::year::{self, BEGIN, DAY};

/// Probes whose readings are kept.
const PROBES: usize = 10;
/// Readings committed at once.
const PORTION: i64 = 600;
const STARTS: usize = 7;

fn days(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |days| days.parse().expect("a number of days"))
}

fn shop() -> String {
    let mut text = String::from(
        "[shop]\nname = \"Lantern Yard Print\"\n\n[[source]]\nid = \"line\"\nkind = \"replay\"\n\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\n\
         zones = [ { length = \"2.4 m\", air = \"190 C\" } ]\n\n[board]\nlisten = \"127.0.0.1:0\"\n",
    );
    for probe in 0..PROBES {
        text += &format!(
            "\n[[probe]]\nid = \"p{probe}\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"line\"\n"
        );
    }
    text
}

pub fn measure() {
    let (all, kept) = (
        days("INKDWELL_BENCH_DAYS", 365),
        days("INKDWELL_BENCH_KEPT_DAYS", 7),
    );
    let folder = tempfile::tempdir().expect("a folder");
    let (file, data) = (folder.path().join("shop.toml"), folder.path().join("data"));
    fs::write(&file, shop()).expect("a file");
    let begun = Instant::now();
    make(&data, all, kept);
    println!(
        "made {all} days, readings of the last {kept}, in {:.0?}",
        begun.elapsed()
    );
    let mut starts: Vec<Duration> = Vec::new();
    for number in 0..STARTS {
        let mut daemon = Daemon::start(&file, &data);
        starts.push(daemon.started_after);
        // Every other one is stopped well, the others are killed.
        if number % 2 == 0 {
            daemon.stop();
        }
    }
    starts.sort_unstable();
    println!(
        "start to first answer after {all} days: median {:.0?}, longest {:.0?}",
        starts[STARTS / 2],
        starts[STARTS - 1]
    );
}

fn make(data: &std::path::Path, all: u64, kept: u64) {
    let settings = Settings {
        keep_free: Some(0),
        ..Settings::default()
    };
    let (mut writer, readers) = journal::open(data, settings).expect("a journal");
    year::passes(&mut writer, all);
    let last = BEGIN + all as i64 * DAY;
    readings(&mut writer, last - kept as i64 * DAY, last);
    let checked = Shop::parse("shop.toml", &shop());
    assert!(checked.problems.is_empty(), "{:?}", checked.problems);
    let mut keeper = Keeper::new(checked.value, Micros(last), Micros(last));
    let next = writer.next_numbers().expect("numbers");
    keeper.count_from(
        next.pass - 1,
        next.batch - 1,
        next.hold - 1,
        next.recipe - 1,
    );
    let checkpoint = Some(keeper.checkpoint().expect("a checkpoint"));
    let batch = Batch {
        checkpoint,
        ..Batch::default()
    };
    writer.commit(&batch).expect("a commit");
    let sizes = readers.reader().expect("a reader").sizes().expect("sizes");
    println!("{sizes:?}");
}

/// One a second from each probe, packed as upkeep leaves them.
fn readings(writer: &mut Writer, from: i64, to: i64) {
    let channels: Vec<_> = (0..PROBES)
        .map(|probe| writer.channel("line", &format!("p{probe}")))
        .collect();
    let mut second = from / 1_000_000;
    while second < to / 1_000_000 {
        let portion = second..(second + PORTION).min(to / 1_000_000);
        let readings = portion.flat_map(|second| {
            channels
                .iter()
                .enumerate()
                .map(move |(number, channel)| JournaledReading {
                    channel: *channel,
                    at: Micros(second * 1_000_000 + number as i64),
                    // Tenths of a degree about 190 °C, the same every time.
                    shown: Shown::Number(
                        (1900 + (second * 104_729 + number as i64 * 7919) % 11) as f64 / 10.0,
                    ),
                    fed: true,
                })
        });
        let batch = Batch {
            readings: readings.collect(),
            checkpoint: Some(Vec::new()),
            ..Batch::default()
        };
        writer.commit(&batch).expect("a commit");
        while writer.tidy(Duration::from_millis(20)).expect("upkeep").more {}
        second += PORTION;
    }
}
