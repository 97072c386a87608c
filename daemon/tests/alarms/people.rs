//! What people do with an alarm is recorded with who and why, and what cannot be done is refused with its reason.

use inkdwell_cure::alarm::State;
use inkdwell_daemon::keeper::{Deal, Keeper};
use inkdwell_daemon::record::Record;

use crate::shop::{at, changes, deal, line, stand, wired};

/// A hot dryer whose belt stops: the alarm comes, somebody sees it, the belt runs again, it is latched, somebody
/// has looked. Each step is a record.
#[test]
fn who_did_what_and_why_is_recorded() {
    let mut keeper = Keeper::new(wired(), at(0.0), at(0.0));
    let run = |keeper: &mut Keeper, from: u32, to: u32, speed: f64| {
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
    let said = |keeper: &mut Keeper, what: Deal, why: &str, time: f64| {
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
