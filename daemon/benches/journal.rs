//! How fast the journal is: commits, packing, catching up, opening and asking after a year.
//!
//! `cargo bench -p inkdwell-daemon --bench journal`. The year is 300 days of 3000 passes, each day one commit;
//! it takes some minutes to make. `INKDWELL_BENCH_DAYS=30` makes a month.

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

mod year;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use inkdwell_daemon::journal::{
    self, Batch, Batches, ChannelNumber, CommitNumber, JournaledReading, PassQuery, Readers,
    Settings, Shown, Writer,
};
use inkdwell_daemon::time::Micros;
use year::{BEGIN, DAY};

use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

const CHANNELS: usize = 100;

fn open(folder: &Path) -> (Writer, Readers) {
    let settings = Settings {
        keep_free: Some(0),
        ..Settings::default()
    };
    journal::open(folder, settings).expect("a journal")
}

fn channels(writer: &mut Writer) -> Vec<ChannelNumber> {
    (0..CHANNELS)
        .map(|index| writer.channel("line", &format!("probe {index}")))
        .collect()
}

/// A hundred probes to 0.1 °C with noise, each read at the given rate and arriving up to 16 ms late.
struct Shop {
    random: StdRng,
    channels: Vec<ChannelNumber>,
    second: f64,
}

impl Shop {
    fn new(writer: &mut Writer) -> Shop {
        Shop {
            random: StdRng::seed_from_u64(1),
            channels: channels(writer),
            second: 0.0,
        }
    }

    /// So many readings over so many seconds.
    fn readings(&mut self, count: usize, seconds: f64) -> Vec<JournaledReading> {
        let begun = self.second;
        self.second += seconds;
        (0..count)
            .map(|index| {
                let late = self.random.random_range(0.0..0.016);
                let second = begun + seconds * index as f64 / count as f64 + late;
                let noise: f64 = (0..4).map(|_| self.random.random::<f64>()).sum::<f64>() - 2.0;
                let shown = 180.0 + 2.0 * (second / 60.0).sin() + 0.4 * noise;
                JournaledReading {
                    channel: self.channels[index % CHANNELS],
                    at: Micros(BEGIN + (second * 1e6) as i64),
                    shown: Shown::Number((shown * 10.0).round() / 10.0),
                    fed: true,
                }
            })
            .collect()
    }
}

fn commits(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("commit");
    // Fifty milliseconds at 1000, 10 000 and 150 000 readings a second.
    for count in [50, 500, 7500] {
        let folder = tempfile::tempdir().expect("a folder");
        let (mut writer, _readers) = open(folder.path());
        let mut shop = Shop::new(&mut writer);
        let batch = Batch {
            readings: shop.readings(count, 0.05),
            ..Batch::default()
        };
        let mut number = 0u32;
        group.throughput(Throughput::Elements(count as u64));
        group.bench_function(format!("{count} readings"), |bencher| {
            bencher.iter(|| {
                writer.commit(&batch).expect("a commit");
                number += 1;
                if number.is_multiple_of(200) {
                    let batch = Batch {
                        checkpoint: Some(vec![0; 20_000]),
                        ..Batch::default()
                    };
                    writer.commit(&batch).expect("a checkpoint");
                }
                writer.tidy(Duration::from_millis(1)).expect("upkeep");
            });
        });
    }
    group.finish();
}

/// What this thread has spent on the processor, where the system tells (Linux).
fn on_the_processor() -> Option<Duration> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds = told.split(' ').next()?.parse().ok()?;
    Some(Duration::from_nanos(nanoseconds))
}

/// A second at 10 000 readings a second: twenty commits, with the packing that they lead to. Waiting for the disk
/// does not count.
fn processor(criterion: &mut Criterion) {
    if on_the_processor().is_none() {
        println!("SKIPPED: this system does not tell what a thread spends on the processor");
        return;
    }
    let mut group = criterion.benchmark_group("on the processor");
    group.throughput(Throughput::Elements(10_000));
    let folder = tempfile::tempdir().expect("a folder");
    let (mut writer, _readers) = open(folder.path());
    let mut shop = Shop::new(&mut writer);
    group.bench_function("a second at 10 000 readings a second", |bencher| {
        bencher.iter_custom(|times| {
            let mut spent = Duration::ZERO;
            for _ in 0..times {
                let batches: Vec<Vec<JournaledReading>> =
                    (0..20).map(|_| shop.readings(500, 0.05)).collect();
                let begun = on_the_processor().unwrap_or_default();
                for (readings, index) in batches.into_iter().zip(0..) {
                    let checkpoint = (index == 19).then(|| vec![0; 20_000]);
                    let batch = Batch {
                        readings,
                        checkpoint,
                        ..Batch::default()
                    };
                    writer.commit(&batch).expect("a commit");
                    writer.tidy(Duration::from_millis(5)).expect("upkeep");
                }
                spent += on_the_processor().unwrap_or_default() - begun;
            }
            spent
        });
    });
    group.finish();
}

