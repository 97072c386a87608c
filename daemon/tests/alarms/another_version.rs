//! A daemon of another version takes up every alarm from the last record of each.

use inkdwell_cure::alarm::{Change, State};
use inkdwell_daemon::keeper::Keeper;
use inkdwell_daemon::record::AlarmChanged;

use crate::shop::{at, changes, wired};

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
