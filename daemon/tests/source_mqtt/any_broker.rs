//! What every broker must do for us: topics, payloads, garbage, a clean stop.

use inkdwell_config::shop::MqttTopic;
use inkdwell_daemon::intake::Value;
use inkdwell_daemon::source::health::Line;

use crate::journal::{Journal, up};
use crate::mosquitto::Mosquitto;
use crate::rumqttd_broker;
use crate::shop::{Publisher, Source, VERSIONS, bare, broker, publish};

/// Ports of both brokers for both versions: to publish to, and to subscribe at.
async fn everywhere(proves: impl AsyncFn(inkdwell_config::shop::MqttVersion, u16, u16)) {
    for version in VERSIONS {
        let ports = rumqttd_broker::start(None);
        proves(version, ports.v3, ports.of(version)).await;
        if let Some(mosquitto) = Mosquitto::start("") {
            proves(version, mosquitto.port, mosquitto.port).await;
        }
    }
}

#[tokio::test]
async fn wildcards_name_channels_and_pointers_find_values() {
    everywhere(async |version, publisher, port| {
        let topics = vec![
            bare("yard/+/bare/+", "{1}-{2}"),
            MqttTopic {
                value: Some("/probes/0/t~1c".to_owned()),
                time: Some("/at".to_owned()),
                sequence: Some("/n".to_owned()),
                ..bare("yard/json/#", "json")
            },
            // Overlaps with the first; each channel still comes once.
            bare("yard/belt-1/+/exit", "exit again"),
        ];
        let mut source = Source::start(broker(version, port), topics, vec![]);
        let mut journal = Journal::default();
        up(&mut source.queue, &mut journal).await;
        assert_eq!(source.health.line(), Line::Up);
        let json = r#"{"probes": [{"t/c": 160.5}], "at": "2026-02-03T04:05:06Z", "n": 7}"#;
        publish(
            publisher,
            &[
                ("yard/belt-1/bare/film", "161.5"),
                ("yard/belt-1/bare/film", "garbage\u{7}"),
                ("yard/json/film", json),
                ("yard/json/film", "{\"probes\": []}"),
                ("elsewhere", "5"),
                ("yard/belt-1/bare/exit", "OPEN"),
                ("yard/belt-2/bare/exit", "90"),
            ],
        )
        .await;
        journal.take(&mut source.queue, 5).await;
        let said: Vec<(&str, &Value)> = journal
            .said
            .iter()
            .map(|said| (said.channel.as_ref(), &said.value))
            .collect();
        let open = Value::NoNumber("OPEN".into());
        let expected = [
            ("belt-1-film", &Value::Number(161.5)),
            ("json", &Value::Number(160.5)),
            ("belt-1-exit", &open),
            ("exit again", &open),
            ("belt-2-exit", &Value::Number(90.0)),
        ];
        // rumqttd keeps no order between topics.
        assert_eq!(said.len(), expected.len());
        for (channel, value) in expected {
            assert!(said.contains(&(channel, value)), "{channel} in {said:?}");
        }
        let timed = journal.said.iter().find(|said| *said.channel == *"json");
        let timed = timed.unwrap();
        // `date -u -d 2026-02-03T04:05:06Z +%s`
        assert_eq!(timed.device_time, Some(1_770_091_506_000_000));
        assert_eq!(timed.sequence, Some(7));
        source.finish().await;
    })
    .await;
}

/// What came while nobody was there waits at the broker, in the session that it keeps. (rumqttd now and then
/// sends a message anew, as if for the first time, though it was acknowledged just before the end. Whoever
/// reads sequence numbers drops it, as is done here; Mosquitto is held to more by the tests of crashes.)
#[tokio::test]
async fn what_comes_between_a_stop_and_a_start_is_not_lost() {
    everywhere(async |version, publisher, port| {
        let topics = || {
            vec![MqttTopic {
                value: Some("/v".to_owned()),
                sequence: Some("/n".to_owned()),
                ..bare("t/+", "{1}")
            }]
        };
        let mut journal = Journal::default();
        let mut source = Source::start(broker(version, port), topics(), vec![]);
        up(&mut source.queue, &mut journal).await;
        // Connected throughout: rumqttd frees a connection's number when its client says that it leaves and
        // again when the socket closes, and hangs up on whoever came in between and got that number.
        let mut publisher = Publisher::connect(publisher).await;
        publisher
            .publish(&[("t/film", r#"{"v": 160, "n": 1}"#)])
            .await;
        journal.take(&mut source.queue, 1).await;
        source.finish().await;
        let later = [r#"{"v": 160, "n": 2}"#, r#"{"v": 160, "n": 3}"#];
        publisher
            .publish(&later.map(|payload| ("t/film", payload)))
            .await;
        let memory = journal.marks.clone();
        let mut source = Source::start(broker(version, port), topics(), memory);
        let mut numbers = vec![Some(1)];
        while numbers.len() < 3 {
            let taken = journal.said.len();
            journal.take(&mut source.queue, taken + 1).await;
            let sequence = journal.said[taken].sequence;
            if !numbers.contains(&sequence) {
                numbers.push(sequence);
            }
        }
        assert_eq!(numbers, [Some(1), Some(2), Some(3)]);
        source.finish().await;
        publisher.leave().await;
    })
    .await;
}
