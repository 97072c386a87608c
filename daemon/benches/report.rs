//! How long a report takes: a day of 10 000 prints and a million readings, and a year.
//!
//! `cargo bench -p inkdwell-daemon --bench report`. The year is 250 days of 1000 prints; making it takes a while.
//! `INKDWELL_BENCH_DAYS=20` makes a month.

use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

use chrono::{Days, NaiveDate, NaiveTime};
use criterion::{Criterion, criterion_group, criterion_main};
use inkdwell_config::library::Library;
use inkdwell_config::shop::Shop;
use inkdwell_config::written::declared;
use inkdwell_daemon::journal::{self, Batch, JournaledReading, Reader, Readers, Settings, Shown};
use inkdwell_daemon::record::{
    BatchClosed, BatchOpened, Dose, HarmSeen, Judged, PassJudged, Place, Record,
};
use inkdwell_daemon::report::{Asked, ShopFile, When, gather, html};
use inkdwell_daemon::time::Micros;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

const DAY: i64 = 86_400_000_000;
/// 2026-03-02 06:00 UTC.
const BEGIN: i64 = 1_772_431_200_000_000;
const SHOP: &str = r#"
[shop]
name = "Lantern Yard Print"
timezone = "Europe/Vienna"
[[source]]
id = "line"
kind = "replay"
file = "trace.csv"
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
belt = "2.6 m/min"
zones = [ { length = "2.4 m", air = "190 C" } ]
[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"
[[signal]]
id = "belt-speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"
"#;

fn shop() -> ShopFile {
    let shop = Shop::parse("shop.toml", SHOP);
    assert!(shop.problems.is_empty(), "{:?}", shop.problems);
    ShopFile::named(shop.value)
}

fn judged(peak: f64) -> Judged {
    let dose = |best: f64| Dose {
        low: 0.9 * best,
        best,
        high: 1.1 * best,
    };
    Judged {
        evidence: "inferred".to_owned(),
        cut: false,
        samples: 120,
        faults: 0,
        gaps: 0,
        peak_c: peak,
        threshold_c: 160.0,
        time_above_s: 14.0,
        max_rise_c_per_s: 5.0,
        uncertainty_c: 2.5,
        cure: Some(dose(3.0 * (0.2 * (peak - 175.0)).exp())),
        harms: vec![HarmSeen {
            harm: "scorch".to_owned(),
            dose: dose(0.1),
        }],
        verdict: "cured".to_owned(),
        harm: None,
        reasons: Vec::new(),
        remarks: vec![
            "this presumes the batch's own garment: one half as heavy again can read hotter"
                .to_owned(),
        ],
    }
}

/// Days with so many prints each in batches of five hundred, and readings of three channels besides.
fn year(folder: &Path, days: i64, prints: i64, readings: i64) -> Readers {
    let settings = Settings {
        keep_free: Some(0),
        ..Settings::default()
    };
    let (mut writer, readers) = journal::open(folder, settings).expect("a journal");
    let channels = ["film", "zone-1", "belt-speed"].map(|name| writer.channel("line", name));
    let library = Library::shipped();
    let (ink, fabric) = (
        library.ink("plastisol-standard").expect("an ink"),
        library.fabric("cotton-jersey").expect("a fabric"),
    );
    let mut random = StdRng::seed_from_u64(1);
    let (mut batch, mut number) = (0, 0);
    let hours = 10 * 3_600_000_000;
    for day in 0..days {
        let begun = BEGIN + day * DAY;
        for chunk in 0..(prints / 500).max(1) {
            batch += 1;
            let mut records = vec![(
                Micros(begun + chunk * hours / (prints / 500).max(1)),
                Record::BatchOpened(BatchOpened {
                    batch,
                    station: "belt-1".to_owned(),
                    job: format!("job {batch}"),
                    ink: ink.id.clone(),
                    fabric: fabric.id.clone(),
                    declared: declared(ink, fabric),
                    last_heat: false,
                    quantity: Some(500),
                    blank_cost: Some(6.0),
                    mesh_per_inch: None,
                    ink_mixed: None,
                    recipe: None,
                    by: "Mara".to_owned(),
                }),
            )];
            for print in 0..prints.min(500) {
                number += 1;
                let noise: f64 = (0..4).map(|_| random.random::<f64>()).sum::<f64>() - 2.0;
                let start = Micros(begun + (chunk * 500 + print) * hours / prints);
                let pass = PassJudged {
                    pass: number,
                    station: "belt-1".to_owned(),
                    probe: Some("film".to_owned()),
                    place: Place::Exit,
                    start,
                    end: Micros(start.0 + 30_000_000),
                    batch: Some(batch),
                    print: Some(print as u64 + 1),
                    belt_m_per_min: Some(2.6),
                    judged: Some(judged(175.0 + noise)),
                };
                records.push((pass.end, Record::PassJudged(pass)));
            }
            let at = records.last().map_or(Micros(begun), |(at, _)| *at);
            let by = "Mara".to_owned();
            records.push((at, Record::BatchClosed(BatchClosed { batch, by })));
            writer
                .commit(&Batch {
                    records,
                    ..Batch::default()
                })
                .expect("a commit");
        }
        for part in 0..readings / 50_000 {
            let readings = (0..50_000).map(|index| {
                let place = part * 50_000 + index;
                let noise = random.random::<f64>();
                JournaledReading {
                    channel: channels[(place % 3) as usize],
                    at: Micros(begun + place * hours / readings),
                    shown: Shown::Number(((180.0 + noise) * 10.0).round() / 10.0),
                    fed: true,
                }
            });
            let batch = Batch {
                readings: readings.collect(),
                checkpoint: Some(vec![0; 1000]),
                ..Batch::default()
            };
            writer.commit(&batch).expect("a commit");
            while writer.tidy(Duration::from_millis(50)).expect("upkeep").more {}
        }
    }
    readers
}

fn day(reader: &Reader, shop: &ShopFile, date: NaiveDate) -> inkdwell_daemon::report::Report {
    let begins = NaiveTime::MIN;
    let asked = Asked {
        when: When::Day { date, begins },
        ..Asked::default()
    };
    gather(reader, Some(shop), &asked, None, Micros(BEGIN)).expect("a report")
}

/// One day; a journal is made only for what is measured.
fn one_day(measured: impl FnOnce(&Reader, &ShopFile, NaiveDate)) {
    let folder = tempfile::tempdir().expect("a folder");
    let readers = year(folder.path(), 1, 10_000, 1_000_000);
    let date = NaiveDate::from_ymd_opt(2026, 3, 2).expect("a day");
    measured(&readers.reader().expect("a reader"), &shop(), date);
}

fn days(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("a day of 10 000 prints and a million readings");
    group.sample_size(10);
    group.bench_function("gathered", |bencher| {
        one_day(|reader, shop, date| {
            assert_eq!(day(reader, shop, date).prints, 10_000);
            bencher.iter(|| day(black_box(reader), shop, date));
        });
    });
    group.bench_function("as a page", |bencher| {
        one_day(|reader, shop, date| {
            let report = day(reader, shop, date);
            bencher.iter(|| html::page(black_box(&report)).expect("a page"));
        });
    });
    group.finish();
}

fn years(criterion: &mut Criterion) {
    let days = std::env::var("INKDWELL_BENCH_DAYS");
    let days: i64 = days.ok().and_then(|days| days.parse().ok()).unwrap_or(250);
    let first = NaiveDate::from_ymd_opt(2026, 3, 2).expect("a day");
    let asked = Asked {
        when: When::Days {
            first,
            last: first + Days::new(days as u64),
            begins: NaiveTime::MIN,
        },
        ..Asked::default()
    };
    let mut group = criterion.benchmark_group("a year");
    group.sample_size(10);
    group.bench_function(format!("{days} days of 1000 prints"), |bencher| {
        let folder = tempfile::tempdir().expect("a folder");
        let readers = year(folder.path(), days, 1000, 0);
        let (reader, shop) = (readers.reader().expect("a reader"), shop());
        bencher.iter(|| {
            let report = gather(black_box(&reader), Some(&shop), &asked, None, Micros(BEGIN));
            assert_eq!(report.expect("a report").prints, 1000 * days as u64);
        });
    });
    group.finish();
}

criterion_group!(benches, days, years);
criterion_main!(benches);
