//! A day from the first batch to the last hold, by everything that can be asked.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::client::Client;
use crate::served::{PEAKS, Served, generous, shop, trace};

fn new_batch() -> Value {
    json!({
        "station": "belt-1", "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "quantity": 3, "blank_cost": 6.5, "mesh_per_inch": 156.0,
        "by": "Mara",
    })
}

/// Opens a batch, has three rides played, and then goes through every route.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_day_by_everything_that_can_be_asked() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let served = Served::start(shop(&file, None), &folder.path().join("data"), generous()).await;
    let client = &served.client;
    client.done("/api/batches", new_batch()).await;
    served.played(1).await;

    status(client).await;
    now(client).await;
    batch(client).await;
    holds(client).await;
    recipes(client).await;
    probes(client).await;
    alarms(client).await;
    unknown_and_wrong(client).await;
    every_described_route_was_answered(client).await;
    served.stop().await;
}

async fn status(client: &Client) {
    let status = client.good("/api/status").await;
    assert_eq!(status["shop"], "Lantern Yard Print");
    assert_eq!(status["disk_full"], false);
    assert_eq!(status["open_holds"], 1);
    assert_eq!(status["timezone"], "Europe/Vienna");
    let belt = &status["stations"][0];
    assert_eq!(belt["batch"], 1);
    assert_eq!(
        (&belt["kind"], &belt["belt_is_live"]),
        (&json!("belt-dryer"), &json!(false))
    );
    assert!((belt["belt_m_per_min"].as_f64().unwrap() - 2.6).abs() < 1e-9);
    let source = &status["sources"][0];
    assert_eq!(
        (&source["state"], &source["messages"]),
        (&json!("ended"), &json!(1020))
    );
    let events = client.good("/api/events?newest=3").await;
    assert_eq!(events["events"].as_array().unwrap().len(), 3);
}

/// Nothing is in the heat any more, so that the last print's curve is shown; its levels are the shipped library's.
async fn now(client: &Client) {
    let now = client.good("/api/now?station=belt-1").await;
    let station = &now["stations"][0];
    assert_eq!(now["stations"].as_array().unwrap().len(), 1);
    assert_eq!(
        (&station["says"]["tone"], &station["says"]["large"]),
        (&json!("good"), &json!("Good"))
    );
    let trip = &station["trip"];
    assert_eq!(
        (&trip["print"], &trip["running_s"]),
        (&json!(3), &Value::Null)
    );
    let levels = json!([
        { "name": "threshold", "celsius": 160.0, "is_limit": false },
        { "name": "scorch", "celsius": 185.0, "is_limit": true },
    ]);
    assert_eq!(trip["levels"], levels);
    let points = trip["points"].as_array().unwrap();
    let hottest = points.iter().map(|point| point[1].as_f64().unwrap());
    assert_eq!(hottest.fold(0.0, f64::max), PEAKS[2]);
    let marks: Vec<&Value> = station["last"]
        .as_array()
        .unwrap()
        .iter()
        .map(|left| &left["mark"])
        .collect();
    assert_eq!(marks, ["●", "▽", "●"]);
    assert_eq!(
        (
            &station["batch"]["done"],
            &station["batch"]["good"],
            &station["batch"]["to_pull"]
        ),
        (&json!(3), &json!(2), &json!(1))
    );
    let pull = station["to_do"].as_array().unwrap().iter();
    let pull: Vec<&Value> = pull.filter(|to_do| to_do["hold"] == 1).collect();
    let what = pull[0]["what"].as_str().unwrap();
    assert!(what.starts_with("Pull print 2, under-cured"), "{what}");
    let all = client.good("/api/now").await;
    assert_eq!(all["stations"].as_array().unwrap().len(), 2);
    let unknown = client.get("/api/now?station=belt-9").await;
    assert_eq!(
        (unknown.status, unknown.error()),
        (
            404,
            "the shop has no station \"belt-9\"; it has belt-1, flash-1"
        )
    );
    assert_eq!(client.good("/api/sinks").await["sinks"], json!([]));
    assert!(client.good("/api/messages.json").await.is_object());
}

