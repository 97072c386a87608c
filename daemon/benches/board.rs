//! What open boards cost: how soon a verdict is committed, and how soon it stands on a board, with none, one and a
//! hundred of them open.
//!
//! `cargo bench -p inkdwell-daemon --bench board`. Twenty dryers whose prints leave one after another; readings go
//! through Mosquitto, everything over loopback, and it ends by itself after some four minutes. The crowds come in turns
//! within one run, so that what the machine does besides meets all of them; compare them with each other.

#[path = "whole/broker.rs"]
mod broker;
#[path = "whole/child.rs"]
mod child;
#[path = "whole/publisher.rs"]
mod publisher;

use std::collections::HashMap;
use std::fs;
use std::io::Read;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use inkdwell_config::shop::Shop;
use inkdwell_cure::live::{Floor, FloorEvent, Micros};
use serde_json::Value;

use broker::{Mosquitto, free_port};
use child::Daemon;
use publisher::Publisher;

/// Dryers, with one probe in the ink at each.
const STATIONS: usize = 20;
/// Readings of one probe a second.
const RATE: usize = 10;
/// A ride and the pause after it, in readings.
const CYCLE: usize = 24 * RATE;
/// How many boards are open, in turns.
const CROWDS: [usize; 6] = [0, 1, 100, 100, 1, 0];
/// How long each crowd is looked at, in seconds.
const LOOKED: u64 = 36;
/// What comes in the first seconds of a crowd does not count: its boards are being opened.
const SETTLING: Duration = Duration::from_secs(3);

/// What a probe in the ink shows at a reading of its cycle, in °C: up and down at 20 °C/s, a second at 170 °C.
fn film(reading: usize) -> f64 {
    let t = (reading % CYCLE) as f64 / RATE as f64;
    (25.0 + 20.0 * t)
        .min(170.0)
        .min(25.0 + 20.0 * (15.5 - t))
        .max(25.0)
}

fn shop(source: &str) -> String {
    let mut text = format!(
        "[shop]\nname = \"Twenty dryers\"\n\n{source}\n[board]\nlisten = \"127.0.0.1:0\"\n"
    );
    for station in 0..STATIONS {
        text += &format!(
            "\n[[station]]\nid = \"belt-{station}\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
             belt = \"2.6 m/min\"\nzones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
             \n[[probe]]\nid = \"p{station}\"\nstation = \"belt-{station}\"\nsource = \"all\"\n\
             uncertainty = \"1.5 C\"\nplace = \"ride\"\n"
        );
    }
    text
}

/// The reading of a cycle with which it is known that a pass is over.
fn deciding() -> usize {
    let checked = Shop::parse(
        "shop.toml",
        &shop("[[source]]\nid = \"all\"\nkind = \"replay\"\n"),
    );
    assert!(checked.problems.is_empty(), "{:?}", checked.problems);
    let mut floor = Floor::new(&checked.value, Micros(0));
    let input = floor.input("all", "p0").expect("the first probe");
    for reading in 0..2 * CYCLE {
        let at = Micros((reading * 1_000_000 / RATE) as i64 + 1);
        let mut over = false;
        floor.read(input, at, Some(film(reading)), &mut |event| {
            over |= matches!(event, FloorEvent::PassEnded(_));
        });
        if over {
            return reading % CYCLE;
        }
    }
    panic!("no pass ends in two cycles");
}

/// A print, by its station and its number there.
type Print = (usize, u64);

/// What is noted of a print that has left: when the reading was sent that decides it, when its verdict was heard of, and
/// when the last of the boards had it.
#[derive(Debug, Clone, Copy)]
struct Noted {
    sent: Instant,
    judged: Option<Instant>,
    boards: u64,
    shown: Option<Instant>,
}

type Notes = Arc<Mutex<HashMap<Print, Noted>>>;

