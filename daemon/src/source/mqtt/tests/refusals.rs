//! What a broker refuses, and in what words it is told.

use tokio::io::AsyncWriteExt;

use super::peer::Sent;
use super::shop::Shop;
use super::*;
use crate::intake::Arrival;

#[tokio::test(start_paused = true)]
async fn refused_topics_are_named() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, _talk) = shop.talk();
        peer.let_in(false).await;
        assert_eq!(peer.next().await, Sent::Subscribe(vec!["t/+".to_owned()]));
        peer.answer_subscription(false).await;
        let Some(Arrival::Notice(_, _, Notice::Down(why))) = shop.queue.recv().await else {
            panic!("no notice");
        };
        assert!(why.starts_with("the broker refuses the topics \"t/+\"; give the user rights"));
        assert_eq!(shop.health.line(), Line::Down(why));
    }
}

#[tokio::test(start_paused = true)]
async fn a_twin_is_named() {
    // Session taken over, without and with a length of properties (MQTT 5.0, section 3.14.2).
    for farewell in [&[0xe0, 1, 0x8e][..], &[0xe0, 2, 0x8e, 0]] {
        let mut shop = Shop::new(MqttVersion::V5);
        let (mut peer, talk) = shop.settled(false).await;
        peer.stream.write_all(farewell).await.unwrap();
        let end = shop.over(talk).await;
        let trouble = shop.task.as_ref().unwrap().trouble(end, false).unwrap();
        assert!(
            trouble
                .to_string()
                .contains("see whether a second daemon runs")
        );
    }
    // A broker of 3.1.1 only hangs up, each time that the twin comes.
    let mut shop = Shop::new(MqttVersion::V3);
    let (peer, talk) = shop.settled(false).await;
    let end = shop.hang_up(peer, talk).await;
    let trouble = shop.task.as_ref().unwrap().trouble(end, true).unwrap();
    assert!(
        trouble
            .to_string()
            .contains("see whether a second daemon runs")
    );
}

/// What a broker of 3.1.1 answers to a newer version (MQTT 3.1.1, section 3.1.2.2: code 1).
#[tokio::test(start_paused = true)]
async fn an_older_broker_is_named() {
    let mut shop = Shop::new(MqttVersion::V5);
    let (mut peer, talk) = shop.talk();
    peer.next().await;
    peer.stream.write_all(&[0x20, 2, 0, 1]).await.unwrap();
    let end = shop.over(talk).await;
    let trouble = shop.task.as_ref().unwrap().trouble(end, false).unwrap();
    assert!(trouble.to_string().contains("write version = \"3.1.1\""));
}

/// Codes of MQTT 3.1.1, section 3.2.2.3, and MQTT 5.0, section 3.2.2.2.
#[tokio::test(start_paused = true)]
async fn refusals_say_what_to_do_and_whether_it_can_pass() {
    let cases: [(MqttVersion, &[u8], &str, bool); 8] = [
        (
            MqttVersion::V3,
            &[0x20, 2, 0, 1],
            "write version = \"5\"",
            true,
        ),
        (
            MqttVersion::V3,
            &[0x20, 2, 0, 3],
            "for now: it is not available",
            false,
        ),
        (MqttVersion::V3, &[0x20, 2, 0, 4], "correct user", true),
        (
            MqttVersion::V3,
            &[0x20, 2, 0, 5],
            "does not let in a client without a user",
            true,
        ),
        (
            MqttVersion::V5,
            &[0x20, 3, 0, 0x86, 0],
            "correct user",
            true,
        ),
        (
            MqttVersion::V5,
            &[0x20, 3, 0, 0x87, 0],
            "does not let in",
            true,
        ),
        (
            MqttVersion::V5,
            &[0x20, 3, 0, 0x89, 0],
            "for now: it is busy",
            false,
        ),
        (MqttVersion::V5, &[0x20, 3, 0, 0x8a, 0], "banned", true),
    ];
    for (version, answer, sentence, slow) in cases {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.talk();
        peer.next().await;
        peer.stream.write_all(answer).await.unwrap();
        let end = shop.over(talk).await;
        let trouble = shop.task.as_ref().unwrap().trouble(end, false).unwrap();
        assert!(trouble.to_string().contains(sentence), "{trouble}");
        assert_eq!(trouble.slow, slow, "{trouble}");
    }
}
