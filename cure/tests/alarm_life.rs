//! The life of an alarm, held against the transitions of ANSI/ISA-18.2-2016 (figure 2 of its clause 5; IEC 62682
//! has the same), and laws that hold whatever happens.

use inkdwell_cure::alarm::{
    AlarmEvent, AlarmId, Cause, Change, Delays, Kind, Life, NotNow, Origin, Register, Says, State,
};
use inkdwell_cure::live::Micros;
use proptest::prelude::*;

/// What can be done to a life.
#[derive(Debug, Clone, Copy)]
enum Does {
    Begins,
    Ends,
    Acknowledge,
    Reset,
    Shelve,
    Unshelve,
    Suppress(bool),
    TakeOut,
    PutBack,
}

fn apply(life: &mut Life, does: Does) {
    // What its state does not allow changes nothing, as another test shows.
    let _ = match does {
        Does::Begins => {
            life.begins();
            Ok(())
        }
        Does::Ends => {
            life.ends();
            Ok(())
        }
        Does::Acknowledge => life.acknowledge(),
        Does::Reset => life.reset(),
        Does::Shelve => life.shelve(Micros(1)),
        Does::Unshelve => life.unshelve().map(|_| ()),
        Does::Suppress(off) => {
            life.suppress(off);
            Ok(())
        }
        Does::TakeOut => life.take_out(),
        Does::PutBack => life.put_back().map(|_| ()),
    };
}

fn lived(latches: bool, done: &[Does]) -> State {
    let mut life = Life::new(latches);
    done.iter().for_each(|does| apply(&mut life, *does));
    life.state()
}

/// The arrows of the figure (from memory), each from the way to its tail to its head.
#[test]
fn the_arrows_of_the_standard_lead_where_they_should() {
    use Does::{Acknowledge, Begins, Ends, PutBack, Reset, Shelve, Suppress, TakeOut, Unshelve};
    let arrows: &[(bool, &[Does], State)] = &[
        (false, &[], State::Normal),
        (false, &[Begins], State::Unacknowledged),
        (false, &[Begins, Acknowledge], State::Acknowledged),
        (false, &[Begins, Acknowledge, Ends], State::Normal),
        (false, &[Begins, Ends], State::ReturnedUnacknowledged),
        (false, &[Begins, Ends, Acknowledge], State::Normal),
        (false, &[Begins, Ends, Begins], State::Unacknowledged),
        (true, &[Begins, Ends], State::LatchedUnacknowledged),
        (
            true,
            &[Begins, Ends, Acknowledge],
            State::LatchedAcknowledged,
        ),
        (
            true,
            &[Begins, Acknowledge, Ends],
            State::LatchedAcknowledged,
        ),
        (true, &[Begins, Acknowledge, Ends, Reset], State::Normal),
        (true, &[Begins, Ends, Begins], State::Unacknowledged),
        (
            true,
            &[Begins, Acknowledge, Ends, Begins],
            State::Unacknowledged,
        ),
        (false, &[Shelve], State::Shelved),
        (false, &[Begins, Shelve], State::Shelved),
        (
            false,
            &[Begins, Acknowledge, Shelve, Unshelve],
            State::Unacknowledged,
        ),
        (false, &[Begins, Shelve, Ends, Unshelve], State::Normal),
        (false, &[Suppress(true)], State::SuppressedByDesign),
        (
            false,
            &[Suppress(true), Begins, Suppress(false)],
            State::Unacknowledged,
        ),
        (
            false,
            &[Suppress(true), Begins, Ends, Suppress(false)],
            State::Normal,
        ),
        (false, &[TakeOut], State::OutOfService),
        (false, &[TakeOut, Begins, PutBack], State::Unacknowledged),
        (false, &[TakeOut, PutBack], State::Normal),
    ];
    for (latches, done, expected) in arrows {
        assert_eq!(lived(*latches, done), *expected, "{done:?}");
    }
}