async fn batch(client: &Client) {
    let batch = client.good("/api/batches/1").await;
    assert_eq!(
        (&batch["prints"], &batch["job"]),
        (&json!(3), &json!("Harbour run"))
    );
    assert!(batch["declared"].as_str().unwrap().contains("[[ink]]"));
    let verdicts = batch["verdicts"].as_array().unwrap();
    let count = |verdict: &str| {
        let mut counts = verdicts.iter();
        counts.find(|count| count["verdict"] == verdict).unwrap()["prints"].clone()
    };
    assert_eq!((count("cured"), count("under-cured")), (json!(2), json!(1)));

    let passes = client.good("/api/passes?batch=1&newest=2").await;
    let numbers: Vec<_> = passes["passes"].as_array().unwrap().iter().collect();
    assert_eq!(
        (&numbers[0]["pass"], &numbers[1]["pass"]),
        (&json!(3), &json!(2))
    );
    let second = client.good("/api/passes/2").await;
    assert_eq!(second["holds"], json!([1]));
    // Vienna is one or two hours ahead of UTC.
    let at = second["start"]["at"].as_str().unwrap();
    assert!(at.ends_with("+01:00") || at.ends_with("+02:00"), "{at}");

    let tested = json!({
        "method": "ISO 105-C06", "passed": true, "result": "grade 4-5", "pass": 1, "by": "Mara",
    });
    let signed = client.done("/api/batches/1/sign-offs", tested).await;
    assert!(signed.is_object(), "{signed}");
    let note = json!({ "note": "Second print rode on the edge of the belt.", "by": "Mara" });
    let noted = client.done("/api/batches/1/notes", note).await;
    assert_eq!(noted["notes"][0]["by"], "Mara");
    let closed = client
        .done("/api/batches/1/close", json!({ "by": "Jonas" }))
        .await;
    assert_eq!(closed["closed"]["by"], "Jonas");
    let again = client
        .post("/api/batches/1/close", json!({ "by": "Jonas" }))
        .await;
    assert_eq!((again.status, again.error()), (409, "batch 1 is not open"));
    let batches = client.good("/api/batches").await;
    assert_eq!(
        (&batches["batches"][0]["batch"], &batches["unassigned"]),
        (&json!(1), &json!(0))
    );
    let open = client.good("/api/batches?open=true").await;
    assert_eq!(open["batches"], json!([]));
}

async fn holds(client: &Client) {
    let holds = client.good("/api/holds").await;
    let hold = &holds["holds"][0];
    assert_eq!(
        (&hold["verdict"], &hold["may_re_run"]),
        (&json!("under-cured"), &json!(true))
    );
    assert_eq!(
        (&hold["cost"], &hold["job"]),
        (&json!(6.5), &json!("Harbour run"))
    );
    let print = &hold["prints"][0];
    assert_eq!((&print["pass"], &print["print"]), (&json!(2), &json!(2)));
    assert!(
        print["reasons"][0].as_str().unwrap().contains("160 °C"),
        "{print}"
    );
    let settle = |outcome: &str, why: &str| {
        let body = json!({ "outcome": outcome, "by": "Mara", "why": why });
        client.post("/api/holds/1/settle", body)
    };
    let unsaid = settle("re-run", " ").await;
    assert_eq!(unsaid.status, 400);
    assert!(unsaid.error().starts_with("why is empty"), "{unsaid:?}");
    assert_eq!(settle("forgotten", "no reason").await.status, 400);
    assert_eq!(
        settle("re-run", "sent through at 2.2 m/min").await.status,
        200
    );
    assert_eq!(settle("re-run", "twice").await.status, 409);
    let settled = client.good("/api/holds/1").await;
    assert_eq!(settled["settled"]["outcome"], "re-run");
    assert_eq!(client.good("/api/holds").await["holds"], json!([]));
    let all = client.good("/api/holds?state=all").await;
    assert_eq!(all["holds"].as_array().unwrap().len(), 1);
}

