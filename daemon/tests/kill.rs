//! Kills: `inkdwelld` is killed at random moments while a broker pours readings into it. Every reading that
//! the broker took is in the journal once, and the passes are those of a run that nobody interrupted.
//!
//! A short form runs always; INKDWELL_KILLS=200 makes it long. It needs Mosquitto.

#[path = "loopback/free_port.rs"]
mod free_port;
#[path = "loopback/mosquitto.rs"]
mod mosquitto;

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use inkdwell_config::shop::Shop;
use inkdwell_daemon::journal::{self, PassQuery, Reader, Readers};
use inkdwell_daemon::keeper::{self, OpenBatch};
use inkdwell_daemon::record::PassJudged;
use inkdwell_daemon::shift;
use inkdwell_daemon::time::Micros;
use rand::RngExt;
use rumqttc::{AsyncClient, Event, MqttOptions, Outgoing, Packet, QoS};

use crate::mosquitto::Mosquitto;

const PROBES: usize = 3;
/// So many rides of each probe for each kill are poured while it is killed.
const RIDES_A_KILL: usize = 1;
/// The first reading's time: long ago, as if all had been kept back.
const BEGAN: f64 = 1_750_000_000.0;
const PATIENCE: Duration = Duration::from_secs(120);

/// How often it is killed.
fn kills() -> usize {
    std::env::var("INKDWELL_KILLS").map_or(12, |kills| kills.parse().unwrap())
}

/// Rides of each probe, 140 s apart.
fn rides() -> usize {
    RIDES_A_KILL * kills()
}

/// Readings of each probe, two a second.
fn rows() -> usize {
    280 * rides()
}

struct Killed(Child);

impl Drop for Killed {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn shop(folder: &Path, name: &str, port: u16) -> PathBuf {
    let mut text = format!(
        "[shop]\nname = {name:?}\n[board]\nlisten = \"127.0.0.1:0\"\n[[source]]\nid = \"broker\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\n\
         port = {port}\n[[source.topic]]\nfilter = \"kill/+\"\nchannel = \"{{1}}\"\nvalue = \"/v\"\n\
         time = \"/t\"\nsequence = \"/n\"\n[[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\n\
         heated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\nzones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n"
    );
    for probe in 0..PROBES {
        text += &format!(
            "[[probe]]\nid = \"film-{probe}\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"broker\"\n\
             uncertainty = \"1.5 C\"\n"
        );
    }
    let file = folder.join(format!("{name}.toml"));
    std::fs::write(&file, text).unwrap();
    file
}

/// Makes the journal, with an open batch.
fn prepare(shop: &Path, data: &Path) {
    let options = shift::Options {
        shop: Shop::load(shop).unwrap(),
        digest: "of the shop".to_owned(),
        folder: data.to_owned(),
        faster: 1.0,
        journal: journal::Settings::default(),
        keep_readings: None,
    };
    let open = OpenBatch {
        station: "belt-1".to_owned(),
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
    };
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let shift = shift::start(options).await.unwrap();
        let opened = keeper::Command::OpenBatch(Box::new(open));
        shift.ask(opened).await.unwrap();
        shift.stop().await.unwrap();
    });
}

fn start(shop: &Path, data: &Path) -> Killed {
    let child = Command::new(env!("CARGO_BIN_EXE_inkdwelld"))
        .arg("--shop")
        .arg(shop)
        .arg("--data")
        .arg(data)
        .args(["--log-level", "error"])
        .stdin(Stdio::null())
        .spawn()
        .unwrap();
    Killed(child)
}

fn celsius(probe: usize, row: usize) -> f64 {
    let (ride, phase) = (row / 280, (row % 280) as f64 * 0.5);
    let peak = 140.0 + ((ride * 7 + probe * 5) % 40) as f64;
    let film = (25.0 + 4.0 * phase)
        .min(peak)
        .min(25.0 + 2.5 * (110.0 - phase))
        .max(25.0);
    // A digitiser's steps, and a little noise that is the same every time.
    ((film + 0.3 * ((row * 37 + probe) as f64).sin()) * 10.0).round() / 10.0
}

/// Publishes every reading, and returns once the broker has taken them all.
fn publish(port: u16) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let mut options = MqttOptions::new("pourer", "127.0.0.1", port);
        options.set_inflight(200);
        options.set_keep_alive(Duration::from_secs(30));
        let (client, mut events) = AsyncClient::new(options, 200);
        let pouring = tokio::spawn(async move {
            for row in 0..rows() {
                let time = BEGAN + row as f64 * 0.5;
                for probe in 0..PROBES {
                    let payload =
                        format!("{{\"v\":{},\"t\":{time},\"n\":{row}}}", celsius(probe, row));
                    let topic = format!("kill/film-{probe}");
                    client
                        .publish(topic, QoS::AtLeastOnce, false, payload)
                        .await
                        .unwrap();
                }
                if row % 8 == 0 {
                    tokio::time::sleep(Duration::from_millis(10)).await;
                }
            }
            client
        });
        let mut taken = 0;
        while taken < rows() * PROBES {
            match events.poll().await.unwrap() {
                Event::Incoming(Packet::PubAck(_)) => taken += 1,
                Event::Outgoing(Outgoing::Disconnect) => break,
                _ => {}
            }
        }
        drop(pouring.await.unwrap());
    });
}