fn packing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("pack");
    group.sample_size(10);
    let count = 200_000;
    group.throughput(Throughput::Elements(count));
    group.bench_function("200 000 readings of 100 channels", |bencher| {
        bencher.iter_custom(|times| {
            let mut spent = Duration::ZERO;
            for _ in 0..times {
                let folder = tempfile::tempdir().expect("a folder");
                let (mut writer, readers) = open(folder.path());
                let mut shop = Shop::new(&mut writer);
                for _ in 0..20 {
                    let readings = shop.readings(10_000, 10.0);
                    let checkpoint = Some(Vec::new());
                    let batch = Batch {
                        readings,
                        checkpoint,
                        ..Batch::default()
                    };
                    writer.commit(&batch).expect("a commit");
                }
                let (begun, mut longest) = (Instant::now(), Duration::ZERO);
                loop {
                    let step = Instant::now();
                    let tidied = writer.tidy(Duration::from_millis(5)).expect("upkeep");
                    longest = longest.max(step.elapsed());
                    if !tidied.more {
                        break;
                    }
                }
                spent += begun.elapsed();
                let sizes = readers.reader().expect("a reader").sizes().expect("sizes");
                let bytes = sizes.packed_bytes as f64 / sizes.packed_readings as f64;
                println!("{bytes:.2} bytes a reading; the longest upkeep took {longest:?}");
            }
            spent
        });
    });
    group.finish();
}

fn replay(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut writer, readers) = open(folder.path());
    let mut shop = Shop::new(&mut writer);
    // A minute at 10 000 a second.
    for _ in 0..1200 {
        let readings = shop.readings(500, 0.05);
        writer
            .commit(&Batch {
                readings,
                ..Batch::default()
            })
            .expect("a commit");
    }
    let reader = readers.reader().expect("a reader");
    let mut group = criterion.benchmark_group("replay");
    group.sample_size(10);
    group.throughput(Throughput::Elements(600_000));
    group.bench_function("a minute at 10 000 readings a second", |bencher| {
        bencher.iter(|| {
            let commits = reader.replay_after(CommitNumber(0));
            commits
                .map(|commit| commit.expect("a commit").readings.len())
                .sum::<usize>()
        });
    });
    group.finish();
}

fn after_a_year(criterion: &mut Criterion) {
    let days = std::env::var("INKDWELL_BENCH_DAYS").map_or(300, |days| days.parse().expect("days"));
    let folder = tempfile::tempdir().expect("a folder");
    let (mut writer, readers) = open(folder.path());
    year::passes(&mut writer, days);
    drop(writer);
    let reader = readers.reader().expect("a reader");
    println!("{days} days: {:?}", reader.sizes().expect("sizes"));
    let mut group = criterion.benchmark_group(format!("after {days} days"));
    group.sample_size(10);
    group.bench_function("open", |bencher| {
        bencher.iter(|| {
            let (writer, readers) = open(folder.path());
            let reader = readers.reader().expect("a reader");
            let checkpoint = reader.last_checkpoint().expect("a checkpoint");
            let next = writer.next_numbers().expect("numbers");
            black_box((checkpoint, next, reader.last_time().expect("a time")))
        });
    });
    group.bench_function("newest 50 passes", |bencher| {
        let query = PassQuery {
            newest: Some(50),
            ..PassQuery::default()
        };
        bencher.iter(|| reader.passes(&query).expect("passes"));
    });
    group.bench_function("the passes of a day", |bencher| {
        let from = BEGIN + (days as i64 / 2) * DAY;
        let query = PassQuery {
            from: Some(Micros(from)),
            before: Some(Micros(from + DAY)),
            ..PassQuery::default()
        };
        bencher.iter(|| reader.passes(&query).expect("passes"));
    });
    group.bench_function("the newest 20 batches with counts", |bencher| {
        bencher.iter(|| reader.batches(Batches::Newest(20)).expect("batches"));
    });
    group.bench_function("verify", |bencher| {
        bencher.iter(|| reader.verify(None, |_| {}).expect("an answer").broken.len());
    });
    group.finish();
}

criterion_group!(benches, commits, processor, packing, replay, after_a_year);
criterion_main!(benches);