/// The figures are those of the played trace, by hand: see `served::trace`.
async fn recipes(client: &Client) {
    let lock = |ride: u64| {
        let body = json!({ "ride": ride, "ride_every_s": 14_400.0, "by": "Mara" });
        client.post("/api/recipes", body)
    };
    let locked = lock(1).await;
    assert_eq!(locked.status, 201, "{locked:?}");
    let recipe = locked.body;
    // What the exit probe will prove of the prints that follow, and nothing that is odd.
    let remarks = recipe["remarks"].as_array().unwrap();
    assert_eq!(remarks.len(), 1, "{remarks:?}");
    assert!(
        remarks[0].as_str().unwrap().starts_with("Of good prints"),
        "{remarks:?}"
    );
    assert_eq!(
        (&recipe["ink"], &recipe["station"]),
        (&json!("plastisol-standard"), &json!("belt-1"))
    );
    let zone = &recipe["zones"][0];
    assert_eq!(zone["probe"], "air");
    // Half a reading more of 189 or 191 among some two hundred.
    assert!(
        (zone["mean_c"].as_f64().unwrap() - 190.0).abs() < 0.02,
        "{zone}"
    );
    assert_eq!(recipe["exit_c"], 121.0);
    assert!((recipe["belt_m_per_min"].as_f64().unwrap() - 2.6).abs() < 1e-9);

    let unfit = lock(2).await;
    assert_eq!(unfit.status, 409);
    assert!(
        unfit.error().starts_with("pass 2 is under-cured"),
        "{unfit:?}"
    );
    assert_eq!(lock(99).await.status, 404);
    assert_eq!(client.good("/api/recipes/1").await["ride"], 1);

    // A batch may be held against it, if it is of the same kind.
    let with = |ink: &str| {
        let mut batch = new_batch();
        batch["recipe"] = json!(1);
        batch["ink"] = json!(ink);
        batch["ink_mixed"] = json!("2026-01-31T08:30:00+01:00");
        client.post("/api/batches", batch)
    };
    let other = with("plastisol-low-cure").await;
    assert_eq!(other.status, 409);
    assert!(other.error().contains("was locked for"), "{other:?}");
    let opened = with("plastisol-standard").await.body;
    assert_eq!(opened["ink_mixed"]["at"], "2026-01-31T08:30:00.000+01:00");

    let why = json!({ "by": "Mara", "why": "the belt was changed" });
    let retired = client.done("/api/recipes/1/retire", why.clone()).await;
    assert_eq!(retired["retired"]["why"], "the belt was changed");
    assert_eq!(client.post("/api/recipes/1/retire", why).await.status, 409);
    assert_eq!(client.good("/api/recipes").await["recipes"], json!([]));
    let all = client.good("/api/recipes?retired=true").await;
    assert_eq!(all["recipes"][0]["recipe"], 1);
}

async fn probes(client: &Client) {
    let probes = client.good("/api/probes").await;
    let film = &probes["probes"][0];
    assert_eq!(
        (&film["probe"], &film["place"]),
        (&json!("film"), &json!("ride"))
    );
    assert_eq!(film["reading"]["celsius"], 25.0);
    assert_eq!(
        (&film["uncertainty_c"], &film["calibration"]),
        (&json!(1.5), &Value::Null)
    );
    let made = |points: Value, due: &str| {
        let body = json!({
            "points_c": points, "uncertainty_c": 0.8, "date": "2026-02-02", "due": due, "by": "Mara",
        });
        client.post("/api/probes/film/calibrations", body)
    };
    let points = json!([[100.0, 101.2], [160.0, 161.8]]);
    for (points, due, beginning) in [
        (
            points.clone(),
            "2026-02-02",
            "due: 2026-02-02 is not after 2026-02-02",
        ),
        (points.clone(), "next year", "due: \"next year\" is no day"),
        (
            json!([]),
            "2027-02-02",
            "the calibration's points cannot be []",
        ),
        (
            json!([[100.0, 101.0], [90.0, 102.0]]),
            "2027-02-02",
            "the calibration's points cannot be",
        ),
        (
            json!([[100.0, 101.0], [160.0, 100.0]]),
            "2027-02-02",
            "the points: what was true has to rise",
        ),
    ] {
        let refused = made(points, due).await;
        assert_eq!(refused.status, 400, "{refused:?}");
        assert!(refused.error().starts_with(beginning), "{refused:?}");
    }
    let calibrated = made(points, "2026-02-03").await;
    assert_eq!(calibrated.status, 201);
    // √(1.5² + 0.8²) = 1.7; and 25 °C is shown 1.2 °C too low.
    let doubt = calibrated.body["uncertainty_c"].as_f64().unwrap();
    assert!((doubt - 1.7).abs() < 1e-12, "{doubt}");
    let calibration = &calibrated.body["calibration"];
    assert_eq!(
        (&calibration["due"], &calibration["overdue"]),
        (&json!("2026-02-03"), &json!(true))
    );
    assert_eq!(
        client.good("/api/probes/film").await["calibration"]["by"],
        "Mara"
    );
}