#[test]
fn what_a_state_does_not_allow_is_refused_and_changes_nothing() {
    let mut life = Life::new(true);
    assert_eq!(life.acknowledge(), Err(NotNow::NothingToAcknowledge));
    assert_eq!(life.reset(), Err(NotNow::NotLatched));
    assert_eq!(life.unshelve(), Err(NotNow::NotShelved));
    assert_eq!(life.put_back(), Err(NotNow::IsInService));
    life.begins();
    life.ends();
    assert_eq!(life.reset(), Err(NotNow::AcknowledgeFirst));
    life.take_out().unwrap();
    assert_eq!(life.shelve(Micros(5)), Err(NotNow::IsOutOfService));
    assert_eq!(life.take_out(), Err(NotNow::IsOutOfService));
    life.put_back().unwrap();
    assert_eq!(life.state(), State::LatchedUnacknowledged);
}

fn does() -> impl Strategy<Value = Does> {
    prop_oneof![
        3 => Just(Does::Begins),
        3 => Just(Does::Ends),
        2 => Just(Does::Acknowledge),
        1 => Just(Does::Reset),
        1 => Just(Does::Shelve),
        1 => Just(Does::Unshelve),
        1 => any::<bool>().prop_map(Does::Suppress),
        1 => Just(Does::TakeOut),
        1 => Just(Does::PutBack),
    ]
}

proptest! {
    /// Whatever happens: once an alarm has been shown, only a person makes it normal again, and what holds and
    /// is not silenced is shown.
    #[test]
    fn nothing_that_was_shown_goes_away_by_itself(latches: bool, done in prop::collection::vec(does(), 0..60)) {
        let mut life = Life::new(latches);
        let mut unseen = false;
        for does in done {
            let before = life.state();
            apply(&mut life, does);
            let state = life.state();
            unseen |= state == State::Unacknowledged;
            if matches!(does, Does::Acknowledge) && before.wants_acknowledging() {
                unseen = false;
            }
            // Under a silence nobody is asked to look, and what ends there unseen by design or shelf is over.
            if state.is_silenced() || before.is_silenced() {
                unseen = state.wants_acknowledging();
            }
            prop_assert!(!unseen || state != State::Normal, "{before:?} -{does:?}-> {state:?}");
            if life.holds() && !state.is_silenced() {
                prop_assert!(matches!(state, State::Unacknowledged | State::Acknowledged));
            }
            if latches && before == State::LatchedUnacknowledged && state != before {
                prop_assert!(!matches!(state, State::Normal));
            }
        }
    }
}

/// What can happen to a register.
#[derive(Debug, Clone)]
enum Happens {
    Says(u8, bool),
    Again(u8),
    Tick,
    Person(u8, u8),
    Suppress(bool),
}

fn happens() -> impl Strategy<Value = (f64, Happens)> {
    let what = prop_oneof![
        4 => (0..5_u8, any::<bool>()).prop_map(|(of, on)| Happens::Says(of, on)),
        1 => (0..5_u8).prop_map(Happens::Again),
        4 => Just(Happens::Tick),
        3 => (0..5_u8, 0..6_u8).prop_map(|(of, what)| Happens::Person(of, what)),
        1 => any::<bool>().prop_map(Happens::Suppress),
    ];
    (0.0..40.0_f64, what)
}

/// Five alarms: two kinds that latch or wait, of two stations or probes.
fn id(of: u8) -> (AlarmId, Origin) {
    let kind = [
        Kind::BeltStoppedHot,
        Kind::ExhaustNotProved,
        Kind::RecipeLeft,
        Kind::PrintUnderCured,
        Kind::HeaterSagging,
    ][usize::from(of)];
    let origin = Origin {
        station: Some("belt-1".to_owned()),
        group: (of != 1).then(|| "heat of belt-1".to_owned()),
    };
    (AlarmId::new(kind, "belt-1"), origin)
}

fn at(seconds: f64) -> Micros {
    Micros(1_790_000_000_000_000).plus_seconds(seconds)
}

