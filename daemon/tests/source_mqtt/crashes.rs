//! Crashes of the daemon, of the broker and of the wire between them, against Mosquitto: each reading is
//! committed exactly once, in order. The readings are bare numbers that repeat, so that nothing in them tells
//! one from another.

use inkdwell_config::shop::MqttVersion;
use inkdwell_daemon::intake::{Arrival, MessageMark};
use proptest::prelude::Rng;
use proptest::test_runner::{RngAlgorithm, TestRng};

use crate::journal::{Journal, up};
use crate::mosquitto::Mosquitto;
use crate::relay::{Cut, Relay};
use crate::shop::{Source, VERSIONS, bare, broker, publish, within};

/// So many readings, each of them one of seven numbers.
fn readings(count: usize) -> Vec<String> {
    (0..count).map(|number| (number % 7).to_string()).collect()
}

fn numbers(readings: &[String]) -> Vec<f64> {
    readings.iter().map(|text| text.parse().unwrap()).collect()
}

async fn send(port: u16, readings: &[String]) {
    let messages: Vec<(&str, &str)> = readings.iter().map(|text| ("t/film", &text[..])).collect();
    publish(port, &messages).await;
}

fn start(version: MqttVersion, port: u16, journal: &Journal) -> Source {
    let memory: Vec<MessageMark> = journal.marks.clone();
    Source::start(broker(version, port), vec![bare("t/+", "{1}")], memory)
}

/// Makes the session at the broker.
async fn subscribed(version: MqttVersion, port: u16, journal: &mut Journal) -> Source {
    let mut source = start(version, port, journal);
    up(&mut source.queue, journal).await;
    source
}

fn chances() -> TestRng {
    TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32])
}

/// The daemon dies again and again: some messages were not committed, some committed and not acknowledged.
#[tokio::test]
async fn a_daemon_that_dies_between_commit_and_acknowledgement_loses_and_doubles_nothing() {
    for version in VERSIONS {
        let Some(mosquitto) = Mosquitto::start("") else {
            return;
        };
        let (mut journal, mut chances, sent) = (Journal::default(), chances(), readings(300));
        subscribed(version, mosquitto.port, &mut journal)
            .await
            .finish()
            .await;
        send(mosquitto.port, &sent).await;
        while journal.said.len() < sent.len() {
            let mut source = start(version, mosquitto.port, &journal);
            let acknowledged = journal.said.len() + (chances.next_u32() % 20) as usize;
            journal
                .take(&mut source.queue, acknowledged.min(sent.len()))
                .await;
            // Committed, and then dead: the receipts stay uncalled.
            let mut uncalled = Vec::new();
            let committed = journal.said.len() + (chances.next_u32() % 20) as usize;
            while journal.said.len() < committed.min(sent.len()) {
                let arrival = within(source.queue.recv()).await.unwrap();
                if let Arrival::Delivery(delivery) = arrival {
                    uncalled.push(journal.commit(delivery));
                }
            }
            // What else it had read dies with its queue.
            source.crash().await;
            drop(uncalled);
        }
        assert_eq!(journal.numbers(), numbers(&sent));
    }
}