async fn unknown_and_wrong(client: &Client) {
    for (path, sentence) in [
        ("/api/batches/7", "there is no batch 7"),
        ("/api/passes/7", "there is no pass 7"),
        ("/api/holds/7", "there is no hold 7"),
        ("/api/recipes/7", "there is no recipe 7"),
        ("/api/batches/one", "there is no batch \"one\""),
        (
            "/api/batches/18446744073709551615",
            "there is no batch \"18446744073709551615\"",
        ),
        (
            "/api/probes/flim",
            "the shop file declares no probe \"flim\"; did you mean \"film\"?",
        ),
    ] {
        let answer = client.get(path).await;
        assert_eq!((answer.status, answer.error()), (404, sentence));
    }
    let nowhere = client.get("/api/nothing").await;
    assert_eq!(nowhere.status, 404);
    assert!(
        nowhere
            .error()
            .starts_with("there is nothing at \"/api/nothing\"")
    );
    assert_eq!(client.get("/nothing").await.status, 404);
    for path in ["/api/status", "/api/holds/1/settle", "/api/batches"] {
        let request = client.request("DELETE", path, Some(&json!({})));
        assert_eq!(client.send(&request).await.status, 405, "{path}");
    }
    for path in [
        "/api/passes?newest=0",
        "/api/passes?newest=5001",
        "/api/passes?batches=1",
        "/api/holds?state=lost",
        "/api/batches?open=perhaps",
        "/api/stream?after=x",
    ] {
        let answer = client.get(path).await;
        assert_eq!(answer.status, 400, "{path}: {answer:?}");
    }
    for (change, beginning) in [
        (
            ("station", json!("belt-2")),
            "the shop file declares no station \"belt-2\"",
        ),
        (("ink", json!("plastisol")), "ink \"plastisol\" is unknown"),
        (("job", json!("")), "the job is empty"),
        (
            ("job", json!("\u{1b}[2J")),
            "the job holds a control character",
        ),
        (
            ("job", json!("x".repeat(201))),
            "the job is longer than 200 characters",
        ),
        (
            ("blank_cost", json!(-1)),
            "the cost of a blank cannot be -1",
        ),
        (
            ("quantity", json!("many")),
            "the body is not what is asked for",
        ),
        (
            ("colour", json!("blue")),
            "the body is not what is asked for: unknown field `colour`",
        ),
        (
            ("ink_mixed", json!("this morning")),
            "when the ink was mixed: \"this morning\" is no time",
        ),
        (
            ("ink_mixed", json!("2999-01-01T00:00:00Z")),
            "when the ink was mixed: \"2999-01-01T00:00:00Z\" is still to come",
        ),
    ] {
        let (key, value) = change;
        let mut batch = new_batch();
        batch[key] = value;
        let answer = client.post("/api/batches", batch).await;
        assert_eq!(answer.status, 400, "{key}: {answer:?}");
        assert!(answer.error().starts_with(beginning), "{answer:?}");
    }
}