/// Sends readings until it is stopped; says which print each decides.
fn publish(port: u16, notes: &Notes, stop: &AtomicBool) {
    let mut publisher = Publisher::connect(port);
    let deciding = deciding();
    let topics: Vec<String> = (0..STATIONS).map(|own| format!("load/p{own}")).collect();
    let mut left = [0_u64; STATIONS];
    let begun = Instant::now();
    // A station in its turn, so that not all readings come at once.
    let step = Duration::from_secs(1) / (RATE * STATIONS) as u32;
    for turn in 0_u32.. {
        if stop.load(Ordering::Relaxed) {
            return;
        }
        let due = begun + step * turn;
        if let Some(wait) = due.checked_duration_since(Instant::now()) {
            thread::sleep(wait);
        }
        let (reading, station) = (turn as usize / STATIONS, turn as usize % STATIONS);
        // Rides begin one after another.
        let delay = station * CYCLE / STATIONS;
        let place = reading.checked_sub(delay);
        publisher.add(
            &topics[station],
            &format!("{:.1}", film(place.unwrap_or(0))),
        );
        if place.is_some_and(|place| place % CYCLE == deciding && place > 10 * RATE) {
            left[station] += 1;
            let noted = Noted {
                sent: Instant::now(),
                judged: None,
                boards: 0,
                shown: None,
            };
            let print = (station, left[station]);
            notes.lock().expect("the notes").insert(print, noted);
        }
        publisher.send();
    }
}

/// Notes verdicts as they are told to programs.
fn hear(lines: impl Iterator<Item = String>, notes: &Notes) {
    for line in lines {
        let now = Instant::now();
        let Some(data) = line.strip_prefix("data:") else {
            continue;
        };
        let told: Value = serde_json::from_str(data.trim()).unwrap_or_default();
        let station = told["station"].as_str().unwrap_or_default();
        let number = station.strip_prefix("belt-").map(str::parse::<usize>);
        if let ("pass-judged", Some(Ok(station)), Some(print)) = (
            told["kind"].as_str().unwrap_or_default(),
            number,
            told["print"].as_u64(),
        ) && let Some(noted) = notes.lock().expect("the notes").get_mut(&(station, print))
        {
            noted.judged = Some(now);
        }
    }
}

/// A board: reads its parts until it is shut, and notes each print that comes to stand on it.
fn look(mut stream: std::net::TcpStream, notes: &Notes, bytes: &AtomicU64) {
    // A station's id as an element's is: its bytes in hexadecimal.
    let hexadecimal =
        |text: String| -> String { text.bytes().map(|byte| format!("{byte:02x}")).collect() };
    let ids: HashMap<String, usize> = (0..STATIONS)
        .map(|own| (hexadecimal(format!("belt-{own}")), own))
        .collect();
    let mut last = [0_u64; STATIONS];
    let mut text = String::new();
    let mut piece = [0; 16_384];
    while let Ok(count @ 1..) = stream.read(&mut piece) {
        bytes.fetch_add(count as u64, Ordering::Relaxed);
        text += &String::from_utf8_lossy(&piece[..count]);
        while let Some((line, rest)) = text.split_once('\n') {
            if let Some((station, print)) = shown(line, &ids)
                && last[station] != print
            {
                last[station] = print;
                let now = Instant::now();
                if let Some(noted) = notes.lock().expect("the notes").get_mut(&(station, print)) {
                    noted.boards += 1;
                    noted.shown = noted.shown.max(Some(now));
                }
            }
            text = rest.to_owned();
        }
    }
}

/// The last print in the part of what is out of the heat.
fn shown(line: &str, ids: &HashMap<String, usize>) -> Option<Print> {
    let (id, html) = line.strip_prefix("data: {\"id\":\"out-")?.split_once('"')?;
    let (_, after) = html.split_once("Print ")?;
    let digits = after
        .split(|letter: char| !letter.is_ascii_digit())
        .next()?;
    Some((*ids.get(id)?, digits.parse().ok()?))
}

/// What one crowd has seen.
struct Seen {
    crowd: usize,
    verdicts: Vec<Duration>,
    shown: Vec<Duration>,
    processor: f64,
    bytes: u64,
}

