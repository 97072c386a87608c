//! A whole shift is torn off in the middle of its alarms, and its journal says how each of them stood.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::{Alarm, State};
use inkdwell_daemon::intake::{SourceId, Value};
use inkdwell_daemon::journal::{self, Reader, RecordQuery, Shown};
use inkdwell_daemon::keeper::{Deal, Keeper, TICK, TICKS, Taking};
use inkdwell_daemon::record::Record;
use inkdwell_daemon::shift::{self, Options, Shift};

use crate::shop::{deal, open, shop};

/// An hour in the dryer: its belt stops, a fan fails, a probe breaks.
fn trace() -> String {
    let mut text = String::from("time_s,film_c,zone-1_c,zone-2_c,speed_m_per_min\n");
    for second in 0..400 {
        let t = f64::from(second);
        let unrest = 0.3 * (t * 1.7).sin();
        let speed = if (100..130).contains(&second) {
            0.0
        } else {
            3.0
        };
        let zone = match second {
            200..=240 => "OPEN".to_owned(),
            _ => format!("{:.2}", 180.0 - unrest),
        };
        let phase = (t - 250.0).max(0.0);
        let film = (25.0 + 4.0 * phase)
            .min(140.0)
            .min(25.0 + 2.5 * (110.0 - phase))
            .max(25.0);
        text += &format!("{t},{film:.2},{:.2},{zone},{speed:.2}\n", 190.0 + unrest);
    }
    text
}

fn options(file: &Path, folder: &Path) -> Options {
    let source =
        format!("[[source]]\nid = \"line\"\nkind = \"replay\"\nfile = {file:?}\nfaster = 60\n");
    Options {
        shop: shop(&source),
        digest: "of the shop".to_owned(),
        folder: folder.to_owned(),
        faster: 60.0,
        journal: journal::Settings::default(),
        keep_readings: None,
    }
}

/// Waits until something is in the journal.
async fn until(shift: &Shift, what: &str, mut look: impl FnMut(&Reader) -> bool) {
    let deadline = tokio::time::Instant::now() + Duration::from_secs(60);
    let reader = shift.readers().reader().unwrap();
    while !look(&reader) {
        assert!(
            tokio::time::Instant::now() < deadline,
            "{what} did not come"
        );
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// How alarms stand by the last record of each.
fn journaled(reader: &Reader) -> BTreeMap<String, State> {
    let query = RecordQuery {
        kinds: vec!["alarm-changed"],
        ..RecordQuery::default()
    };
    let mut records: Vec<_> = reader.records(query).collect::<Result<_, _>>().unwrap();
    records.sort_by_key(|kept| kept.number);
    let mut last = BTreeMap::new();
    for kept in records {
        let Record::AlarmChanged(changed) = kept.record else {
            panic!("{kept:?}");
        };
        last.insert(changed.alarm, changed.state);
    }
    last
}

/// The keeper as the daemon takes it up: the last checkpoint, and what was committed after it fed once more.
fn taken_up(shop: Shop, reader: &Reader) -> Keeper {
    let last = reader.last_time().unwrap().unwrap();
    let (mut keeper, after) = match reader.last_checkpoint().unwrap() {
        Some(kept) => (
            Keeper::restored(shop, &kept.bytes, last, last).unwrap(),
            kept.commit,
        ),
        None => panic!("there is no checkpoint"),
    };
    let channels: BTreeMap<_, _> = reader
        .channels()
        .unwrap()
        .into_iter()
        .map(|known| {
            let source = if known.name == TICK {
                TICKS
            } else {
                SourceId(0)
            };
            (known.number, (source, known.name))
        })
        .collect();
    for commit in reader.replay_after(after) {
        let commit = commit.unwrap();
        for reading in commit.readings {
            let (source, channel) = &channels[&reading.channel];
            keeper.replay(&Taking {
                source: *source,
                channel: Arc::from(channel.as_str()),
                at: reading.at,
                value: match reading.shown {
                    Shown::Number(number) => Value::Number(number),
                    Shown::Word(word) => {
                        Value::NoNumber(Arc::from(reader.word(word).unwrap().unwrap()))
                    }
                },
                fed: reading.fed,
            });
        }
        for kept in commit.records {
            keeper.replay_record(kept.at, &kept.record);
        }
    }
    keeper
}

/// A shift is torn off without a farewell in the middle of its alarms: what is taken up from the journal stands as
/// the journal says that it stood.
#[test]
fn journaled_states_after_a_crash_are_those_before_it() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    let data = folder.path().join("data");
    std::fs::write(&file, trace()).unwrap();
    let first = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    first.block_on(async {
        let shift = shift::start(options(&file, &data)).await.unwrap();
        shift.ask(open("discharge")).await.unwrap();
        until(&shift, "the belt's alarm", |reader| {
            journaled(reader).contains_key("belt-stopped-hot@belt-1")
        })
        .await;
        let name = "belt-stopped-hot@belt-1";
        shift
            .ask(deal(name, Deal::Acknowledge, "going there"))
            .await
            .unwrap();
        shift
            .ask(deal("probe-noisy@zone-1", Deal::TakeOut, "old probe"))
            .await
            .unwrap();
        until(&shift, "the broken probe", |reader| {
            journaled(reader).contains_key("probe-open@zone-2")
        })
        .await;
        std::mem::forget(shift);
    });
    first.shutdown_timeout(Duration::from_secs(5));

    let (writer, readers) = journal::open(&data, journal::Settings::default()).unwrap();
    let reader = readers.reader().unwrap();
    let stands = journaled(&reader);
    let keeper = taken_up(options(&file, &data).shop, &reader);
    for (name, state) in &stands {
        let alarm = keeper.alarms().find(|alarm| alarm.id.to_string() == *name);
        assert_eq!(alarm.map(Alarm::state), Some(*state), "{name}");
    }
    assert!(stands.len() >= 4, "{stands:?}");
    let mut standing = BTreeMap::new();
    for kept in reader.standing_alarms().unwrap() {
        if let Record::AlarmChanged(changed) = kept.record {
            standing.insert(changed.alarm, changed.state);
        }
    }
    let expected: BTreeMap<_, _> = stands
        .into_iter()
        .filter(|(_, state)| *state != State::Normal)
        .collect();
    assert_eq!(standing, expected);
    let verified = reader.verify(None, |_| ()).unwrap();
    assert!(verified.broken.is_empty(), "{verified:?}");
    drop(writer);
}
