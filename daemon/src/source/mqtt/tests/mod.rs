//! Conversations with a broker that does what a test says, moment by moment, in time that passes by itself.

mod peer;
mod refusals;
mod shop;

use bytes::BytesMut;
use inkdwell_config::shop::MqttVersion;
use proptest::prelude::*;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use self::peer::{AGAIN, Flags, Sent};
use self::shop::{Shop, bare, commit, number};
use super::*;

const VERSIONS: [MqttVersion; 2] = [MqttVersion::V3, MqttVersion::V5];

#[tokio::test(start_paused = true)]
async fn nothing_is_acknowledged_before_its_commit_nor_out_of_turn() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, _talk) = shop.settled(false).await;
        peer.publish(10, "160.5", Flags::default()).await;
        peer.publish(11, "161.5", Flags::default()).await;
        let (first, second) = (shop.delivery().await, shop.delivery().await);
        assert_eq!((number(&first), number(&second)), (160.5, 161.5));
        assert_eq!(first.said[0].channel.as_ref(), "film");
        assert_eq!(first.mark.unwrap().packet, 10);
        assert_eq!(peer.soon().await, None);
        commit(second);
        assert_eq!(peer.soon().await, None);
        commit(first);
        assert_eq!(peer.acknowledged().await, 10);
        assert_eq!(peer.acknowledged().await, 11);
        assert_eq!(shop.health.line(), Line::Up);
    }
}

/// A crash between commit and acknowledgement: the journal has the message, the broker does not know.
#[tokio::test(start_paused = true)]
async fn after_a_restart_what_the_journal_has_is_not_handed_over_again() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.settled(false).await;
        for (packet, payload) in [(1, "1"), (2, "2"), (3, "3")] {
            peer.publish(packet, payload, Flags::default()).await;
        }
        let mut memory = Vec::new();
        for _ in 0..2 {
            // Committed, and the receipt never called.
            memory.push(shop.delivery().await.mark.unwrap());
        }
        talk.abort();
        let mut shop = Shop::with(version, 100, bare(), memory);
        let (mut peer, _talk) = shop.talk();
        peer.let_in(true).await;
        // All three come again, before the subscription does.
        for (packet, payload) in [(1, "1"), (2, "2"), (3, "3")] {
            peer.publish(packet, payload, AGAIN).await;
        }
        peer.grant().await;
        let third = shop.delivery().await;
        assert_eq!(number(&third), 3.0);
        commit(third);
        for packet in [1, 2, 3] {
            assert_eq!(peer.acknowledged().await, packet);
        }
        shop.nothing_more();
        assert_eq!(shop.health.counts().repeated, 2);
    }
}

#[tokio::test(start_paused = true)]
async fn what_waits_in_the_queue_is_not_queued_again_by_a_new_connection() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.settled(false).await;
        peer.publish(1, "1", Flags::default()).await;
        let waiting = shop.delivery().await;
        let end = shop.hang_up(peer, talk).await;
        assert!(matches!(end, End::Lost(Lost::Closed)), "{end:?}");
        let (mut peer, _talk) = shop.settled(true).await;
        peer.publish(1, "1", AGAIN).await;
        assert_eq!(peer.soon().await, None);
        commit(waiting);
        assert_eq!(peer.acknowledged().await, 1);
        shop.nothing_more();
        // The identifier is free again: the next message with it is another one, of the same bytes too.
        peer.publish(1, "1", Flags::default()).await;
        commit(shop.delivery().await);
        assert_eq!(peer.acknowledged().await, 1);
    }
}

/// The late acknowledgement of a message must not reach another one of the same identifier.
#[tokio::test(start_paused = true)]
async fn in_a_new_session_nothing_old_is_acknowledged_and_nothing_asked_for_too_soon() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.settled(false).await;
        peer.publish(1, "1", Flags::default()).await;
        let old = shop.delivery().await;
        shop.hang_up(peer, talk).await;
        let (mut peer, _talk) = shop.talk();
        peer.let_in(false).await;
        let note = shop.delivery().await;
        assert!(note.said.is_empty() && note.mark.unwrap().packet == 0);
        // Not subscribed before the journal knows of the new session.
        assert_eq!(peer.soon().await, None);
        commit(note);
        peer.grant().await;
        peer.publish(1, "1", Flags::default()).await;
        let new = shop.delivery().await;
        commit(old);
        assert_eq!(peer.soon().await, None);
        commit(new);
        assert_eq!(peer.acknowledged().await, 1);
    }
}

#[tokio::test(start_paused = true)]
async fn a_connection_cut_inside_a_packet_loses_and_doubles_nothing() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, mut talk) = shop.settled(false).await;
        let whole = peer.message(1, "t/film", b"160.5", Flags::default());
        for cut in 1..whole.len() {
            peer.stream.write_all(&whole[..cut]).await.unwrap();
            shop.hang_up(peer, talk).await;
            (peer, talk) = shop.settled(true).await;
        }
        peer.publish(1, "160.5", AGAIN).await;
        commit(shop.delivery().await);
        assert_eq!(peer.acknowledged().await, 1);
        shop.nothing_more();
    }
}

