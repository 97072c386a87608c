//! Replayed traces and the simulated shop, as sources.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::Shop;
use inkdwell_daemon::intake::{Arrival, Delivery, Notice, Said, SourceId, Value, queue};
use inkdwell_daemon::source::health::{Health, Line};
use inkdwell_daemon::source::{replay, simulated};
use inkdwell_simulated_traces::scenario::Scenario;
use tokio::sync::mpsc::Receiver;
use tokio::task::JoinHandle;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

struct Played {
    queue: Receiver<Arrival>,
    health: Arc<Health>,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

fn play_file(file: &Path, faster: f64, arrivals: usize) -> Played {
    let (intake, queue, _) = queue(arrivals);
    let (health, stop) = (Arc::new(Health::default()), CancellationToken::new());
    let (own, end) = (Arc::clone(&health), stop.clone());
    let task = replay::run(SourceId(3), file.to_owned(), faster, intake, own, end);
    let task = tokio::spawn(task);
    Played {
        queue,
        health,
        stop,
        task,
    }
}

fn play_scenario(scenario: Scenario, faster: f64) -> Played {
    let (intake, queue, _) = queue(64);
    let (health, stop) = (Arc::new(Health::default()), CancellationToken::new());
    let (own, end) = (Arc::clone(&health), stop.clone());
    let task = tokio::spawn(simulated::run(
        SourceId(3),
        scenario,
        faster,
        intake,
        own,
        end,
    ));
    Played {
        queue,
        health,
        stop,
        task,
    }
}

impl Played {
    async fn next(&mut self) -> Arrival {
        let next = tokio::time::timeout(Duration::from_secs(86_400), self.queue.recv());
        next.await.unwrap().unwrap()
    }

    async fn delivery(&mut self) -> Delivery {
        match self.next().await {
            Arrival::Delivery(delivery) => delivery,
            Arrival::Notice(_, _, notice) => panic!("{notice:?}"),
        }
    }

    async fn notice(&mut self) -> Notice {
        match self.next().await {
            Arrival::Notice(_, _, notice) => notice,
            Arrival::Delivery(delivery) => panic!("{delivery:?}"),
        }
    }

