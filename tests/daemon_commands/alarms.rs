//! Alarms: listed, dealt with, explained.

use inkdwell_tests::daemon::{inkdwell_in, said};
use serde_json::Value;

use super::daemon::{OPEN, assert_fits, assert_holds, await_rides, local};

#[test]
fn alarms_are_listed_acknowledged_shelved_and_drilled() {
    let daemon = local();
    await_rides(&daemon);
    // Three prints have passed, and nobody has said what was printed.
    let none_open = "no-batch-open@belt-1";
    let (code, listed, _) = daemon.call(&["alarms"]);
    assert_eq!(code, 1, "{listed}");
    assert_fits(&listed);
    assert_holds(
        &listed,
        &[
            "no-batch-open@belt-1: prints pass with no batch open",
            "not acknowledged, medium priority",
            "Open the batch: inkdwell batch open.",
            "no safety device",
        ],
    );
    let acked = daemon.good(&[
        "alarms",
        "ack",
        none_open,
        "--why",
        "opening one",
        "--by",
        "Mara",
    ]);
    assert_eq!(acked, "no-batch-open@belt-1 is acknowledged.\n");
    let listed = daemon.good(&["alarms", "list"]);
    assert_holds(&listed, &["Mara: opening one"]);
    daemon.good(&OPEN);
    assert_eq!(daemon.good(&["alarms"]), "No alarm stands.\n");

    daemon.good(&["alarms", "drill", "--why", "new phone"]);
    let (code, listed, _) = daemon.call(&["alarms", "--json"]);
    let json: Value = serde_json::from_str(&listed).unwrap();
    assert_eq!((code, &json["alarms"][0]["drill"]), (1, &Value::Bool(true)));
    daemon.good(&["alarms", "ack", "drill"]);

    let noisy = "probe-noisy@air";
    let shelved = daemon.good(&[
        "alarms",
        "shelve",
        noisy,
        "--for",
        "2 h",
        "--why",
        "shield comes",
    ]);
    assert!(
        shelved.starts_with("probe-noisy@air is shelved until 2"),
        "{shelved}"
    );
    daemon.good(&["alarms", "unshelve", noisy, "--why", "shield came"]);
    daemon.good(&[
        "alarms",
        "take-out",
        noisy,
        "--why",
        "probe is being changed",
    ]);
    assert_holds(
        &daemon.good(&["alarms"]),
        &["out of service", "mara: probe is being changed"],
    );
    daemon.good(&["alarms", "put-back", noisy, "--why", "probe is new"]);

    let history = daemon.good(&["alarms", "history"]);
    assert_fits(&history);
    assert_holds(
        &history,
        &[
            "no-batch-open@belt-1 raised. A print has passed",
            "no-batch-open@belt-1 acknowledged by Mara: opening one",
            "drill (drill) raised. This is a drill, by mara: new phone",
            "probe-noisy@air shelved by mara: shield comes",
            "probe-noisy@air put-back by mara: probe is new",
        ],
    );
    let own = daemon.good(&["alarms", "history", noisy]);
    assert_eq!(own.lines().count(), 4, "{own}");
    for (typed, expected) in [
        (
            vec!["alarms", "ack", "no-batch-opn@belt-1"],
            "there is no alarm called \"no-batch-opn@belt-1\"; did you mean \"no-batch-open\"?",
        ),
        (
            vec!["alarms", "shelve", noisy, "--for", "2", "--why", "x"],
            "--for: 2 has no unit; write \"2 s\" or \"2 min\"",
        ),
        (
            vec!["alarms", "shelve", noisy, "--for", "9 h", "--why", "x"],
            "probe-noisy@air: an alarm is shelved for 8.0 h at most, and for longer than no time; take it out of \
             service if it is to rest for longer",
        ),
        (
            vec!["alarms", "explain", "belt-stoped-hot"],
            "there is no alarm \"belt-stoped-hot\"; did you mean \"belt-stopped-hot\"?",
        ),
    ] {
        assert_eq!(daemon.refused(&typed), expected);
    }
}

/// The catalogue needs no daemon.
#[test]
fn an_alarm_is_explained() {
    let folder = tempfile::tempdir().unwrap();
    let explain = |name: &[&str]| {
        let mut call = inkdwell_in(folder.path());
        let (code, out, err) = said(call.args(["alarms", "explain"]).args(name));
        assert_eq!((code, err.as_str()), (0, ""));
        assert_fits(&out);
        out
    };
    let all = explain(&[]);
    assert_holds(&all, &["belt-stopped-hot", "ride-overdue"]);
    let one = explain(&["belt-stopped-hot@belt-1"]);
    assert_holds(
        &one,
        &[
            "  cause",
            "  consequence",
            "  first",
            "  then",
            "  time",
            "  caution",
            "no safety interlock",
            "cooled_below",
        ],
    );
}
