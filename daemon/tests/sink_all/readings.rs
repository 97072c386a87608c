//! Readings, thinned without losing a peak.

use std::collections::BTreeMap;
use std::time::Duration;

use inkdwell_daemon::journal::{self, Batch, JournaledReading, Settings, Shown};
use inkdwell_daemon::time::{Micros, wall};

use crate::server::Server;
use crate::shop::{parsed, settings, stand_at_the_beginning, start, until};

const HZ: usize = 50;
const SECONDS: usize = 600;

fn shop(port: u16) -> inkdwell_config::shop::Shop {
    parsed(&format!(
        "[shop]\nname = \"Lantern Yard\"\n[board]\nlisten = \"127.0.0.1:0\"\n\
         [[source]]\nid = \"probes\"\nkind = \"replay\"\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
         belt = \"2.6 m/min\"\nzones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
         [[probe]]\nid = \"air\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"probes\"\n\
         channel = \"air_f\"\nunit = \"F\"\n\
         [[signal]]\nid = \"belt\"\nstation = \"belt-1\"\nkind = \"belt\"\nunit = \"ft/min\"\nsource = \"probes\"\n\
         [[sink]]\nid = \"history\"\nkind = \"influxdb\"\nurl = \"http://127.0.0.1:{port}\"\norg = \"o\"\n\
         bucket = \"b\"\nsend = [\"readings\"]\nreadings_every = \"2 s\"\ngzip = false\n"
    ))
}

/// What the air showed, in °F: slow waves, and now and then a spike of one reading.
fn air(number: usize) -> f64 {
    let wave = 374.0 + 4.0 * (number as f64 / 700.0).sin();
    match number % 1499 {
        700 => wave + 90.0,
        1300 => wave - 55.0,
        _ => wave,
    }
}

/// Fills a journal, in commits of a second; the first half is packed.
fn fill(folder: &std::path::Path) -> Micros {
    let settings = Settings {
        pack_readings: (HZ * SECONDS / 2) as u64,
        ..settings()
    };
    let (mut writer, _) = journal::open(folder, settings).unwrap();
    let first = wall().plus_seconds(-(SECONDS as f64) - 5.0);
    let (air_channel, belt) = (
        writer.channel("probes", "air_f"),
        writer.channel("probes", "belt"),
    );
    for second in 0..SECONDS {
        let mut readings = Vec::new();
        for part in 0..HZ {
            let number = second * HZ + part;
            let at = first.plus_seconds(number as f64 / HZ as f64);
            let reading = |channel, shown| JournaledReading {
                channel,
                at,
                shown: Shown::Number(shown),
                fed: true,
            };
            readings.push(reading(air_channel, air(number)));
            if part == 0 {
                readings.push(reading(belt, 8.5));
            }
        }
        let packs = second == SECONDS / 2;
        writer
            .commit(&Batch {
                readings,
                // Of a form that there never was: the daemon begins anew.
                checkpoint: packs.then(|| vec![0, 1, b'0']),
                ..Batch::default()
            })
            .unwrap();
        if packs {
            while writer.tidy(Duration::from_millis(50)).unwrap().more {}
        }
    }
    stand_at_the_beginning(&mut writer, &[("history", "influxdb")]);
    first
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_peak_arrives_with_its_own_time_and_little_else() {
    let folder = tempfile::tempdir().unwrap();
    let first = fill(folder.path());
    let server = Server::start().await;
    let shift = start(shop(server.port), folder.path()).await;
    let points = |field: &str| -> BTreeMap<i64, f64> {
        let posted = server.taken();
        let text: String = posted
            .iter()
            .map(|posted| String::from_utf8(posted.body.to_vec()).unwrap())
            .collect();
        let own = text.lines().filter(|line| line.contains(field));
        own.map(|line| {
            let mut parts = line.rsplit(' ');
            let time: i64 = parts.next().unwrap().parse().unwrap();
            let value = parts.next().unwrap().split('=').next_back().unwrap();
            (time / 1000, value.parse().unwrap())
        })
        .collect()
    };
    let last = first.plus_seconds((SECONDS - 2) as f64).0;
    let air_points = until("all readings", || {
        let points = points("probe=air,shop=Lantern\\ Yard,station=belt-1 celsius=");
        points
            .last_key_value()
            .is_some_and(|(at, _)| *at >= last)
            .then_some(points)
    })
    .await;
    // NIST SP 811, appendix B.8: t(°C) = (t(°F) - 32) / 1.8.
    let celsius = |fahrenheit: f64| (fahrenheit - 32.0) / 1.8;
    let at = |number: usize| first.plus_seconds(number as f64 / HZ as f64).0;
    let all = HZ * SECONDS;
    for number in (0..all).filter(|number| [700, 1300].contains(&(number % 1499))) {
        let point = air_points.get(&at(number)).copied();
        let point = point.unwrap_or_else(|| panic!("the spike of reading {number} is missing"));
        assert!((point - celsius(air(number))).abs() < 1e-6);
    }
    // Nothing arrives that was not read.
    let read: BTreeMap<i64, f64> = (0..all)
        .map(|number| (at(number), celsius(air(number))))
        .collect();
    for (time, value) in &air_points {
        assert!((read[time] - value).abs() < 1e-6, "{time}");
    }
    // Two points in two seconds, of a hundred; some more where pieces of work meet.
    assert!(air_points.len() < all / 40, "{} points", air_points.len());
    // 8.5 ft/min; a foot is 0.3048 m (NIST SP 811).
    let belt = points("signal=belt,station=belt-1 m_per_min=");
    assert!(
        belt.values()
            .all(|value| (value - 8.5 * 0.3048).abs() < 1e-9)
    );
    assert!(!belt.is_empty());
    shift.stop().await.unwrap();
}
