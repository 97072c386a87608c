//! What every broker must do for us: topics, payloads, garbage, a clean stop.

use inkdwell_config::shop::MqttTopic;
use inkdwell_daemon::intake::Value;
use inkdwell_daemon::source::health::Line;

use crate::journal::{Journal, up};
use crate::mosquitto::Mosquitto;
use crate::rumqttd_broker;
use crate::shop::{Source, VERSIONS, bare, broker, publish};

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

/// What came while nobody was there waits at the broker, in the session that it keeps.
#[tokio::test]
async fn what_comes_between_a_stop_and_a_start_is_not_lost() {
    everywhere(async |version, publisher, port| {
        let topics = || vec![bare("t/+", "{1}")];
        let mut journal = Journal::default();
        let mut source = Source::start(broker(version, port), topics(), vec![]);
        up(&mut source.queue, &mut journal).await;
        publish(publisher, &[("t/film", "1")]).await;
        journal.take(&mut source.queue, 1).await;
        source.finish().await;
        publish(publisher, &[("t/film", "2"), ("t/film", "3")]).await;
        let memory = journal.marks.clone();
        let mut source = Source::start(broker(version, port), topics(), memory);
        journal.take(&mut source.queue, 3).await;
        assert_eq!(journal.numbers(), [1.0, 2.0, 3.0]);
        source.finish().await;
    })
    .await;
}
