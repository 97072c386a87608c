//! More messages than the daemon takes: nothing grows without bound, and nothing is lost.

use inkdwell_daemon::source::health::Line;

use crate::journal::{Journal, up};
use crate::mosquitto::Mosquitto;
use crate::shop::{Source, VERSIONS, bare, broker, publish};

#[tokio::test]
async fn a_flood_waits_at_the_broker_behind_a_small_queue() {
    for version in VERSIONS {
        let Some(mosquitto) = Mosquitto::start("") else {
            return;
        };
        let topics = vec![bare("t/+", "{1}")];
        let mut source = Source::with_queue(broker(version, mosquitto.port), topics, vec![], 2);
        let mut journal = Journal::default();
        up(&mut source.queue, &mut journal).await;
        let texts: Vec<String> = (0..2000).map(|number: u32| number.to_string()).collect();
        let messages: Vec<(&str, &str)> = texts.iter().map(|text| ("t/film", &text[..])).collect();
        publish(mosquitto.port, &messages).await;
        journal.take(&mut source.queue, texts.len()).await;
        let expected: Vec<f64> = (0..2000).map(f64::from).collect();
        assert_eq!(journal.numbers(), expected);
        assert_eq!(source.health.line(), Line::Up);
        source.finish().await;
    }
}
