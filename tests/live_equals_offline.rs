//! A day through the daemon, and the day's readings out of its journal through `inkdwell judge`: the same passes,
//! the same verdicts, the same doses.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{self, PassQuery, Reader, Readers, Shown};
use inkdwell_daemon::keeper::{Command, OpenBatch};
use inkdwell_daemon::record::{Dose, Occurrence, PassJudged};
use inkdwell_daemon::shift::{self, Options, Shift};
use inkdwell_daemon::time::Micros;
use inkdwell_tests::run_in;
use serde_json::Value;

/// The shop's time, and its simulated sources, go so many times faster than the machine's.
const FASTER: f64 = 2000.0;
const RIDES: u32 = 120;
const FLASHES: u32 = 160;

/// A dryer with a junction in the ink and one on the cloth beside it, and a flash unit under a sensor.
fn shop() -> String {
    format!(
        r#"
[shop]
name = "Lantern Yard Print"

[[source]]
id = "dryer"
kind = "simulated"
scenario = "dryer.scenario.toml"
seed = 5
faster = {FASTER}

[[source]]
id = "flash"
kind = "simulated"
scenario = "flash.scenario.toml"
seed = 6
faster = {FASTER}

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
belt = "3.4 m/min"
print_pitch = "0.75 m"
zones = [ {{ length = "1.2 m", air = "180 C" }}, {{ length = "1.2 m", air = "175 C", panel = "400 C" }} ]

[[station]]
id = "flash-1"
kind = "flash-unit"
heated_length = "0.5 m"
zones = [ {{ length = "0.5 m", panel = "520 C" }} ]

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "dryer"
uncertainty = "1.5 C"

[[probe]]
id = "cloth"
station = "belt-1"
place = "cloth"
source = "dryer"
uncertainty = "1.5 C"

[[probe]]
id = "surface"
station = "flash-1"
place = "exit"
distance = "0 m"
spot = "20 mm"
source = "flash"
uncertainty = "1.5 C"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "dryer"

[[signal]]
id = "prints"
station = "belt-1"
kind = "count"
distance = "0.1 m"
source = "dryer"
"#
    )
}

/// Rides one after the other, each two and a half minutes, with most of what can go wrong.
fn dryer() -> String {
    let mut text = format!(
        "shop = \"shop.toml\"\nstation = \"belt-1\"\nink = \"plastisol-standard\"\nfabric = \"cotton-jersey\"\n\
         seed = 1\nrecord = \"rides\"\ninterval = \"0.5 s\"\nprints = {RIDES}\n[truth]\nseed = 11\n"
    );
    for (name, sees) in [
        ("film_c", "film"),
        ("cloth_c", "cloth"),
        ("speed_m_per_min", "belt"),
        ("prints_count", "count"),
    ] {
        let _ = writeln!(text, "[[column]]\nname = \"{name}\"\nsees = \"{sees}\"");
    }
    let events = [
        "what = \"heater-sag\"\nat = \"1000 s\"\nover = \"300 s\"\nzone = 2\nby = \"25 C\"\npanel_by = \"90 C\"\nuntil = \"3000 s\"",
        "what = \"belt-stop\"\nat = \"4090 s\"\nlasting = \"60 s\"",
        "what = \"belt-stop\"\nat = \"5000 s\"\nlasting = \"200 s\"",
        "what = \"wrong-garment\"\nfrom = 40\ncount = 6\nfabric = \"cotton-fleece\"",
        "what = \"wet-garments\"\nfrom = 50\ncount = 5\nmoisture = \"20 %\"",
        "what = \"probe-break\"\nat = \"9000 s\"\ncolumn = \"film_c\"\nas = \"open\"\nuntil = \"9400 s\"",
        "what = \"drop-out\"\nat = \"10000 s\"\nlasting = \"25 s\"",
        "what = \"drop-out\"\nat = \"10200 s\"\nlasting = \"12 s\"\ncolumn = \"cloth_c\"",
        "what = \"spike\"\nat = \"11000 s\"\ncolumn = \"film_c\"\nby = \"300 C\"",
        "what = \"spike\"\nat = \"11030 s\"\ncolumn = \"film_c\"\nby = \"-60 C\"",
    ];
    for event in events {
        let _ = writeln!(text, "[[event]]\n{event}");
    }
    text
}

/// Flashes between colours on platens that warm up, so that the first are too cool and the last too hot.
fn flash() -> String {
    let head = format!(
        "shop = \"shop.toml\"\nstation = \"flash-1\"\nink = \"plastisol-standard\"\nfabric = \"cotton-jersey\"\n\
         seed = 2\nrecord = \"flash\"\ninterval = \"0.5 s\"\nprints = {FLASHES}\nstay = \"1.55 s\"\nevery = \"40 s\"\n\
         platen = [\"24 C\", \"80 C\"]\n[truth]\nseed = 11\n"
    );
    head + "[[column]]\nname = \"surface_c\"\nsees = \"surface\"\n\
            [[event]]\nwhat = \"drop-out\"\nat = \"2001 s\"\nlasting = \"9 s\"\n\
            [[event]]\nwhat = \"spike\"\nat = \"2400 s\"\ncolumn = \"surface_c\"\nby = \"200 C\"\n"
}

