//! Batches and holds, from open to settled.

use serde_json::Value;

use super::daemon::{OPEN, assert_fits, assert_holds, await_rides, give_rides, local};

#[test]
fn a_batch_from_open_to_close() {
    let daemon = local();
    await_rides(&daemon);
    let unassigned = daemon.good(&["batch", "unassigned"]);
    assert_holds(
        &unassigned,
        &[
            "pass  station  in",
            "\n1     belt-1",
            "inkdwell batch assign BATCH PASS",
        ],
    );
    let listed = daemon.good(&["batch", "list"]);
    assert_holds(
        &listed,
        &["There is no such batch.", "Without a batch: 3 prints"],
    );

    assert_eq!(daemon.good(&OPEN), "Batch 1 is open at belt-1.\n");
    let assigned = daemon.good(&["batch", "assign", "1", "1", "2", "3", "--by", "Jonas"]);
    assert_fits(&assigned);
    assert_holds(
        &assigned,
        &[
            "under-cured",
            "under-cured: 0.0 s above 160 °C",
            "Advice only",
        ],
    );
    let twice = daemon.refused(&["batch", "assign", "1", "2"]);
    assert_eq!(twice, "pass 2 belongs to batch 1 already");
    assert_eq!(
        daemon.good(&["batch", "unassigned"]),
        "Every print has a batch.\n"
    );

    assert_eq!(
        daemon.good(&["batch", "note", "1", "Edge of the belt"]),
        "Noted to batch 1.\n"
    );
    let shown = daemon.good(&["batch", "show", "1"]);
    assert_fits(&shown);
    assert_holds(
        &shown,
        &[
            "Batch 1: Harbour run",
            "plastisol-standard on cotton-jersey",
            "prints        3 of 3: 2 cured, 1 under-cured",
            "a blank       6.50",
            " by mara\n",
            "Edge of the belt",
            "Hold 1: 1 print of batch 1, Harbour run, at belt-1: under-cured",
            "Advice only",
        ],
    );
    let closed = daemon.good(&["batch", "close", "1"]);
    assert_eq!(
        closed,
        "Batch 1 is closed; its prints: 2 cured, 1 under-cured.\n"
    );
    let listed = daemon.good(&["batch", "list"]);
    assert_fits(&listed);
    assert_holds(&listed, &["Harbour run: 2 cured, 1 under-cured"]);
    assert_eq!(
        daemon.good(&["batch", "list", "--open"]),
        "There is no such batch.\n"
    );
    let json = daemon.json(&["batch", "show", "1"]);
    assert_eq!(
        (&json["batch"], &json["closed"]["by"]),
        (&Value::from(1), &Value::from("mara"))
    );
}

#[test]
fn holds_are_a_finding_until_they_are_settled() {
    let daemon = local();
    assert_eq!(daemon.good(&["holds"]), "No hold is open.\n");
    give_rides(&daemon);
    let (code, holds, err) = daemon.call(&["holds"]);
    assert_eq!((code, err.as_str()), (1, ""));
    assert_fits(&holds);
    assert_holds(
        &holds,
        &[
            "Hold 1: 1 print of batch 1, Harbour run, at belt-1: under-cured",
            "pull        print 2, out at ",
            "why         under-cured: 0.0 s above 160 °C where 3.0 s are needed",
            "blanks      they cost 6.50",
            "They can go through the heat once more",
            "inkdwell holds settle 1 OUTCOME --why WORDS",
            "Advice only",
        ],
    );
    let settle = [
        "holds",
        "settle",
        "1",
        "re-run",
        "--why",
        "sent through at 2.2 m/min",
    ];
    assert_eq!(daemon.good(&settle), "Hold 1 is settled: re-run.\n");
    let sentence = "hold 1 is not open: it was settled before, or there is none of that number";
    assert_eq!(daemon.refused(&settle), sentence);
    assert_eq!(daemon.good(&["holds"]), "No hold is open.\n");
    let all = daemon.good(&["holds", "--all"]);
    assert_holds(
        &all,
        &[
            "settled     re-run 20",
            " by mara: sent through at 2.2 m/min",
        ],
    );
    assert_eq!(
        daemon.refused(&["holds", "settle", "9", "scrapped", "--why", "torn"]),
        "there is no hold 9; inkdwell holds --all shows all"
    );
    let nobody = [
        "holds", "settle", "9", "scrapped", "--why", "torn", "--by", " ",
    ];
    assert_eq!(
        daemon.refused(&nobody),
        "nobody is named; say who you are with --by NAME"
    );
}