    /// All rows to the end.
    async fn all(&mut self) -> Vec<Vec<Said>> {
        assert_eq!(self.notice().await, Notice::Up);
        let mut rows = Vec::new();
        loop {
            match self.next().await {
                Arrival::Delivery(delivery) => rows.push(delivery.said),
                Arrival::Notice(_, _, Notice::Ended) => return rows,
                Arrival::Notice(_, _, notice) => panic!("{notice:?}"),
            }
        }
    }
}

fn file(text: &str) -> tempfile::NamedTempFile {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

fn number(said: &Said) -> f64 {
    match said.value {
        Value::Number(number) => number,
        ref other => panic!("{other:?}"),
    }
}

/// 212 °F are 100 °C; 4.096 mV of a thermocouple of type K are 100 °C against a junction of 0 °C
/// (NIST Monograph 175, table for type K). The time is `date -u -d 2026-02-03T04:05:06Z +%s`.
#[tokio::test(start_paused = true)]
async fn columns_become_channels_in_the_units_that_are_promised() {
    let file = file(
        "# started: 2026-02-03T05:05:06+01:00\n\
         time_s,film_c,exit_f,probe_k_mv,junction_c,belt_ft_per_min,prints_count,film_f,remark\n\
         10,20.5,212,4.096,0,8.5,3,99,x\n\
         11.5,OPEN,,,,,,,\n",
    );
    let mut played = play_file(file.path(), 1.0, 10);
    let rows = played.all().await;
    let names: Vec<&str> = rows[0].iter().map(|said| said.channel.as_ref()).collect();
    assert_eq!(
        names,
        ["film", "exit", "probe", "junction", "belt", "prints"]
    );
    let numbers: Vec<f64> = rows[0].iter().map(number).collect();
    for (found, expected) in numbers.iter().zip([20.5, 100.0, 100.0, 0.0, 8.5, 3.0]) {
        assert!((found - expected).abs() < 0.02, "{numbers:?}");
    }
    let began = 1_770_091_506_000_000;
    assert!(rows[0].iter().all(|said| said.device_time == Some(began)));
    let [open] = &rows[1][..] else {
        panic!("{rows:?}");
    };
    assert_eq!(open.value, Value::NoNumber("no number".into()));
    assert_eq!(open.device_time, Some(began + 1_500_000));
    assert_eq!(played.health.line(), Line::Ended);
    assert_eq!(played.health.counts().readings, 7);
    played.task.await.unwrap();
}

/// Rows at their own times, whatever the speed; a stall makes none after it late.
#[tokio::test(start_paused = true)]
async fn rows_keep_their_times_without_drift() {
    let times = [0.0, 100.0, 200.25, 200.25, 300.0, 600.0];
    let rows: String = times.iter().map(|time| format!("{time},20\n")).collect();
    let file = file(&format!("time_s,film_c\n{rows}"));
    for faster in [1.0, 60.0, 0.5] {
        let mut played = play_file(file.path(), faster, 1);
        assert_eq!(played.notice().await, Notice::Up);
        let (mut begun, mut first) = (None, None);
        for (number, time) in times.iter().enumerate() {
            let said = played.delivery().await.said;
            let begun = *begun.get_or_insert_with(Instant::now);
            let first = *first.get_or_insert(said[0].device_time.unwrap());
            let passed = said[0].device_time.unwrap() - first;
            assert_eq!(passed, (time * 1e6) as i64, "the trace's own seconds");
            let (elapsed, due) = (begun.elapsed().as_secs_f64(), time / faster);
            assert!((elapsed - due).abs() < 0.01, "{elapsed} s instead of {due}");
            if number == 1 {
                // The daemon takes nothing for a while, until just before the row after next.
                tokio::time::sleep(Duration::from_secs_f64(90.0 / faster)).await;
            }
        }
        assert_eq!(played.notice().await, Notice::Ended);
    }
}

#[tokio::test(start_paused = true)]
async fn a_trace_without_a_beginning_begins_now_or_with_its_first_row() {
    let told = file("time,film_c\n2026-02-03T04:05:06.5Z,20\n2026-02-03T04:05:08Z,21\n");
    let rows = play_file(told.path(), 1.0, 10).all().await;
    assert_eq!(rows[0][0].device_time, Some(1_770_091_506_500_000));
    assert_eq!(rows[1][0].device_time, Some(1_770_091_508_000_000));
    let untold = file("time_s,film_c\n5,20\n");
    let before = chrono::Utc::now().timestamp_micros();
    let rows = play_file(untold.path(), 1.0, 10).all().await;
    let after = chrono::Utc::now().timestamp_micros();
    assert!((before..=after).contains(&rows[0][0].device_time.unwrap()));
}

#[tokio::test(start_paused = true)]
async fn a_broken_file_is_played_up_to_the_break_and_named() {
    let broken = file("time_s,film_c\n0,20\n1,21\n0.5,22\n");
    let mut played = play_file(broken.path(), 1.0, 10);
    assert_eq!(played.notice().await, Notice::Up);
    assert_eq!(number(&played.delivery().await.said[0]), 20.0);
    assert_eq!(number(&played.delivery().await.said[0]), 21.0);
    let Notice::Down(why) = played.notice().await else {
        panic!("no trouble was said");
    };
    let place = format!("{}: 4: time_s: ", broken.path().display());
    assert!(why.starts_with(&place), "{why}");
    assert_eq!(played.notice().await, Notice::Ended);
    assert_eq!(played.health.line(), Line::Down(why));

    let undated = file("# started: yesterday\ntime_s,film_c\n0,20\n");
    let empty = file("");
    for (path, sentence) in [
        (
            undated.path().to_owned(),
            ":1: started: \"yesterday\" is no time",
        ),
        (empty.path().to_owned(), "; "),
        (PathBuf::from("/nowhere/trace.csv"), "cannot be read"),
    ] {
        let mut played = play_file(&path, 1.0, 10);
        let Notice::Down(why) = played.notice().await else {
            panic!("no trouble was said");
        };
        let named = why.contains(&path.display().to_string());
        assert!(named && why.contains(sentence), "{why}");
        assert_eq!(played.notice().await, Notice::Ended);
    }
}

#[tokio::test]
async fn a_replay_stops_when_told() {
    let rows: String = (0..5000).map(|row| format!("{row},20\n")).collect();
    let file = file(&format!("time_s,film_c\n{rows}"));
    let mut played = play_file(file.path(), 1.0, 10);
    assert_eq!(played.notice().await, Notice::Up);
    played.stop.cancel();
    let ended = tokio::time::timeout(Duration::from_secs(30), played.task);
    ended.await.unwrap().unwrap();
}

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../simulated-traces/samples")
}

/// The sample files were written by the scenarios that lie beside them. A scenario that is played says what
/// its file says.
#[tokio::test]
async fn a_scenario_is_played_as_its_sample_file() {
    let shop = Shop::parse("shop.toml", SHOP).value;
    for name in [
        "exit-run",
        "open-circuit",
        "millivolts",
        "fahrenheit",
        "flash",
    ] {
        let path = samples().join(format!("{name}.scenario.toml"));
        let own = Scenario::load(&path).unwrap().seed;
        let scenario = simulated::scenario(&shop, "s", Some(&path), own).unwrap();
        let simulated = play_scenario(scenario, 1e6).all().await;
        let file = samples().join(format!("{name}.csv"));
        let replayed = play_file(&file, 1e6, 64).all().await;
        assert_eq!(simulated.len(), replayed.len(), "{name}");
        let began = |rows: &[Vec<Said>]| rows[0][0].device_time.unwrap();
        let (one, other) = (began(&simulated), began(&replayed));
        for (simulated, replayed) in simulated.iter().flatten().zip(replayed.iter().flatten()) {
            assert_eq!(simulated.channel, replayed.channel);
            let passed = simulated.device_time.unwrap() - one;
            assert!((passed - (replayed.device_time.unwrap() - other)).abs() <= 1);
            match (&simulated.value, &replayed.value) {
                (Value::Number(simulated), Value::Number(replayed)) => {
                    assert!(
                        (simulated - replayed).abs() < 1e-6,
                        "{name}: {simulated} {replayed}"
                    );
                }
                (simulated, replayed) => assert_eq!(simulated, replayed),
            }
        }
    }
}

const SHOP: &str = r#"
[[source]]
id = "pretended"
kind = "simulated"

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2.4 m"
belt = "2.6 m/min"
print_pitch = "0.75 m"
zones = [ { length = "1.2 m", air = "190 C" }, { length = "1.2 m", air = "180 C", panel = "420 C" } ]

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "pretended"

[[probe]]
id = "exit"
station = "belt-1"
place = "exit"
source = "pretended"
channel = "ir, \"old\""
distance = "0.35 m"
spot = "30 mm"

[[probe]]
id = "panel"
station = "belt-1"
place = "zone"
zone = 2
senses = "panel"
source = "pretended"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "ft/min"
source = "pretended"

[[signal]]
id = "prints"
station = "belt-1"
kind = "count"
source = "pretended"
"#;

/// Without a scenario file everything that reads from the source is simulated, without end.
#[tokio::test]
async fn a_shop_without_a_scenario_is_simulated_as_it_is_declared() {
    let checked = Shop::parse("shop.toml", SHOP);
    assert!(checked.problems.is_empty(), "{:?}", checked.problems);
    let shop = checked.value;
    let play = |seed| {
        let scenario = simulated::scenario(&shop, "pretended", None, seed).unwrap();
        play_scenario(scenario, 1e6)
    };
    let mut runs = Vec::new();
    for seed in [5, 5, 6] {
        let mut played = play(seed);
        assert_eq!(played.notice().await, Notice::Up);
        let mut run: Vec<(String, Value, i64)> = Vec::new();
        let (mut began, mut hottest) = (None, f64::MIN);
        for _ in 0..600 {
            for said in played.delivery().await.said {
                let time = said.device_time.unwrap();
                let passed = time - *began.get_or_insert(time);
                if let (Value::Number(number), "panel") = (&said.value, &*said.channel) {
                    hottest = hottest.max(*number);
                }
                run.push((said.channel.to_string(), said.value, passed));
            }
        }
        // Half a second from row to row, whatever the speed.
        assert_eq!(run.last().unwrap().2, 599 * 500_000);
        assert!((330.0..520.0).contains(&hottest), "{hottest}");
        // 2.6 m/min are 8.53 ft/min, and belts slip a little.
        let speeds = run.iter().filter(|(channel, ..)| channel == "speed");
        for (_, speed, _) in speeds {
            let Value::Number(speed) = speed else {
                continue;
            };
            assert!((speed - 8.53).abs() < 0.4, "{speed}");
        }
        played.stop.cancel();
        let ended = tokio::time::timeout(Duration::from_secs(30), played.task);
        ended.await.unwrap().unwrap();
        runs.push(run);
    }
    let channels: BTreeSet<&str> = runs[0].iter().map(|(channel, ..)| &channel[..]).collect();
    let expected = ["film", "ir, \"old\"", "panel", "prints", "speed"];
    assert_eq!(channels.into_iter().collect::<Vec<_>>(), expected);
    assert_eq!(runs[0], runs[1]);
    assert_ne!(runs[0], runs[2]);
}