fn open(station: &str) -> Command {
    Command::OpenBatch(Box::new(OpenBatch {
        station: station.to_owned(),
        job: "Harbour run".to_owned(),
        ink: "plastisol-standard".to_owned(),
        fabric: "cotton-jersey".to_owned(),
        last_heat: false,
        quantity: None,
        blank_cost: None,
        mesh_per_inch: None,
        ink_mixed: None,
        recipe: None,
        by: "Mara".to_owned(),
    }))
}

/// The day through the daemon; its journal afterwards.
fn live(folder: &Path) -> Readers {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        // The dryer is switched on when the batches are open.
        let shop = Shop::load(&folder.join("shop.toml")).unwrap();
        let mut not_yet = shop.clone();
        not_yet.sources.clear();
        not_yet.probes.clear();
        not_yet.signals.clear();
        let options = Options {
            shop: not_yet,
            digest: "of the shop".to_owned(),
            folder: folder.join("data"),
            faster: FASTER,
            journal: journal::Settings::default(),
            keep_readings: None,
        };
        let shift = shift::start(options).await.unwrap();
        shift.ask(open("belt-1")).await.unwrap();
        shift.ask(open("flash-1")).await.unwrap();
        shift.reload(shop, "of the whole".to_owned()).await.unwrap();
        let deadline = Instant::now() + Duration::from_secs(300);
        while ended(&shift) < 2 {
            assert!(Instant::now() < deadline, "the day does not end");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        let readers = shift.readers().clone();
        shift.stop().await.unwrap();
        readers
    })
}

fn ended(shift: &Shift) -> usize {
    let events = shift
        .readers()
        .reader()
        .unwrap()
        .newest_events(200)
        .unwrap();
    let ends = events.iter().filter(|event| {
        let what = &event.event.what;
        assert!(
            !matches!(
                what,
                Occurrence::SourceDown { .. }
                    | Occurrence::Late { .. }
                    | Occurrence::TurnedAway { .. }
            ),
            "{what:?}"
        );
        matches!(what, Occurrence::SourceEnded { .. })
    });
    ends.count()
}

/// Writes what channels said as a trace file; when it begins.
fn export(reader: &Reader, source: &str, channels: &[&str], file: &Path) -> Micros {
    let mut rows: BTreeMap<Micros, Vec<String>> = BTreeMap::new();
    for (column, name) in channels.iter().enumerate() {
        let channel = reader.channel(source, name).unwrap().unwrap();
        for reading in reader.readings(channel, Micros(i64::MIN), Micros(i64::MAX)) {
            let reading = reading.unwrap();
            assert!(reading.fed, "{name}: {reading:?}");
            let cell = match reading.shown {
                Shown::Number(number) => number.to_string(),
                Shown::Word(_) => "OPEN".to_owned(),
            };
            let row = rows.entry(reading.at);
            row.or_insert_with(|| vec![String::new(); channels.len()])[column] = cell;
        }
    }
    let began = *rows.keys().next().unwrap();
    let names: Vec<String> = channels.iter().map(|name| format!("{name}_c")).collect();
    let mut text = format!("time_s,{}\n", names.join(","));
    for (at, cells) in rows {
        let micros = at.0 - began.0;
        let (seconds, rest) = (micros / 1_000_000, micros % 1_000_000);
        let _ = writeln!(text, "{seconds}.{rest:06},{}", cells.join(","));
    }
    fs::write(file, text).unwrap();
    began
}

/// What `inkdwell judge` says of a file.
fn offline(folder: &Path, file: &str, channel: &str, more: &[&str]) -> Vec<Value> {
    let mut arguments = vec![
        "judge",
        file,
        "--ink",
        "plastisol-standard",
        "--fabric",
        "cotton-jersey",
        "--uncertainty",
        "1.5 C",
        "--channel",
        channel,
        "--json",
    ];
    arguments.extend(more);
    let output = run_in(folder, &arguments);
    let code = output.status.code();
    assert!(matches!(code, Some(0 | 1)), "{output:?}");
    let mut said: Value = serde_json::from_slice(&output.stdout).unwrap();
    match said["passes"].take() {
        Value::Array(passes) => passes,
        other => panic!("{other}"),
    }
}

/// The same to 1e-6 of it, or to a billionth.
fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9_f64.max(1e-6 * a.abs())
}

fn same_dose(live: &Dose, offline: &Value) {
    for (live, key) in [(live.low, "low"), (live.best, "best"), (live.high, "high")] {
        let offline = offline[key].as_f64().unwrap();
        assert!(near(live, offline), "{key}: {live} live, {offline} offline");
    }
}