fn change(what: u8, now: Micros) -> Change {
    let (by, why) = ("Mara".to_owned(), "seen".to_owned());
    match what {
        0 => Change::Acknowledged { by, why },
        1 => Change::Reset { by, why },
        2 => Change::Shelved {
            until: now.plus_seconds(30.0),
            by,
            why,
        },
        3 => Change::Unshelved { by, why },
        4 => Change::TakenOut { by, why },
        _ => Change::PutBack { by, why },
    }
}

/// Feeds it; what it said.
fn feed(register: &mut Register, now: Micros, off: &mut bool, what: &Happens) -> Vec<AlarmEvent> {
    let mut events = Vec::new();
    let mut note = |event| events.push(event);
    match what {
        Happens::Says(of, on) => {
            let says = if *on {
                Says::On(Cause::NoNumber)
            } else {
                Says::Off
            };
            let (id, origin) = id(*of);
            let delays = id.kind.sheet().delays;
            register.says(now, (id, origin), says, delays, *off, &mut note);
        }
        Happens::Again(of) => {
            let (id, origin) = id(*of);
            let delays = id.kind.sheet().delays;
            register.says(
                now,
                (id, origin),
                Says::Again(Cause::NoBatch),
                delays,
                *off,
                &mut note,
            );
        }
        Happens::Tick => register.tick(now, &mut note),
        Happens::Person(of, what) => {
            let (id, origin) = id(*of);
            // Refusals change nothing; the chain below would break if they did.
            let _ = register.person(now, (&id, origin), &change(*what, now), *off, &mut note);
        }
        Happens::Suppress(now_off) => {
            *off = *now_off;
            register.suppress(now, "belt-1", *now_off, &mut note);
        }
    }
    events
}

proptest! {
    /// The events of each alarm are one chain: each begins in the state in which the one before ended, and the
    /// last ends in the state in which the alarm stands. So no transition is lost.
    #[test]
    fn every_transition_is_told(steps in prop::collection::vec(happens(), 0..120)) {
        let (mut register, mut off, mut time) = (Register::default(), false, 0.0);
        let mut stands = std::collections::BTreeMap::new();
        for (after, what) in &steps {
            time += after;
            for event in feed(&mut register, at(time), &mut off, what) {
                // One that never came is normal, or its station was off when it was first heard of.
                let first = event.from;
                let is_fresh = matches!(first, State::Normal | State::SuppressedByDesign);
                let before = stands.insert(event.id.clone(), event.state);
                prop_assert!(before.is_some() || is_fresh, "{:?}", event);
                let before = before.unwrap_or(first);
                prop_assert_eq!(event.from, before, "{:?}", event);
                prop_assert!(!(event.announce && event.state.is_silenced()));
            }
        }
        for alarm in register.alarms() {
            if let Some(state) = stands.get(&alarm.id) {
                prop_assert_eq!(alarm.state(), *state, "{}", alarm.id);
            }
        }
    }

    /// Put away and taken up again anywhere, it says and holds the same.
    #[test]
    fn it_can_be_put_away_anywhere(steps in prop::collection::vec(happens(), 1..120), cut: prop::sample::Index) {
        let cut = cut.index(steps.len());
        let run = |cut: Option<usize>| {
            let (mut register, mut off, mut time) = (Register::default(), false, 0.0);
            let mut told = Vec::new();
            for (number, (after, what)) in steps.iter().enumerate() {
                if Some(number) == cut {
                    let bytes = postcard::to_allocvec(&register).unwrap();
                    register = postcard::from_bytes(&bytes).unwrap();
                }
                time += after;
                told.extend(feed(&mut register, at(time), &mut off, what));
            }
            (register, told)
        };
        prop_assert_eq!(run(None), run(Some(cut)));
    }

    /// However a condition flickers, an alarm is raised no more than three times in any ten minutes but for one,
    /// and what came is counted.
    #[test]
    fn flicker_is_one_alarm_with_a_count(gaps in prop::collection::vec(0.1..30.0_f64, 100..400)) {
        let mut register = Register::default();
        let (id, origin) = id(3);
        let (mut time, mut raised) = (0.0, Vec::new());
        let none = Delays { on: 0.0, off: 0.0 };
        for (number, gap) in gaps.iter().enumerate() {
            time += gap;
            let says = if number % 2 == 0 { Says::On(Cause::NoNumber) } else { Says::Off };
            register.says(at(time), (id.clone(), origin.clone()), says, none, false, &mut |event: AlarmEvent| {
                if event.change == Change::Raised {
                    raised.push(time);
                }
            });
            register.tick(at(time), &mut |_| ());
        }
        for first in &raised {
            let close = raised.iter().filter(|then| (0.0..600.0).contains(&(*then - first))).count();
            prop_assert!(close <= 4, "{raised:?}");
        }
        let alarm = register.alarm(&id).unwrap();
        prop_assert_eq!(alarm.count, gaps.len().div_ceil(2) as u64);
    }
}

