//! A store that is away for an hour of an ordinary run: all that waited arrives, once, however often the daemon
//! was restarted meanwhile, and no more is held in memory than for a minute's.

use std::path::Path;

use inkdwell_cure::alarm::{AlarmId, Change, Kind, Priority, State};
use inkdwell_daemon::journal::{self, Batch, JournaledReading, Shown};
use inkdwell_daemon::record::{AlarmChanged, Record};
use inkdwell_daemon::shift::Shift;
use inkdwell_daemon::time::wall;

use crate::shop::{blocked, fill, parsed, settings, start, text, until};
use crate::victoria::{Victoria, sink};

/// A print every other second.
const PRINTS: u64 = 1800;
const SECONDS: u32 = 3600;
/// Each is raised and is over.
const ALARMS: u32 = 30;

/// What a probe in the chamber shows: slow waves, and each ten minutes a spike of a second.
fn air(second: u32) -> f64 {
    let wave = 190.0 + 2.0 * (f64::from(second) / 300.0).sin();
    match second % 600 {
        299 => wave + 40.0 + f64::from(second / 600),
        _ => wave,
    }
}

fn changed(number: u32, change: Change, state: State) -> Record {
    Record::AlarmChanged(Box::new(AlarmChanged {
        alarm: AlarmId::new(Kind::ProbeNoisy, "air").to_string(),
        station: Some("belt-1".to_owned()),
        announce: matches!(change, Change::Raised),
        change,
        from: State::Normal,
        state,
        priority: Priority::Medium,
        count: u64::from(number),
        cause: None,
        words: format!("for the {number}. time"),
        follows: None,
        drill: false,
    }))
}

/// An hour's prints, alarms and readings, of which nothing has gone out.
fn an_hour(folder: &Path) {
    fill(folder, &[("history", "influxdb")], PRINTS);
    let (mut writer, _) = journal::open(folder, settings()).unwrap();
    let begun = wall().plus_seconds(-f64::from(SECONDS) - 30.0);
    let channel = writer.channel("line", "air");
    for minute in 0..SECONDS / 60 {
        let seconds = minute * 60..(minute + 1) * 60;
        let readings = seconds.map(|second| JournaledReading {
            channel,
            at: begun.plus_seconds(f64::from(second)),
            shown: Shown::Number(air(second)),
            fed: true,
        });
        let mut records = Vec::new();
        if minute % 2 == 0 {
            let at = |second: u32| begun.plus_seconds(f64::from(minute * 60 + second));
            let number = minute / 2 + 1;
            records.push((
                at(10),
                changed(number, Change::Raised, State::Unacknowledged),
            ));
            records.push((at(40), changed(number, Change::Returned, State::Normal)));
        }
        let batch = Batch {
            readings: readings.collect(),
            records,
            ..Batch::default()
        };
        writer.commit(&batch).unwrap();
    }
}

/// How much waits, and the most that was ever held in memory.
fn counts(shift: &Shift) -> (u64, u64) {
    let last = shift.readers().reader().unwrap().head().unwrap().number.0;
    let counts = shift.sinks()[0].2.counts(last);
    (counts.waiting, counts.most_held)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_hour_that_waited_arrives_once_and_was_never_held_in_memory() {
    let Some(mut victoria) = Victoria::start().await else {
        return;
    };
    victoria.kill();
    let folder = tempfile::tempdir().unwrap();
    an_hour(folder.path());
    let own = "[[source]]\nid = \"line\"\nkind = \"replay\"\n\
         [[probe]]\nid = \"air\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"line\"\n";
    let shop = parsed(&text(
        "Lantern Yard",
        &(own.to_owned() + &sink(victoria.port)),
    ));
    for _ in 0..2 {
        // Nothing listens there, and the daemon is started again meanwhile.
        let shift = start(shop.clone(), folder.path()).await;
        blocked(&shift, "history").await;
        let (waiting, held) = counts(&shift);
        assert!(waiting > PRINTS, "{waiting}");
        // What is read at once, and what of it is on its way.
        assert!((1..=512).contains(&held), "{held} of {waiting} in memory");
        shift.stop().await.unwrap();
    }
    victoria.again().await;
    let shift = start(shop, folder.path()).await;
    until("all verdicts and alarms", || {
        (counts(&shift).0 == 0).then_some(())
    })
    .await;
    let prints = "sum(count_over_time(inkdwell_verdict_prints[2h]))";
    let alarms = "sum by (change) (count_over_time(inkdwell_alarm_alarms[2h]))";
    let peaks = "max_over_time(inkdwell_reading_celsius{probe=\"air\"}[2h])";
    let times = "count_over_time(inkdwell_reading_celsius{probe=\"air\"}[2h])";
    victoria.shows(prints, &[(&[], PRINTS as f64)]).await;
    let each = f64::from(ALARMS);
    victoria
        .shows(alarms, &[(&["raised"], each), (&["returned"], each)])
        .await;
    // The highest of the hour is there as it was read.
    let highest = (0..SECONDS).map(air).fold(f64::NEG_INFINITY, f64::max);
    victoria
        .sees(peaks, |value| (value - highest).abs() < 1e-9)
        .await;
    // Of sixty readings a minute the lowest and the highest of ten seconds each: twelve, a few more where two pieces
    // of work meet.
    victoria
        .sees(times, |value| (700.0..=760.0).contains(&value))
        .await;
    let (counts, _) = shift
        .readers()
        .reader()
        .unwrap()
        .set_aside("history", 1)
        .unwrap();
    assert_eq!((counts.kept, counts.dropped), (0, 0));
    shift.stop().await.unwrap();
}