fn with(crowd: usize, daemon: &Daemon, notes: &Notes) -> Seen {
    let bytes = Arc::new(AtomicU64::new(0));
    let mut open = Vec::new();
    let mut looking = Vec::new();
    for _ in 0..crowd {
        let stream = daemon.open("/live");
        open.push(stream.try_clone().expect("a socket"));
        let (notes, bytes) = (Arc::clone(notes), Arc::clone(&bytes));
        looking.push(thread::spawn(move || look(stream, &notes, &bytes)));
    }
    thread::sleep(SETTLING);
    notes.lock().expect("the notes").clear();
    bytes.store(0, Ordering::Relaxed);
    let before = daemon.processor().unwrap_or(f64::NAN);
    let begun = Instant::now();
    thread::sleep(Duration::from_secs(LOOKED));
    let processor =
        (daemon.processor().unwrap_or(f64::NAN) - before) / begun.elapsed().as_secs_f64();
    let noted: Vec<Noted> = notes.lock().expect("the notes").values().copied().collect();
    let bytes = bytes.load(Ordering::Relaxed);
    for stream in open {
        // The other side may have ended it.
        let _ = stream.shutdown(std::net::Shutdown::Both);
    }
    for own in looking {
        own.join().expect("a board that is shut");
    }
    let whole = |own: &&Noted| own.boards == crowd as u64;
    Seen {
        crowd,
        verdicts: noted
            .iter()
            .filter_map(|own| Some(own.judged? - own.sent))
            .collect(),
        shown: noted
            .iter()
            .filter(whole)
            .filter_map(|own| Some(own.shown? - own.sent))
            .collect(),
        processor,
        bytes,
    }
}

/// The middle one and the longest; nothing of nothing.
fn middle_and_longest(times: &mut [Duration]) -> Option<(Duration, Duration)> {
    times.sort_unstable();
    Some((*times.get(times.len() / 2)?, *times.last()?))
}

fn say(seen: &mut [Seen]) {
    for own in seen.iter_mut() {
        let verdict = middle_and_longest(&mut own.verdicts);
        let shown = middle_and_longest(&mut own.shown);
        println!(
            "{:>3} boards: {} verdicts committed and told after {verdict:.1?} (median, longest); {} stood on all boards \
             after {shown:.1?}; the daemon took {:.1} % of a core, {:.1} kB a second to each",
            own.crowd,
            own.verdicts.len(),
            own.shown.len(),
            100.0 * own.processor,
            own.bytes as f64 / 1000.0 / LOOKED as f64 / own.crowd.max(1) as f64,
        );
    }
    let median = |crowd: usize| {
        let own = seen.iter().filter(|own| own.crowd == crowd);
        let mut all: Vec<Duration> = own.flat_map(|own| own.verdicts.iter().copied()).collect();
        middle_and_longest(&mut all).map_or(f64::NAN, |(median, _)| median.as_secs_f64())
    };
    println!(
        "a verdict takes {:.2} times as long with one board open as with none, and {:.2} times with a hundred (medians)",
        median(1) / median(0),
        median(100) / median(0)
    );
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let port = free_port();
    let Some(_broker) = Mosquitto::start(port, folder.path()) else {
        println!("SKIPPED: Mosquitto is not installed (Debian: apt-get install mosquitto)");
        return;
    };
    let source = format!(
        "[[source]]\nid = \"all\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\nversion = \"5\"\n\n\
         [[source.topic]]\nfilter = \"load/+\"\nchannel = \"{{1}}\"\n"
    );
    let file = folder.path().join("shop.toml");
    fs::write(&file, shop(&source)).expect("a file");
    let mut daemon = Daemon::start(&file, &folder.path().join("data"));
    println!("started after {:.1?}", daemon.started_after);
    for station in 0..STATIONS {
        let batch = serde_json::json!({
            "station": format!("belt-{station}"), "job": "Load", "ink": "plastisol-standard",
            "fabric": "cotton-jersey", "by": "bench",
        });
        daemon.post("/api/batches", &batch.to_string());
    }
    let (notes, stop): (Notes, Arc<AtomicBool>) = Default::default();
    let news = daemon.news();
    thread::spawn({
        let notes = Arc::clone(&notes);
        move || hear(news, &notes)
    });
    let publishing = thread::spawn({
        let (notes, stop) = (Arc::clone(&notes), Arc::clone(&stop));
        move || publish(port, &notes, &stop)
    });
    // Rides begin one after another; until all do, less happens.
    thread::sleep(Duration::from_secs((CYCLE / RATE) as u64));
    let mut seen: Vec<Seen> = CROWDS
        .into_iter()
        .map(|crowd| with(crowd, &daemon, &notes))
        .collect();
    stop.store(true, Ordering::Relaxed);
    publishing.join().expect("the publisher");
    say(&mut seen);
    println!(
        "{:.0} MB of memory at most",
        daemon.memory().unwrap_or(f64::NAN)
    );
    daemon.stop();
}