/// Ten announcements in ten minutes are no flood, eleven are (ISA-18.2: more than ten in ten minutes; from
/// memory). High alarms are announced all the same, and everything is recorded.
#[test]
fn a_flood_is_capped_and_says_so() {
    let mut register = Register::default();
    let mut events = Vec::new();
    let none = Delays { on: 0.0, off: 0.0 };
    let mut raise = |register: &mut Register, kind: Kind, number: u32, time: f64| {
        let id = AlarmId::new(kind, format!("thing-{number}"));
        let says = Says::On(Cause::NoBatch);
        let origin = Origin::default();
        register.says(at(time), (id, origin), says, none, false, &mut |event| {
            events.push(event);
        });
    };
    for number in 0..15 {
        raise(&mut register, Kind::NoBatchOpen, number, f64::from(number));
    }
    raise(&mut register, Kind::BeltStoppedHot, 0, 20.0);
    let announced = |kind: Kind| {
        let own = events
            .iter()
            .filter(|event| event.id.kind == kind && event.announce);
        own.count()
    };
    assert_eq!(
        events
            .iter()
            .filter(|event| event.id.kind == Kind::NoBatchOpen)
            .count(),
        15
    );
    assert_eq!(announced(Kind::NoBatchOpen), 11);
    assert_eq!(announced(Kind::AlarmFlood), 1);
    assert_eq!(announced(Kind::BeltStoppedHot), 1);
    let mut ended = Vec::new();
    register.tick(at(700.0), &mut |event: AlarmEvent| {
        ended.push(event.id.kind)
    });
    assert_eq!(ended, [Kind::AlarmFlood]);
}

/// Within a group the first is marked, and what follows names it.
#[test]
fn the_first_of_a_group_is_known() {
    let mut register = Register::default();
    let none = Delays { on: 0.0, off: 0.0 };
    let mut follows = Vec::new();
    for (of, time) in [(4, 0.0), (2, 5.0), (3, 9.0)] {
        let says = Says::On(Cause::NoBatch);
        register.says(
            at(time),
            id(of),
            says,
            none,
            false,
            &mut |event: AlarmEvent| {
                follows.push(event.follows);
            },
        );
    }
    let first = Some(id(4).0);
    assert_eq!(follows, [None, first.clone(), first]);
}

/// A condition that does not hold for as long as its delay asks raises nothing; one that does, does so when
/// time says so and not before.
#[test]
fn delays_are_kept() {
    let run = |off_after: f64| {
        let mut register = Register::default();
        let mut raised = Vec::new();
        let delays = Delays { on: 5.0, off: 3.0 };
        for tenth in 0..200 {
            let time = f64::from(tenth) * 0.1;
            let mut note = |event: AlarmEvent| raised.push((event.change, (time * 10.0).round()));
            if tenth == 10 {
                let says = Says::On(Cause::NoBatch);
                register.says(at(time), id(3), says, delays, false, &mut note);
            }
            if (time - off_after).abs() < 0.05 {
                register.says(at(time), id(3), Says::Off, delays, false, &mut note);
            }
            register.tick(at(time), &mut note);
        }
        raised
    };
    assert_eq!(run(5.9), []);
    assert_eq!(
        run(8.0),
        [(Change::Raised, 60.0), (Change::Returned, 110.0)]
    );
}
