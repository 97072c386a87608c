//! Alarms in the keeper and the journal: what people do with them is recorded with who and why, and a crash
//! anywhere leaves every alarm as it was.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use inkdwell_config::shop::Shop;
use inkdwell_cure::alarm::{Alarm, Change, State};
use inkdwell_daemon::intake::{Delivery, Notice, Said, SourceId, Value};
use inkdwell_daemon::journal::{self, Reader, RecordQuery, Shown};
use inkdwell_daemon::keeper::{Command, Deal, Entry, Keeper, OpenBatch, TICK, TICKS, Taking};
use inkdwell_daemon::record::{AlarmChanged, Occurrence, Record};
use inkdwell_daemon::shift::{self, Options, Shift};
use inkdwell_daemon::time::Micros;
use proptest::prelude::*;

const SHOP: &str = r#"
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "3 m/min"
zones = [ { length = "1 m", air = "190 C" }, { length = "1 m", air = "180 C" } ]

[[probe]]
id = "film"
station = "belt-1"
place = "ride"
source = "line"
uncertainty = "1 C"

[[probe]]
id = "zone-1"
station = "belt-1"
place = "zone"
zone = 1
source = "line"

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
source = "line"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "m/min"
source = "line"

[[signal]]
id = "fan"
station = "belt-1"
kind = "exhaust"
proved_from = 0.5
source = "line"
"#;

fn shop(source: &str) -> Shop {
    let checked = Shop::parse("shop.toml", &format!("{source}\n{SHOP}"));
    assert_eq!(checked.problems, vec![]);
    checked.value
}

fn wired() -> Shop {
    shop(
        "[[source]]\nid = \"line\"\nkind = \"serial\"\nport = \"/dev/ttyUSB0\"\nformat = \"fields\"\n\
         names = [\"film\", \"zone-1\", \"zone-2\", \"speed\", \"fan\"]\n",
    )
}

fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

fn line(said: &[(&str, Option<f64>)]) -> Delivery {
    let said = said.iter().map(|(channel, value)| Said {
        channel: Arc::from(*channel),
        value: match value {
            Some(number) => Value::Number(*number),
            None => Value::NoNumber(Arc::from("OPEN")),
        },
        device_time: None,
        sequence: None,
    });
    Delivery {
        source: SourceId(0),
        arrived: Instant::now(),
        said: said.collect(),
        mark: None,
        receipt: None,
    }
}

