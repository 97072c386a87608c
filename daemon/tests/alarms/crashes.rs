//! Days made up at random: wherever a crash comes, every alarm stands afterwards as it stood.

use inkdwell_daemon::intake::{Notice, SourceId};
use inkdwell_daemon::keeper::{Command, Deal, Entry, Keeper};
use inkdwell_daemon::record::Occurrence;
use proptest::prelude::*;

use crate::shop::{at, deal, line, open, stand, wired};

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