/// The wire breaks at every possible place: inside packets, before an acknowledgement arrives.
#[tokio::test]
async fn a_wire_that_breaks_anywhere_loses_and_doubles_nothing() {
    for version in VERSIONS {
        let Some(mosquitto) = Mosquitto::start("") else {
            return;
        };
        let (mut journal, mut chances, sent) = (Journal::default(), chances(), readings(500));
        subscribed(version, mosquitto.port, &mut journal)
            .await
            .finish()
            .await;
        send(mosquitto.port, &sent).await;
        // Behind CONNECT and SUBSCRIBE come acknowledgements of four bytes each, towards the source
        // messages of a dozen: which way is cut first is chance.
        let mut cut = || Cut {
            to_broker: Some(60 + (chances.next_u32() % 120) as usize),
            to_source: Some(1 + (chances.next_u32() % 600) as usize),
        };
        let cuts = (0..4).map(|_| cut()).collect();
        let relay = Relay::start(mosquitto.port, cuts).await;
        let mut source = start(version, relay.port, &journal);
        journal.take(&mut source.queue, sent.len()).await;
        source.finish().await;
        // Nothing is left at the broker, and nothing came twice.
        let mut source = start(version, mosquitto.port, &journal);
        up(&mut source.queue, &mut journal).await;
        send(mosquitto.port, &["99".to_owned()]).await;
        journal.take(&mut source.queue, sent.len() + 1).await;
        let mut expected = numbers(&sent);
        expected.push(99.0);
        assert_eq!(journal.numbers(), expected);
        assert!(relay.cuts.lock().unwrap().is_empty());
        source.finish().await;
    }
}

/// The broker stops and starts while messages wait, are on their way, and are committed too late for it.
#[tokio::test]
async fn a_broker_that_restarts_with_what_it_kept_loses_and_doubles_nothing() {
    // With this it saves every change as it happens, so that it can be killed at any moment.
    let strictly = "persistence true\nautosave_on_changes true\nautosave_interval 1";
    for (settings, killed) in [("persistence true", false), (strictly, true)] {
        for version in VERSIONS {
            let Some(mut mosquitto) = Mosquitto::start(settings) else {
                return;
            };
            let (mut journal, sent) = (Journal::default(), readings(120));
            let mut source = subscribed(version, mosquitto.port, &mut journal).await;
            send(mosquitto.port, &sent).await;
            journal.take(&mut source.queue, 30).await;
            // Ten more are committed while the broker is away, five when it is back.
            let mut on_their_way = Vec::new();
            while on_their_way.len() < 15 {
                if let Arrival::Delivery(delivery) = within(source.queue.recv()).await.unwrap() {
                    on_their_way.push(delivery);
                }
            }
            match killed {
                true => mosquitto.kill(),
                false => mosquitto.end(),
            }
            for delivery in on_their_way.drain(..10) {
                journal.commit(delivery).unwrap().acknowledge();
            }
            mosquitto.run();
            for delivery in on_their_way {
                journal.commit(delivery).unwrap().acknowledge();
            }
            journal.take(&mut source.queue, sent.len()).await;
            assert_eq!(journal.numbers(), numbers(&sent), "{version:?} {killed}");
            source.finish().await;
        }
    }
}

/// A broker that keeps nothing begins a new session, in which the old identifiers mean other messages.
#[tokio::test]
async fn a_broker_that_forgot_the_session_is_subscribed_to_anew() {
    for version in VERSIONS {
        let Some(mut mosquitto) = Mosquitto::start("persistence false") else {
            return;
        };
        let (mut journal, sent) = (Journal::default(), readings(10));
        let mut source = subscribed(version, mosquitto.port, &mut journal).await;
        send(mosquitto.port, &sent).await;
        let mut on_their_way = Vec::new();
        while on_their_way.len() < sent.len() {
            if let Arrival::Delivery(delivery) = within(source.queue.recv()).await.unwrap() {
                on_their_way.push(delivery);
            }
        }
        mosquitto.kill();
        mosquitto.run();
        up(&mut source.queue, &mut journal).await;
        // The same numbers with the same identifiers, of another session.
        send(mosquitto.port, &sent).await;
        let mut receipts = Vec::new();
        for delivery in on_their_way {
            receipts.push(journal.commit(delivery).unwrap());
        }
        for receipt in receipts {
            receipt.acknowledge();
        }
        journal.take(&mut source.queue, 2 * sent.len()).await;
        assert_eq!(journal.numbers(), [numbers(&sent), numbers(&sent)].concat());
        source.finish().await;
        assert!(journal.marks.iter().any(|mark| mark.packet == 0));
    }
}