fn open(ink: &str) -> Command {
    Command::OpenBatch(Box::new(OpenBatch {
        station: "belt-1".to_owned(),
        job: "Harbour run".to_owned(),
        ink: ink.to_owned(),
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

fn deal(alarm: &str, deal: Deal, why: &str) -> Command {
    Command::Alarm {
        alarm: alarm.to_owned(),
        deal,
        by: "Mara".to_owned(),
        why: why.to_owned(),
    }
}

fn changes(entry: &Entry) -> Vec<&AlarmChanged> {
    let records = entry.records.iter().filter_map(|(_, record)| match record {
        Record::AlarmChanged(changed) => Some(&**changed),
        _ => None,
    });
    records.collect()
}

fn stand(keeper: &Keeper) -> Vec<Alarm> {
    keeper.alarms().cloned().collect()
}

/// A hot dryer whose belt stops: the alarm comes, somebody sees it, the belt runs again, it is latched, somebody
/// has looked. Each step is a record.
#[test]
fn who_did_what_and_why_is_recorded() {
    let mut keeper = Keeper::new(wired(), at(0.0), at(0.0));
    let mut run = |keeper: &mut Keeper, from: u32, to: u32, speed: f64| {
        for second in from..to {
            let time = f64::from(second);
            let unrest = 0.3 * (time * 1.7).sin();
            let shown = [
                ("zone-1", Some(190.0 + unrest)),
                ("zone-2", Some(180.0 - unrest)),
                ("speed", Some(speed)),
            ];
            keeper.take(line(&shown), at(time));
            keeper.tick(at(time), at(time));
        }
        keeper.take_entry()
    };
    run(&mut keeper, 0, 60, 3.0);
    let entry = run(&mut keeper, 60, 75, 0.0);
    let raised = changes(&entry);
    assert_eq!(raised.len(), 1, "{raised:#?}");
    assert_eq!(raised[0].alarm, "belt-stopped-hot@belt-1");
    assert_eq!(
        raised[0].words,
        "The belt stands, and the chamber is at 190.3 °C."
    );
    assert!(raised[0].announce);
    let name = "belt-stopped-hot@belt-1";
    let mut said = |keeper: &mut Keeper, what: Deal, why: &str, time: f64| {
        let record = keeper.command(deal(name, what, why), at(time)).unwrap();
        keeper.take_entry();
        let Record::AlarmChanged(changed) = record else {
            panic!("{record:?}");
        };
        let (by, why) = changed.change.said().unwrap();
        (changed.state, by.to_owned(), why.to_owned())
    };
    let mara = |state, why: &str| (state, "Mara".to_owned(), why.to_owned());
    let seen = said(&mut keeper, Deal::Acknowledge, "going there", 75.0);
    assert_eq!(seen, mara(State::Acknowledged, "going there"));
    run(&mut keeper, 76, 90, 3.0);
    assert_eq!(
        keeper.alarms().next().unwrap().state(),
        State::LatchedAcknowledged
    );
    let reset = said(&mut keeper, Deal::Reset, "nothing lay inside", 91.0);
    assert_eq!(reset, mara(State::Normal, "nothing lay inside"));
}

#[test]
fn what_cannot_be_done_with_an_alarm_is_said_and_changes_nothing() {
    let mut keeper = Keeper::new(wired(), at(0.0), at(0.0));
    for (command, expected) in [
        (
            deal("belt-stoped-hot@belt-1", Deal::Reset, "looked"),
            "there is no alarm called \"belt-stoped-hot@belt-1\"; did you mean \"belt-stopped-hot\"?",
        ),
        (
            deal("belt-stopped-hot@belt-2", Deal::Acknowledge, ""),
            "there is no alarm called \"belt-stopped-hot@belt-2\"; write belt-stopped-hot@ID, the ID being one of belt-1",
        ),
        (
            deal("drill@belt-1", Deal::Acknowledge, ""),
            "there is no alarm called \"drill@belt-1\"; it is of the whole shop: write drill",
        ),
        (
            deal("probe-open@film", Deal::Acknowledge, ""),
            "probe-open@film: there is nothing to acknowledge; inkdwell alarms list shows what there is",
        ),
        (
            deal("probe-open@film", Deal::Shelve(86_400.0), "a long day"),
            "probe-open@film: an alarm is shelved for 8.0 h at most, and for longer than no time; take it out of \
             service if it is to rest for longer",
        ),
        (
            deal("probe-open@film", Deal::TakeOut, " "),
            "why is empty; say for example that the probe is being changed",
        ),
    ] {
        let refused = keeper.command(command, at(1.0)).unwrap_err().to_string();
        assert_eq!(refused, expected);
    }
    assert_eq!(stand(&keeper), []);
    assert!(keeper.is_idle());
}

/// Something that reaches the keeper.
#[derive(Debug, Clone)]
enum Step {
    /// Half a minute of readings: zones, speed, fan, and whether zone 2 is open.
    Run(f64, f64, bool, bool),
    Ride(f64),
    Open(&'static str),
    Close(u64),
    Source(bool),
    Lost(u64),
    Disk(bool),
    Deal(usize, u8),
    Drill,
    Rest,
}

const ALARMS: [&str; 5] = [
    "belt-stopped-hot@belt-1",
    "exhaust-not-proved@belt-1",
    "probe-open@zone-2",
    "source-down@line",
    "drill",
];

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        4 => (prop_oneof![Just(190.0), Just(60.0), Just(228.0)], prop_oneof![Just(0.0), Just(3.0)], any::<bool>(), any::<bool>())
            .prop_map(|(zone, speed, fan, open)| Step::Run(zone, speed, fan, open)),
        2 => (130.0..240.0_f64).prop_map(Step::Ride),
        1 => prop_oneof![Just("plastisol-standard"), Just("discharge")].prop_map(Step::Open),
        1 => (1..4_u64).prop_map(Step::Close),
        1 => any::<bool>().prop_map(Step::Source),
        1 => (1..50_u64).prop_map(Step::Lost),
        1 => any::<bool>().prop_map(Step::Disk),
        3 => (0..ALARMS.len(), 0..6_u8).prop_map(|(alarm, what)| Step::Deal(alarm, what)),
        1 => Just(Step::Drill),
        1 => Just(Step::Rest),
    ]
}

/// One thing that reaches the keeper, and when.
enum Input {
    Line(Vec<(&'static str, Option<f64>)>),
    Tick,
    Notice(Notice),
    Lost(u64),
    Occurred(Occurrence),
    Command(Command),
}

fn day(steps: &[Step]) -> Vec<(f64, Input)> {
    let (mut inputs, mut now) = (Vec::new(), 0.0);
    for step in steps {
        match step {
            Step::Run(zone, speed, fan, open) => {
                for second in 0..30 {
                    let unrest = 0.3 * f64::from(second).sin();
                    let second_zone = (!open).then_some(zone - 10.0 + unrest);
                    let shown = vec![
                        ("zone-1", Some(zone + unrest)),
                        ("zone-2", second_zone),
                        ("speed", Some(*speed)),
                        ("fan", Some(f64::from(u8::from(*fan)))),
                    ];
                    inputs.push((now, Input::Line(shown)));
                    inputs.push((now, Input::Tick));
                    now += 1.0;
                }
            }
            Step::Ride(peak) => {
                for second in 0..130 {
                    let t = f64::from(second);
                    let film = (25.0 + 4.0 * t)
                        .min(*peak)
                        .min(25.0 + 2.5 * (110.0 - t))
                        .max(25.0);
                    inputs.push((now, Input::Line(vec![("film", Some(film))])));
                    inputs.push((now, Input::Tick));
                    now += 1.0;
                }
            }
            Step::Open(ink) => inputs.push((now, Input::Command(open(ink)))),
            Step::Close(batch) => {
                let (batch, by) = (*batch, "Mara".to_owned());
                inputs.push((now, Input::Command(Command::CloseBatch { batch, by })));
            }
            Step::Source(true) => inputs.push((now, Input::Notice(Notice::Up))),
            Step::Source(false) => {
                let down = Notice::Down("nothing answers".to_owned());
                inputs.push((now, Input::Notice(down)));
            }
            Step::Lost(readings) => inputs.push((now, Input::Lost(*readings))),
            Step::Disk(low) => {
                let what = match low {
                    true => Occurrence::DiskLow {
                        free_bytes: 500_000_000,
                    },
                    false => Occurrence::DiskRoomAgain,
                };
                inputs.push((now, Input::Occurred(what)));
            }
            Step::Deal(alarm, what) => {
                let what = match what {
                    0 => Deal::Acknowledge,
                    1 => Deal::Reset,
                    2 => Deal::Shelve(40.0),
                    3 => Deal::Unshelve,
                    4 => Deal::TakeOut,
                    _ => Deal::PutBack,
                };
                inputs.push((now, Input::Command(deal(ALARMS[*alarm], what, "seen"))));
            }
            Step::Drill => {
                let (by, why) = ("Mara".to_owned(), "a test".to_owned());
                inputs.push((now, Input::Command(Command::Drill { by, why })));
            }
            Step::Rest => {
                for _ in 0..90 {
                    now += 1.0;
                    inputs.push((now, Input::Tick));
                }
            }
        }
        now += 0.25;
    }
    inputs
}

/// Gives inputs to a keeper as the daemon does: several make one entry, and a decision ends its entry. What has
/// come of them, an entry for each group.
fn give(keeper: &mut Keeper, inputs: &[(f64, Input)]) -> Vec<(usize, Entry)> {
    let mut entries = Vec::new();
    for (number, (time, input)) in inputs.iter().enumerate() {
        match input {
            Input::Line(said) => keeper.take(line(said), at(*time)),
            Input::Tick => keeper.tick(at(*time), at(*time)),
            Input::Notice(notice) => keeper.notice(SourceId(0), notice.clone(), at(*time)),
            Input::Lost(readings) => keeper.turned_away(SourceId(0), *readings, at(*time)),
            Input::Occurred(what) => keeper.occurred(at(*time), None, what.clone()),
            Input::Command(command) => drop(keeper.command(command.clone(), at(*time))),
        }
        let decided = matches!(input, Input::Command(_));
        if decided || number % 7 == 6 || number + 1 == inputs.len() {
            entries.push((number + 1, keeper.take_entry()));
        }
    }
    entries
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// A checkpoint anywhere, a crash anywhere after it: once what was committed between is replayed, every alarm
    /// stands as it stood, and the rest of the day tells the same.
    #[test]
    fn a_crash_leaves_every_alarm_as_it_was(
        steps in prop::collection::vec(any_step(), 2..14), early in 0.0..1.0_f64, late in 0.0..1.0_f64,
    ) {
        let inputs = day(&steps);
        let mut whole = Keeper::new(wired(), at(0.0), at(0.0));
        let entries = give(&mut whole, &inputs);

        let place = |share: f64| (share * entries.len() as f64) as usize;
        let (checkpoint, crash) = (place(early.min(late)), place(early.max(late)));
        let reached = |entry: usize| entry.checked_sub(1).map_or(0, |entry| entries[entry].0);
        let mut first = Keeper::new(wired(), at(0.0), at(0.0));
        give_as(&mut first, &inputs, &entries[..checkpoint]);
        let kept = first.checkpoint().unwrap();
        give_as_from(&mut first, &inputs, reached(checkpoint), &entries[checkpoint..crash]);
        let mut second = Keeper::restored(wired(), &kept, at(0.0), at(0.0)).unwrap();
        for (_, entry) in &entries[checkpoint..crash] {
            replay(&mut second, entry);
        }
        prop_assert_eq!(stand(&second), stand(&first));
        give_as_from(&mut second, &inputs, reached(crash), &entries[crash..]);
        prop_assert_eq!(stand(&second), stand(&whole));
    }
}

/// Gives the inputs of entries, cut as they were.
fn give_as(keeper: &mut Keeper, inputs: &[(f64, Input)], entries: &[(usize, Entry)]) {
    give_as_from(keeper, inputs, 0, entries);
}

fn give_as_from(
    keeper: &mut Keeper,
    inputs: &[(f64, Input)],
    mut from: usize,
    entries: &[(usize, Entry)],
) {
    for (to, entry) in entries {
        let again = give_whole(keeper, &inputs[from..*to]);
        assert_eq!(again.records, entry.records);
        from = *to;
    }
}

/// Gives inputs as one entry.
fn give_whole(keeper: &mut Keeper, inputs: &[(f64, Input)]) -> Entry {
    for (time, input) in inputs {
        match input {
            Input::Line(said) => keeper.take(line(said), at(*time)),
            Input::Tick => keeper.tick(at(*time), at(*time)),
            Input::Notice(notice) => keeper.notice(SourceId(0), notice.clone(), at(*time)),
            Input::Lost(readings) => keeper.turned_away(SourceId(0), *readings, at(*time)),
            Input::Occurred(what) => keeper.occurred(at(*time), None, what.clone()),
            Input::Command(command) => drop(keeper.command(command.clone(), at(*time))),
        }
    }
    keeper.take_entry()
}

fn replay(keeper: &mut Keeper, entry: &Entry) {
    entry
        .readings
        .iter()
        .for_each(|taking| keeper.replay(taking));
    for (time, record) in &entry.records {
        keeper.replay_record(*time, record);
    }
}

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

/// A daemon of another version knows only the last record of each alarm: what nobody had seen is still to be
/// seen, and what a person put aside stays there.
#[test]
fn another_version_forgets_no_alarm() {
    let mut keeper = Keeper::new(wired(), at(0.0), at(0.0));
    let changed = |alarm: &str, state: State, change: Change| {
        let inputs = serde_json::json!({
            "alarm": alarm, "station": null, "from": "normal", "state": state, "priority": "high", "count": 2,
            "cause": null, "words": "", "follows": null, "announce": true,
        });
        let serde_json::Value::Object(mut body) = inputs else {
            unreachable!()
        };
        let serde_json::Value::Object(change) = serde_json::to_value(change).unwrap() else {
            unreachable!()
        };
        body.extend(change);
        serde_json::from_value::<AlarmChanged>(body.into()).unwrap()
    };
    let (by, why) = ("Mara".to_owned(), "seen".to_owned());
    let shelved = Change::Shelved {
        until: at(500.0),
        by,
        why,
    };
    for (alarm, state, change) in [
        (
            "belt-stopped-hot@belt-1",
            State::Unacknowledged,
            Change::Raised,
        ),
        ("source-down@line", State::Unacknowledged, Change::Raised),
        ("heater-sagging@zone-1", State::Acknowledged, Change::Raised),
        ("probe-noisy@zone-2", State::Shelved, shelved),
        ("probe-open@gone", State::Unacknowledged, Change::Raised),
    ] {
        keeper.adopt_alarm(at(0.0), &changed(alarm, state, change));
    }
    let stands: Vec<(String, State)> = keeper
        .alarms()
        .map(|alarm| (alarm.id.to_string(), alarm.state()))
        .collect();
    let expected = [
        ("belt-stopped-hot@belt-1", State::LatchedUnacknowledged),
        ("heater-sagging@zone-1", State::Normal),
        ("probe-noisy@zone-2", State::Shelved),
        ("source-down@line", State::ReturnedUnacknowledged),
    ];
    assert_eq!(
        stands,
        expected.map(|(alarm, state)| (alarm.to_owned(), state))
    );
    keeper.tick(at(501.0), at(501.0));
    let entry = keeper.take_entry();
    assert!(
        changes(&entry)
            .iter()
            .any(|changed| changed.change == Change::ShelfEnded)
    );
}
