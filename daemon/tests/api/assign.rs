//! Passes without a batch, given to one later: judged as if it had been open.

use std::path::Path;
use std::time::Duration;

use inkdwell_daemon::journal::{self, Settings};
use inkdwell_daemon::time::Micros;
use serde_json::{Value, json};

use crate::client::Client;
use crate::served::{PEAKS, Served, flashes, generous, passes, shop, trace};

fn batch(station: &str) -> Value {
    json!({
        "station": station, "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": "Mara",
    })
}

/// What is said of each pass of a station, in their order.
async fn said(client: &Client, station: &str) -> Vec<Value> {
    let passes = client.good(&format!("/api/passes?station={station}")).await;
    let mut passes = passes["passes"].as_array().unwrap().clone();
    passes.reverse();
    passes
}

/// The same but for what rounding makes of another beginning of time.
fn assert_same(own: &Value, other: &Value, path: &str) {
    match (own, other) {
        (Value::Number(own), Value::Number(other)) => {
            let (own, other) = (own.as_f64().unwrap(), other.as_f64().unwrap());
            assert!(
                (own - other).abs() <= 1e-6 * own.abs().max(1.0),
                "{path}: {own} {other}"
            );
        }
        (Value::Array(own), Value::Array(other)) => {
            assert_eq!(own.len(), other.len(), "{path}");
            for (number, (own, other)) in own.iter().zip(other).enumerate() {
                assert_same(own, other, &format!("{path}[{number}]"));
            }
        }
        (Value::Object(own), Value::Object(other)) => {
            assert!(own.keys().eq(other.keys()), "{path}");
            for (key, own) in own {
                assert_same(own, &other[key], &format!("{path}.{key}"));
            }
        }
        _ => assert_eq!(own, other, "{path}"),
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_assigned_later_is_judged_as_if_the_batch_had_been_open() {
    let folder = tempfile::tempdir().unwrap();
    let (file, lamp) = (
        folder.path().join("trace.csv"),
        folder.path().join("lamp.csv"),
    );
    std::fs::write(&file, trace(PEAKS)).unwrap();
    std::fs::write(&lamp, flashes()).unwrap();
    let stations = ["belt-1", "flash-1"];
    let start = |data: &str| {
        let data = folder.path().join(data);
        let shop = shop(&file, Some(&lamp));
        async move { Served::start(shop, &data, generous()).await }
    };

    let open = start("open").await;
    for station in stations {
        open.client.done("/api/batches", batch(station)).await;
    }
    open.played(2).await;
    let mut expected = Vec::new();
    for station in stations {
        expected.push(said(&open.client, station).await);
    }
    open.stop().await;

    let later = start("later").await;
    later.played(2).await;
    assert!(
        passes(&later.shift)
            .iter()
            .all(|kept| kept.pass.judged.is_none())
    );
    let client = &later.client;
    assert_eq!(client.good("/api/holds").await["holds"], json!([]));
    for (number, (station, expected)) in stations.iter().zip(&expected).enumerate() {
        let number = number + 1;
        client.done("/api/batches", batch(station)).await;
        let before = said(client, station).await;
        assert!(before.len() >= 3, "{before:?}");
        let numbers: Vec<&Value> = before.iter().map(|pass| &pass["pass"]).collect();
        let body = json!({ "passes": numbers, "by": "Mara" });
        let assigned = client
            .done(&format!("/api/batches/{number}/passes"), body)
            .await;
        let assigned = assigned["passes"].as_array().unwrap();
        assert_eq!(assigned.len(), expected.len());
        for (own, expected) in assigned.iter().zip(expected) {
            assert_same(&own["judged"], &expected["judged"], "judged");
            assert_eq!(
                (&own["print"], &own["assigned"]),
                (&expected["print"], &json!(true))
            );
        }
    }
    let verdicts = |passes: &[Value]| -> Vec<String> {
        let verdict = |pass: &Value| pass["judged"]["verdict"].as_str().unwrap().to_owned();
        passes.iter().map(verdict).collect()
    };
    // By the peaks of what was played: the ink needs 160 °C, and gels from 104 to 121 °C.
    assert_eq!(verdicts(&expected[0]), ["cured", "under-cured", "cured"]);
    let flashed = ["gelled", "under-flashed", "gelled", "over-flashed"];
    assert_eq!(verdicts(&expected[1]), flashed);
    let holds = client.good("/api/holds").await;
    let held: Vec<_> = holds["holds"].as_array().unwrap().iter().collect();
    assert_eq!(held.len(), 3, "{holds}");
    let over = held
        .iter()
        .find(|hold| hold["verdict"] == "over-flashed")
        .unwrap();
    let settle = format!("/api/holds/{}/settle", over["hold"]);
    let again = json!({ "outcome": "re-run", "by": "Mara", "why": "worth a try" });
    let refused = client.post(&settle, again).await;
    assert_eq!(refused.status, 409);
    assert!(
        refused.error().contains("cannot go through the heat again"),
        "{refused:?}"
    );
    refusals(client).await;
    later.stop().await;
}

async fn refusals(client: &Client) {
    let assign = |batch: u64, passes: Value| {
        let body = json!({ "passes": passes, "by": "Mara" });
        {
            let client = client.clone();
            async move {
                client
                    .post(&format!("/api/batches/{batch}/passes"), body)
                    .await
            }
        }
    };
    let first =
        client.good("/api/passes?station=belt-1&newest=1").await["passes"][0]["pass"].clone();
    for (batch, passes, status, words) in [
        (1, json!([first]), 409, "belongs to batch 1 already"),
        (1, json!([999]), 404, "there is no pass 999"),
        (9, json!([first]), 404, "there is no batch 9"),
        (1, json!([]), 400, "passes names 0"),
        (1, json!([first, first]), 400, "is named twice"),
    ] {
        let refused = assign(batch, passes).await;
        assert_eq!(refused.status, status, "{refused:?}");
        assert!(refused.error().contains(words), "{refused:?}");
    }
}

/// A pass of one station is not a print of another's batch, and nothing is assigned where one cannot be.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn all_are_assigned_or_none() {
    let folder = tempfile::tempdir().unwrap();
    let (file, lamp) = (
        folder.path().join("trace.csv"),
        folder.path().join("lamp.csv"),
    );
    std::fs::write(&file, trace(PEAKS)).unwrap();
    std::fs::write(&lamp, flashes()).unwrap();
    let shop = shop(&file, Some(&lamp));
    let served = Served::start(shop, &folder.path().join("data"), generous()).await;
    served.played(2).await;
    let client = &served.client;
    client.done("/api/batches", batch("belt-1")).await;
    let own = said(client, "belt-1").await[0]["pass"].clone();
    let other = said(client, "flash-1").await[0]["pass"].clone();
    let body = json!({ "passes": [own, other], "by": "Mara" });
    let refused = client.post("/api/batches/1/passes", body).await;
    assert_eq!(refused.status, 409);
    assert!(
        refused.error().contains("was seen at flash-1"),
        "{refused:?}"
    );
    let unassigned = client.good("/api/passes?unassigned=true").await;
    let unassigned = unassigned["passes"].as_array().unwrap();
    assert!(unassigned.iter().any(|pass| pass["pass"] == own));
    served.stop().await;
}

/// A probe that shows 4 °C too little makes good prints look under-cured until it is calibrated, and those of before
/// stay as they were judged.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_calibration_changes_what_is_judged_later() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    let began_at = |hour: u32| {
        let started = format!("# started: 2026-03-02T{hour:02}:00:00Z\n");
        std::fs::write(&file, started + &trace([158.0, 158.0, 158.0])).unwrap();
    };
    began_at(8);
    let data = folder.path().join("data");
    let verdicts = async |client: &Client| -> Vec<String> {
        let verdict = |pass: &Value| pass["judged"]["verdict"].as_str().unwrap().to_owned();
        said(client, "belt-1").await.iter().map(verdict).collect()
    };
    let first = Served::start(shop(&file, None), &data, generous()).await;
    first.client.done("/api/batches", batch("belt-1")).await;
    first.played(1).await;
    let before = verdicts(&first.client).await;
    assert_eq!(before, ["under-cured"; 3]);
    let calibration = json!({
        "points_c": [[100.0, 104.0], [160.0, 164.0]], "uncertainty_c": 0.5, "date": "2026-03-02", "by": "Mara",
    });
    first
        .client
        .done("/api/probes/film/calibrations", calibration)
        .await;
    first.stop().await;

    // An hour later the same is played again; a new batch takes the probe's new doubt.
    began_at(9);
    let second = Served::start(shop(&file, None), &data, generous()).await;
    second.client.done("/api/batches", batch("belt-1")).await;
    second.played(2).await;
    let after = verdicts(&second.client).await;
    assert_eq!(after[..3], before[..]);
    assert_eq!(after[3..], ["cured"; 3]);
    let pass = second.client.good("/api/passes/4").await;
    let (peak, doubt) = (&pass["judged"]["peak_c"], &pass["judged"]["uncertainty_c"]);
    assert_eq!(peak.as_f64().unwrap(), 162.0);
    // √(1.5² + 0.5²) = 1.581
    assert!((doubt.as_f64().unwrap() - 1.5811).abs() < 1e-4, "{doubt}");
    second.stop().await;
}