fn reader(data: &Path) -> Option<Reader> {
    let readers = Readers::at(&data.join("journal.sqlite")).ok()?;
    readers.reader().ok()
}

fn count(data: &Path) -> usize {
    let Some(reader) = reader(data) else { return 0 };
    let each = (0..PROBES).map(|probe| {
        let channel = reader.channel("broker", &format!("film-{probe}")).ok()??;
        Some(
            reader
                .readings(channel, Micros(i64::MIN), Micros(i64::MAX))
                .count(),
        )
    });
    each.flatten().sum()
}

/// Waits for all readings and their passes.
fn wait_for_all(data: &Path) {
    let deadline = Instant::now() + PATIENCE;
    while count(data) < rows() * PROBES {
        assert!(
            Instant::now() < deadline,
            "{} of {}",
            count(data),
            rows() * PROBES
        );
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// Tells it to stop as a service manager does, and waits.
fn stop(mut running: Killed) {
    let told = Command::new("kill")
        .arg(running.0.id().to_string())
        .status();
    assert!(told.unwrap().success());
    let ended = running.0.wait().unwrap();
    assert!(ended.success(), "{ended}");
}

/// What of a pass does not depend on which run it is of.
fn passes(data: &Path) -> Vec<(String, Micros, Micros, Option<String>, PassJudged)> {
    let kept = reader(data).unwrap().passes(&PassQuery::default()).unwrap();
    let mut passes: Vec<_> = kept
        .into_iter()
        .map(|kept| {
            let mut pass = kept.pass;
            // Which of several probes' passes ended first is chance: messages overtake each other.
            (pass.pass, pass.print) = (0, None);
            let probe = pass.probe.clone().unwrap_or_default();
            let verdict = pass.judged.as_ref().map(|judged| judged.verdict.clone());
            (probe, pass.start, pass.end, verdict, pass)
        })
        .collect();
    passes.sort_by(|a, b| (&a.0, a.1).cmp(&(&b.0, b.1)));
    passes
}

#[test]
fn nothing_is_lost_or_doubled_by_kills() {
    // Later lines hold: more may be on its way here than elsewhere.
    let Some(broker) = Mosquitto::start("persistence true\nmax_inflight_messages 500") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let port = broker.port;
    let (whole, killed) = (folder.path().join("whole"), folder.path().join("killed"));
    let whole_shop = shop(folder.path(), "whole", port);
    let killed_shop = shop(folder.path(), "killed", port);

    prepare(&whole_shop, &whole);
    prepare(&killed_shop, &killed);
    // Both have to be subscribed before the first message.
    let uninterrupted = start(&whole_shop, &whole);
    let mut running = start(&killed_shop, &killed);
    let deadline = Instant::now() + Duration::from_secs(20);
    while !(is_up(&whole) && is_up(&killed)) {
        assert!(Instant::now() < deadline, "not subscribed");
        std::thread::sleep(Duration::from_millis(20));
    }
    let pouring = std::thread::spawn(move || publish(port));
    let mut random = rand::rng();
    for _ in 0..kills() {
        std::thread::sleep(Duration::from_millis(random.random_range(60..900)));
        drop(running);
        running = start(&killed_shop, &killed);
    }
    pouring.join().unwrap();
    wait_for_all(&killed);
    wait_for_all(&whole);
    stop(running);
    stop(uninterrupted);

    let reader = reader(&killed).unwrap();
    for probe in 0..PROBES {
        let channel = reader
            .channel("broker", &format!("film-{probe}"))
            .unwrap()
            .unwrap();
        let kept = reader.readings(channel, Micros(i64::MIN), Micros(i64::MAX));
        let kept: Vec<_> = kept.collect::<Result<_, _>>().unwrap();
        assert_eq!(kept.len(), rows(), "film-{probe}");
        for (row, kept) in kept.iter().enumerate() {
            let time = Micros(0).plus_seconds(BEGAN + row as f64 * 0.5);
            assert_eq!((kept.at, kept.fed), (time, true), "film-{probe}, row {row}");
            let shown = inkdwell_daemon::journal::Shown::Number(celsius(probe, row));
            assert_eq!(kept.shown, shown);
        }
    }
    let verified = reader.verify(None, |_| ()).unwrap();
    assert!(verified.broken.is_empty(), "{:?}", verified.broken);
    let (expected, found) = (passes(&whole), passes(&killed));
    assert_eq!(
        (expected.len(), found.len()),
        (PROBES * rides(), PROBES * rides())
    );
    for (expected, found) in expected.iter().zip(&found) {
        assert_eq!(found, expected);
        assert!(
            found.3.is_some(),
            "the batch's laws were forgotten: {found:?}"
        );
    }
}

fn is_up(data: &Path) -> bool {
    use inkdwell_daemon::record::Occurrence;
    let Some(reader) = reader(data) else {
        return false;
    };
    let events = reader.newest_events(20).unwrap_or_default();
    events
        .iter()
        .any(|event| matches!(event.event.what, Occurrence::SourceUp { .. }))
}