#[tokio::test(start_paused = true)]
async fn while_the_daemon_takes_nothing_the_broker_still_hears_from_us() {
    for version in VERSIONS {
        let mut shop = Shop::with(version, 1, bare(), vec![]);
        let (peer, talk) = shop.settled(false).await;
        // More than queue, buffers and the pipe between hold; it waits here until it is read.
        let messages: Vec<BytesMut> = (1..=9000_u16)
            .map(|packet| {
                peer.message(
                    packet,
                    "t/film",
                    packet.to_string().as_bytes(),
                    Flags::default(),
                )
            })
            .collect();
        let (mut reading, mut writing) = tokio::io::split(peer.stream);
        let writer = tokio::spawn(async move {
            for message in messages {
                writing.write_all(&message).await.unwrap();
            }
            writing
        });
        let (begun, mut pings) = (tokio::time::Instant::now(), 0);
        while begun.elapsed() < Duration::from_secs(300) {
            let mut bytes = [0; 2];
            let heard =
                tokio::time::timeout(Duration::from_secs(20), reading.read_exact(&mut bytes));
            heard.await.expect("the broker would hang up").unwrap();
            // A ping, section 3.12 of either version.
            assert_eq!(bytes, [0xc0, 0]);
            pings += 1;
        }
        assert!(pings >= 15, "{pings}");
        assert!(!talk.is_finished() && !writer.is_finished());
        // The daemon goes on, and nothing is lost.
        let mut next = 1.0;
        while next <= 9000.0 {
            let delivery = shop.delivery().await;
            assert_eq!(number(&delivery), next);
            commit(delivery);
            next += 1.0;
        }
        writer.await.unwrap();
    }
}

#[tokio::test(start_paused = true)]
async fn a_broker_that_falls_silent_is_left() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (_peer, talk) = shop.settled(false).await;
        let end = shop.over(talk).await;
        assert!(matches!(end, End::Lost(Lost::Silent)), "{end:?}");
        // One that never answers at all, too.
        let (_peer, talk) = shop.talk();
        let end = shop.over(talk).await;
        assert!(matches!(end, End::Lost(Lost::Silent)), "{end:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn garbage_and_giants_are_counted_acknowledged_and_passed_over() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, _talk) = shop.settled(false).await;
        let giant = peer.message(2, "t/film", &vec![b'1'; 1_000_000], Flags::default());
        let garbage = peer.message(1, "t/film", b"\xff\x00", Flags::default());
        let elsewhere = peer.message(3, "u/film", b"5", Flags::default());
        for bytes in [garbage, giant, elsewhere] {
            peer.stream.write_all(&bytes).await.unwrap();
        }
        peer.publish(4, "160.5", Flags::default()).await;
        let sound = shop.delivery().await;
        assert_eq!(number(&sound), 160.5);
        for packet in [1, 2, 3] {
            assert_eq!(peer.acknowledged().await, packet);
        }
        let counts = shop.health.counts();
        assert_eq!((counts.garbled, counts.readings), (3, 1));
    }
}

/// A kept message may be hours old. Only its own time can tell.
#[tokio::test(start_paused = true)]
async fn what_the_broker_kept_from_before_is_no_fresh_reading() {
    let retained = Flags {
        retained: true,
        again: false,
    };
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.settled(false).await;
        peer.publish(1, "160.5", retained).await;
        assert_eq!(peer.acknowledged().await, 1);
        shop.nothing_more();
        assert_eq!(shop.health.counts().garbled, 0);
        talk.abort();
        let timed = MqttTopic {
            value: Some("/v".to_owned()),
            time: Some("/t".to_owned()),
            ..bare()
        };
        let mut shop = Shop::with(version, 100, timed, vec![]);
        let (mut peer, _talk) = shop.settled(false).await;
        peer.publish(1, "{\"v\": 160.5, \"t\": 1700000000}", retained)
            .await;
        let kept = shop.delivery().await;
        assert_eq!(kept.said[0].device_time, Some(1_700_000_000_000_000));
    }
}

#[tokio::test(start_paused = true)]
async fn a_clean_stop_acknowledges_what_was_committed_and_no_more() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.settled(false).await;
        peer.publish(1, "1", Flags::default()).await;
        peer.publish(2, "2", Flags::default()).await;
        let (first, second) = (shop.delivery().await, shop.delivery().await);
        commit(first);
        shop.stop.cancel();
        assert_eq!(peer.next().await, Sent::Acknowledged(1));
        assert_eq!(peer.next().await, Sent::Farewell);
        assert!(matches!(shop.over(talk).await, End::Stopped));
        commit(second);
        let mut rest = Vec::new();
        peer.stream.read_to_end(&mut rest).await.unwrap();
        assert_eq!(rest, [0_u8; 0]);
    }
}

#[tokio::test(start_paused = true)]
async fn a_message_given_up_on_its_way_is_fetched_by_a_new_connection() {
    for version in VERSIONS {
        let mut shop = Shop::new(version);
        let (mut peer, talk) = shop.settled(false).await;
        peer.publish(1, "1", Flags::default()).await;
        drop(shop.delivery().await);
        assert!(matches!(shop.over(talk).await, End::GivenUp));
        let (mut peer, _talk) = shop.settled(true).await;
        peer.publish(1, "1", AGAIN).await;
        commit(shop.delivery().await);
        assert_eq!(peer.acknowledged().await, 1);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// No bytes of a broker make the source panic, whole or in pieces, before or after it was let in.
    #[test]
    fn no_broker_makes_it_panic(
        first in 0_u8..=255,
        rest in prop::collection::vec(any::<u8>(), 0..60),
        fitting: bool,
        five: bool,
        let_in: bool,
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .start_paused(true)
            .build()
            .unwrap();
        runtime.block_on(async {
            let mut shop = Shop::new(if five { MqttVersion::V5 } else { MqttVersion::V3 });
            let (mut peer, talk) = shop.talk();
            if let_in {
                peer.let_in(false).await;
            }
            let mut bytes = vec![first];
            if fitting {
                bytes.push(rest.len() as u8);
            }
            bytes.extend(rest);
            for piece in bytes.chunks(7) {
                // It may have hung up already.
                let _ = peer.stream.write_all(piece).await;
                tokio::task::yield_now().await;
            }
            drop(peer);
            shop.over(talk).await;
        });
    }
}
