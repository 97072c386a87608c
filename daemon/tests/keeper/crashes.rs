//! Days made up at random: wherever a crash comes, the rest of the day is as if nothing had happened.

use inkdwell_daemon::keeper::{Command, Entry, Keeper};
use proptest::prelude::*;

use crate::shop::{at, film, keeper, line, open, shop};

/// One step of a working day.
#[derive(Debug, Clone)]
enum Step {
    Ride(f64),
    Open(&'static str),
    Close,
    Count,
    Faster,
    Rest,
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        (120.0..200.0).prop_map(Step::Ride),
        prop_oneof![Just("plastisol-standard"), Just("water-based")].prop_map(Step::Open),
        Just(Step::Close),
        Just(Step::Count),
        Just(Step::Faster),
        Just(Step::Rest),
    ]
}

/// Everything that reaches the keeper, in order.
enum Input {
    Line(Vec<(&'static str, f64)>),
    Tick,
    Command(Command),
}

fn day(steps: &[Step]) -> Vec<(f64, Input)> {
    let (mut inputs, mut now, mut counted) = (Vec::new(), 0.0, 0.0);
    for step in steps {
        match step {
            Step::Ride(peak) => {
                for half in 0..260 {
                    let t = f64::from(half) * 0.5;
                    let read = film(t, *peak);
                    let said = vec![("cloth", read + 3.0), ("film", read)];
                    inputs.push((now + t, Input::Line(said)));
                    if half % 2 == 0 {
                        inputs.push((now + t, Input::Tick));
                    }
                    if half == 90 {
                        counted += 1.0;
                        inputs.push((now + t, Input::Line(vec![("prints", counted)])));
                    }
                }
                now += 130.0;
            }
            Step::Open(ink) => inputs.push((now, Input::Command(open(ink)))),
            Step::Close => {
                for batch in 1..9 {
                    let by = "Mara".to_owned();
                    inputs.push((now, Input::Command(Command::CloseBatch { batch, by })));
                }
            }
            Step::Count => {
                counted += 1.0;
                inputs.push((now, Input::Line(vec![("prints", counted)])));
            }
            Step::Faster => inputs.push((now, Input::Line(vec![("speed", 3.0 + now % 1.0)]))),
            Step::Rest => {
                for _ in 0..20 {
                    now += 1.0;
                    inputs.push((now, Input::Tick));
                }
            }
        }
        now += 1.0;
    }
    inputs
}

fn give(keeper: &mut Keeper, (time, input): &(f64, Input)) -> Entry {
    match input {
        Input::Line(said) => keeper.take(line(said), at(*time)),
        Input::Tick => keeper.tick(at(*time), at(*time)),
        Input::Command(command) => drop(keeper.command(command.clone(), at(*time))),
    }
    keeper.take_entry()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// A checkpoint anywhere, a crash anywhere after it: what was committed between is replayed, and the rest of
    /// the day comes out as if nothing had happened.
    #[test]
    fn a_crash_changes_nothing(
        steps in prop::collection::vec(any_step(), 2..9), early in 0.0..1.0_f64, late in 0.0..1.0_f64,
    ) {
        let inputs = day(&steps);
        let mut whole = keeper();
        let entries: Vec<Entry> = inputs.iter().map(|input| give(&mut whole, input)).collect();

        let place = |share: f64| (share * inputs.len() as f64) as usize;
        let (checkpoint, crash) = (place(early.min(late)), place(early.max(late)));
        let mut first = keeper();
        for input in &inputs[..checkpoint] {
            give(&mut first, input);
        }
        let kept = first.checkpoint().unwrap();
        drop(first);
        let mut second = Keeper::restored(shop(), &kept, at(0.0), at(0.0)).unwrap();
        for entry in &entries[checkpoint..crash] {
            entry.readings.iter().for_each(|taking| second.replay(taking));
            for (time, record) in &entry.records {
                second.replay_record(*time, record);
            }
        }
        for (input, entry) in inputs[crash..].iter().zip(&entries[crash..]) {
            let again = give(&mut second, input);
            prop_assert_eq!(&again.records, &entry.records);
            prop_assert_eq!(&again.readings, &entry.readings);
        }
    }
}