async fn alarms(client: &Client) {
    // The second print was under-cured; the third was cured, so that it is over, but nobody has seen it.
    let name = "print-under-cured@belt-1";
    let alarms = client.good("/api/alarms").await;
    let mut listed = alarms["alarms"].as_array().unwrap().iter();
    let own = listed.find(|alarm| alarm["alarm"] == name).unwrap();
    assert_eq!(
        (&own["state"], &own["count"], &own["holds"]),
        (&json!("returned-unacknowledged"), &json!(1), &json!(false))
    );
    assert!(
        own["words"]
            .as_str()
            .unwrap()
            .starts_with("Print 2 is under-cured")
    );
    let path = |what: &str| format!("/api/alarms/{name}/{what}");
    let seen = client
        .done(&path("acknowledge"), json!({ "by": "Mara" }))
        .await;
    assert_eq!(
        (&seen["state"], &seen["said"]["by"]),
        (&json!("normal"), &json!("Mara"))
    );
    assert_eq!(client.good(&format!("/api/alarms/{name}")).await, seen);

    let (by, why) = ("Mara", "the probe is being changed");
    let said = json!({ "by": by, "why": why });
    let shelf = |seconds: f64| json!({ "for_s": seconds, "by": by, "why": why });
    let shelved = client.done(&path("shelve"), shelf(3600.0)).await;
    assert_eq!(
        (&shelved["state"], &shelved["said"]["why"]),
        (&json!("shelved"), &json!(why))
    );
    assert!(shelved["shelved_until"]["at"].is_string());
    for (what, state) in [
        ("unshelve", "normal"),
        ("take-out", "out-of-service"),
        ("put-back", "normal"),
    ] {
        let alarm = client.done(&path(what), said.clone()).await;
        assert_eq!(alarm["state"], state);
    }
    let drill = client.done("/api/alarms/drill", said.clone()).await;
    assert_eq!(
        (&drill["drill"], &drill["state"]),
        (&json!(true), &json!("unacknowledged"))
    );
    let history = client
        .good("/api/alarms/history?alarm=print-under-cured")
        .await;
    let changes = history["changes"].as_array().unwrap().iter();
    let changes: Vec<_> = changes
        .map(|change| change["change"].as_str().unwrap())
        .collect();
    let expected = [
        "put-back",
        "taken-out",
        "unshelved",
        "shelved",
        "acknowledged",
        "returned",
        "raised",
    ];
    assert_eq!(changes, expected);
    let catalogue = client.good("/api/alarms/catalogue").await;
    assert_eq!(catalogue["alarms"].as_array().unwrap().len(), 34);

    for (path, body, status, beginning) in [
        (
            path("acknowledge"),
            json!({ "by": "Mara" }),
            409,
            "print-under-cured@belt-1: there is nothing",
        ),
        (
            path("reset"),
            said.clone(),
            409,
            "print-under-cured@belt-1: it is not latched",
        ),
        (
            path("shelve"),
            shelf(90_000.0),
            409,
            "print-under-cured@belt-1: an alarm is shelved for 8.0 h at most",
        ),
        (
            "/api/alarms/print-undercured@belt-1/reset".to_owned(),
            said.clone(),
            404,
            "there is no alarm called",
        ),
    ] {
        let refused = client.post(&path, body).await;
        assert_eq!(refused.status, status, "{refused:?}");
        assert!(refused.error().starts_with(beginning), "{refused:?}");
    }
    assert_eq!(
        client.get("/api/alarms/history?alarm=none").await.status,
        404
    );
    assert_eq!(
        client.get("/api/alarms/ride-overdue@belt-1").await.status,
        404
    );
}

/// The routes, as the tests know them: whoever adds one adds it here, and a call of it above.
async fn every_described_route_was_answered(client: &Client) {
    // That of `assign` and that of `news`; and a latched alarm, which no trace here brings about, so that
    // resetting one is only refused here, and done in the test of the keeper's alarms.
    let elsewhere = [
        ("post", "/api/alarms/{alarm}/reset"),
        ("post", "/api/batches/{batch}/passes"),
        ("get", "/api/stream"),
        // That of the ways out, which asks for it where something was set aside.
        ("post", "/api/sinks/{sink}/retry"),
        // Figures for machines, which are no JSON: their own test reads them.
        ("get", "/metrics"),
    ];
    client.get("/api/openapi.json").await;
    let mut done = client.done.lock().unwrap().clone();
    done.extend(elsewhere.map(|(method, path)| (method.to_owned(), path.to_owned())));
    let document = client.document().await;
    let mut described = BTreeSet::new();
    for (path, operations) in document["paths"].as_object().unwrap() {
        for method in operations.as_object().unwrap().keys() {
            described.insert((method.clone(), path.clone()));
        }
    }
    assert_eq!(described, done);
    assert_eq!(described.len(), 39);
}