/// Raw readings may be kept for a while only; then nobody can say what another batch's laws would have said.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_has_lost_its_readings_is_not_judged_anew() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let data = folder.path().join("data");
    let first = Served::start(shop(&file, None), &data, generous()).await;
    first.played(1).await;
    first.stop().await;
    // Nothing is played the second time, and the readings of the first are forgotten between.
    std::fs::remove_file(&file).unwrap();
    forget_readings(&data);

    let second = Served::start(shop(&file, None), &data, generous()).await;
    let client = &second.client;
    let passes = said(client, "belt-1").await;
    assert_eq!(
        (passes.len(), &passes[0]["readings_kept"]),
        (3, &json!(false))
    );
    client.done("/api/batches", batch("belt-1")).await;
    let body = json!({ "passes": [1], "by": "Mara" });
    let refused = client.post("/api/batches/1/passes", body).await;
    assert_eq!(refused.status, 409);
    let sentence = "the readings of pass 1 are not kept any more";
    assert!(refused.error().starts_with(sentence), "{refused:?}");
    second.stop().await;
}

fn forget_readings(data: &Path) {
    let settings = Settings {
        keep_free: Some(0),
        pack_readings: 100,
        ..Settings::default()
    };
    let (mut writer, _) = journal::open(data, settings).unwrap();
    let pause = Duration::from_millis(50);
    while writer.tidy(pause).unwrap().more {}
    let end = Micros(i64::MAX);
    writer.forget_readings_before(end, pause).unwrap();
}
