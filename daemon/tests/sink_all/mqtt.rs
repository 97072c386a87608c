//! MQTT, against Mosquitto, by versions 3.1.1 and 5.

use std::collections::HashSet;

use rumqttc::QoS;

use crate::mosquitto::Mosquitto;
use crate::shop::{blocked, fill, identities, parsed, start, text, until};
use crate::subscriber::{Heard, Subscriber, Way};

fn sink(port: u16, version: &str) -> String {
    format!(
        "[[sink]]\nid = \"office\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\n\
         version = {version:?}\n"
    )
}

/// The records of what came, a repetition left out.
fn records(heard: &[Heard]) -> Vec<u64> {
    let mut known = HashSet::new();
    let new = heard
        .iter()
        .filter(|heard| known.insert(heard.json["id"].as_str().unwrap().to_owned()));
    new.map(|heard| heard.json["record"].as_u64().unwrap())
        .collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn verdicts_states_and_the_status_are_published_as_the_schemas_say() {
    for version in ["3.1.1", "5"] {
        let Some(broker) = Mosquitto::start("") else {
            return;
        };
        let folder = tempfile::tempdir().unwrap();
        fill(folder.path(), &[("office", "mqtt")], 200);
        let subscriber = Subscriber::start(broker.port, "before").await;
        let sinks = sink(broker.port, version);
        let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
        let verdicts = until("all verdicts", || {
            let verdicts = subscriber.on("/belt-1/verdict");
            (verdicts.len() >= 200).then_some(verdicts)
        })
        .await;
        assert_eq!(records(&verdicts), (2..=201).collect::<Vec<_>>());
        assert_eq!(verdicts.len(), 200, "each once");
        let identities = identities(&shift);
        for heard in &verdicts {
            assert_eq!(heard.topic, "inkdwell/Lantern-Yard/belt-1/verdict");
            assert_eq!(heard.qos, QoS::AtLeastOnce);
            let record = heard.json["record"].as_u64().unwrap();
            assert_eq!(heard.json["id"], identities[&record]);
        }
        until("the state", || {
            let states = subscriber.on("/belt-1/state");
            states
                .iter()
                .any(|state| state.json["last_pass"] == 200)
                .then_some(())
        })
        .await;
        // Whoever comes later finds states and status, and no verdict.
        let late = Subscriber::start(broker.port, "late").await;
        let state = until("the retained", || {
            let retained = late.heard();
            (retained.len() >= 2).then_some(retained)
        })
        .await;
        assert!(state.iter().all(|heard| heard.retained));
        let of = |end: &str| {
            state
                .iter()
                .find(|heard| heard.topic.ends_with(end))
                .unwrap()
        };
        assert_eq!(of("/@monitor/status").json["state"], "running");
        let state = &of("/belt-1/state").json;
        assert_eq!(state["job"], "Harbour run, \"night\"");
        // 28 of 200 are sevenths.
        assert_eq!(state["counts"]["under-cured"], 28);
        assert_eq!(state["counts"]["cured"], 172);
        let schemas = inkdwell_daemon::sink::message::schemas();
        for heard in subscriber.heard() {
            let name = heard.json["schema"].as_str().unwrap();
            let (_, schema) = schemas.iter().find(|(own, _)| *own == name).unwrap();
            jsonschema::validate(schema.as_value(), &heard.json).unwrap();
        }
        shift.stop().await.unwrap();
        let status = until("the farewell", || {
            let status = late.on("/@monitor/status");
            status
                .last()
                .filter(|status| status.json["state"] == "stopped")
                .cloned()
        })
        .await;
        assert!(!status.retained, "it is news to whoever is there");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_is_away_or_cut_off_again_and_again_misses_nothing() {
    for version in ["3.1.1", "5"] {
        let Some(broker) = Mosquitto::start("") else {
            return;
        };
        let folder = tempfile::tempdir().unwrap();
        fill(folder.path(), &[("office", "mqtt")], 600);
        let subscriber = Subscriber::start(broker.port, "always").await;
        let way = Way::to(broker.port, false).await;
        let shift = start(
            parsed(&text("Lantern Yard", &sink(way.port, version))),
            folder.path(),
        )
        .await;
        blocked(&shift, "office").await;
        assert!(subscriber.heard().is_empty());
        way.open();
        let mut reached = 0;
        while reached < 600 {
            let verdicts = until("more", || {
                let verdicts = subscriber.on("/verdict");
                let count = records(&verdicts).len();
                (count >= 600 || count > reached).then_some(count)
            })
            .await;
            reached = verdicts;
            way.break_off();
        }
        let numbers = records(&subscriber.on("/verdict"));
        assert_eq!(numbers, (2..=601).collect::<Vec<_>>());
        // Those who are there hear that the monitor was lost, and that it is back.
        until("the last will", || {
            let status = subscriber.on("/@monitor/status");
            status
                .iter()
                .any(|status| status.json["state"] == "lost")
                .then_some(())
        })
        .await;
        until("the return", || {
            let status = subscriber.on("/@monitor/status");
            status
                .last()
                .is_some_and(|status| status.json["state"] == "running")
                .then_some(())
        })
        .await;
        shift.stop().await.unwrap();
    }
}

/// A broker of version 5 says how large a packet may be (section 3.2.2.3.6), and hangs up on larger ones.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_broker_finds_too_large_is_set_aside() {
    let Some(broker) = Mosquitto::start("max_packet_size 600") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("office", "mqtt")], 3);
    let subscriber = Subscriber::start(broker.port, "always").await;
    let sinks = sink(broker.port, "5");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let reader = shift.readers().reader().unwrap();
    let aside = until("what is too large", || {
        let (counts, aside) = reader.set_aside("office", 9).unwrap();
        (counts.kept == 3).then_some(aside)
    })
    .await;
    assert!(aside[0].why.contains("no packet of more than 600 bytes"));
    // What is small goes through.
    until("the batch", || {
        let events = subscriber.on("/belt-1/event");
        events
            .iter()
            .any(|event| event.json["kind"] == "batch-opened")
            .then_some(())
    })
    .await;
    assert!(subscriber.on("/verdict").is_empty());
    shift.stop().await.unwrap();
}