/// Compares a pass, and gives out its verdict. Where a heating under a lamp ends is known only when the next one
/// begins, so that live it ends where it was coolest until then.
fn same(live: &PassJudged, offline: &Value, began: Micros, is_flash: bool) -> String {
    let judged = live.judged.as_ref().unwrap();
    let number = |key: &str| offline[key].as_f64().unwrap();
    let starts = live.start.seconds_since(began);
    let what = format!("{live:#?}\n{offline:#}");
    assert!((starts - number("start_s")).abs() < 2e-6, "{what}");
    assert_eq!(judged.verdict, offline["verdict"], "{what}");
    assert_eq!(judged.harm.as_deref(), offline["harm"].as_str(), "{what}");
    assert_eq!(judged.evidence, offline["evidence"]);
    assert_eq!(judged.cut, offline["cut"], "{what}");
    assert!(near(judged.peak_c, number("peak_c")), "{what}");
    assert!(near(judged.time_above_s, number("time_above_s")), "{what}");
    let ends = live.end.seconds_since(began);
    if is_flash {
        assert!(ends <= number("end_s") + 2e-6, "{what}");
        assert!(offline["cure"].is_null() && judged.cure.is_none());
    } else {
        assert!((ends - number("end_s")).abs() < 2e-6, "{what}");
        assert!(
            near(judged.max_rise_c_per_s, number("max_rise_c_per_s")),
            "{what}"
        );
        for (live, key) in [
            (judged.samples, "samples"),
            (judged.faults, "faults"),
            (judged.gaps, "gaps"),
        ] {
            assert_eq!(live, offline[key], "{key}: {what}");
        }
        let reasons = serde_json::to_value(&judged.reasons).unwrap();
        assert_eq!(reasons, offline["reasons"]);
        same_dose(judged.cure.as_ref().unwrap(), &offline["cure"]);
    }
    let harms = offline["harms"].as_array().unwrap();
    assert_eq!(judged.harms.len(), harms.len());
    for (live, offline) in judged.harms.iter().zip(harms) {
        assert_eq!(live.harm, offline["harm"]);
        same_dose(&live.dose, offline);
    }
    judged.verdict.clone()
}

fn passes_at(reader: &Reader, station: &str) -> Vec<PassJudged> {
    let query = PassQuery {
        station: Some(station.to_owned()),
        ..PassQuery::default()
    };
    let kept = reader.passes(&query).unwrap().into_iter();
    kept.map(|kept| kept.pass).collect()
}

#[test]
fn a_day_is_judged_live_as_it_is_offline() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::write(folder.join("shop.toml"), shop()).unwrap();
    fs::write(folder.join("dryer.scenario.toml"), dryer()).unwrap();
    fs::write(folder.join("flash.scenario.toml"), flash()).unwrap();
    let readers = live(folder);
    let reader = readers.reader().unwrap();

    let began = export(
        &reader,
        "dryer",
        &["film", "cloth"],
        &folder.join("dryer.csv"),
    );
    let rides = offline(folder, "dryer.csv", "film", &[]);
    let seen = passes_at(&reader, "belt-1");
    let (measured, unseen): (Vec<_>, Vec<_>) =
        seen.into_iter().partition(|pass| pass.probe.is_some());
    assert_eq!(measured.len(), rides.len());
    let verdicts: Vec<String> = measured
        .iter()
        .zip(&rides)
        .map(|(live, offline)| same(live, offline, began, false))
        .collect();
    let kinds: BTreeSet<&str> = verdicts.iter().map(String::as_str).collect();
    assert!(rides.len() > 100, "{}", rides.len());
    assert!(
        ["cured", "under-cured", "unproven"]
            .iter()
            .all(|kind| kinds.contains(kind)),
        "{kinds:?}"
    );
    // Every print was counted once: as the ride that it was, or as one that no probe saw.
    let numbers = measured.iter().chain(&unseen).filter_map(|pass| pass.print);
    let mut numbers: Vec<u64> = numbers.collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=u64::from(RIDES)).collect::<Vec<u64>>());

    let began = export(&reader, "flash", &["surface"], &folder.join("flash.csv"));
    let flashes = offline(folder, "flash.csv", "surface", &["--place", "flash"]);
    let seen = passes_at(&reader, "flash-1");
    assert_eq!(seen.len(), flashes.len());
    let verdicts: Vec<String> = seen
        .iter()
        .zip(&flashes)
        .map(|(live, offline)| same(live, offline, began, true))
        .collect();
    let kinds: BTreeSet<&str> = verdicts.iter().map(String::as_str).collect();
    assert!(flashes.len() > 150, "{}", flashes.len());
    assert!(
        ["gelled", "under-flashed", "over-flashed"]
            .iter()
            .all(|kind| kinds.contains(kind)),
        "{kinds:?}"
    );
}
