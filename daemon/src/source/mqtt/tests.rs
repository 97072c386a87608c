//! Conversations with a broker that does what a test says, moment by moment, in time that passes by itself.

use bytes::BytesMut;
use inkdwell_config::shop::MqttVersion;
use proptest::prelude::*;
use rumqttc::mqttbytes::v4;
use rumqttc::v5::mqttbytes::v5;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream};
use tokio::sync::mpsc::Receiver;
use tokio::task::JoinHandle;

use super::*;
use crate::intake::{Arrival, Delivery, Value, queue};

const VERSIONS: [MqttVersion; 2] = [MqttVersion::V3, MqttVersion::V5];

/// The broker's end of a connection.
struct Peer {
    stream: DuplexStream,
    version: MqttVersion,
    read: BytesMut,
}

/// What a client sends.
#[derive(Debug, PartialEq)]
enum Sent {
    Connect { clean: bool },
    Subscribe(Vec<String>),
    Acknowledged(u16),
    Ping,
    Farewell,
}

#[derive(Default, Clone, Copy)]
struct Flags {
    again: bool,
    retained: bool,
}

const AGAIN: Flags = Flags {
    again: true,
    retained: false,
};

impl Peer {
    async fn next(&mut self) -> Sent {
        loop {
            if let Some(sent) = self.decoded() {
                return sent;
            }
            let count = self.stream.read_buf(&mut self.read).await.unwrap();
            assert!(
                count > 0,
                "the client hung up; {:02x?} is left",
                &self.read[..]
            );
        }
    }

    fn decoded(&mut self) -> Option<Sent> {
        // The same bytes in both versions (section 3.14), of which the codec reads one only.
        if self.read[..] == [0xe0, 0] {
            self.read.clear();
            return Some(Sent::Farewell);
        }
        match self.version {
            MqttVersion::V3 => Some(match v4::Packet::read(&mut self.read, 1 << 20).ok()? {
                v4::Packet::Connect(connect) => Sent::Connect {
                    clean: connect.clean_session,
                },
                v4::Packet::Subscribe(asked) => {
                    Sent::Subscribe(asked.filters.into_iter().map(|asked| asked.path).collect())
                }
                v4::Packet::PubAck(ack) => Sent::Acknowledged(ack.pkid),
                v4::Packet::PingReq => Sent::Ping,
                other => panic!("{other:?}"),
            }),
            MqttVersion::V5 => Some(match v5::Packet::read(&mut self.read, None).ok()? {
                v5::Packet::Connect(connect, ..) => Sent::Connect {
                    clean: connect.clean_start,
                },
                v5::Packet::Subscribe(asked) => {
                    Sent::Subscribe(asked.filters.into_iter().map(|asked| asked.path).collect())
                }
                v5::Packet::PubAck(ack) => Sent::Acknowledged(ack.pkid),
                v5::Packet::PingReq(_) => Sent::Ping,
                other => panic!("{other:?}"),
            }),
        }
    }

    async fn send(&mut self, v3: v4::Packet, v5: v5::Packet) {
        let mut bytes = BytesMut::new();
        match self.version {
            MqttVersion::V3 => v3.write(&mut bytes, usize::MAX).unwrap(),
            MqttVersion::V5 => v5.write(&mut bytes, None).unwrap(),
        };
        self.stream.write_all(&bytes).await.unwrap();
    }

    async fn let_in(&mut self, session_present: bool) {
        assert_eq!(self.next().await, Sent::Connect { clean: false });
        let v3 = v4::ConnAck::new(v4::ConnectReturnCode::Success, session_present);
        let v5 = v5::ConnAck {
            session_present,
            code: v5::ConnectReturnCode::Success,
            properties: None,
        };
        self.send(v4::Packet::ConnAck(v3), v5::Packet::ConnAck(v5))
            .await;
    }

    async fn grant(&mut self) {
        assert!(matches!(self.next().await, Sent::Subscribe(_)));
        self.answer_subscription(true).await;
    }

    async fn answer_subscription(&mut self, granted: bool) {
        let v3 = match granted {
            true => v4::SubscribeReasonCode::Success(rumqttc::QoS::AtLeastOnce),
            false => v4::SubscribeReasonCode::Failure,
        };
        let v5 = match granted {
            true => v5::SubscribeReasonCode::Success(rumqttc::v5::mqttbytes::QoS::AtLeastOnce),
            false => v5::SubscribeReasonCode::NotAuthorized,
        };
        let v3 = v4::SubAck::new(1, vec![v3]);
        let v5 = v5::SubAck {
            pkid: 1,
            return_codes: vec![v5],
            properties: None,
        };
        self.send(v4::Packet::SubAck(v3), v5::Packet::SubAck(v5))
            .await;
    }

    fn message(&self, packet: u16, topic: &str, payload: &[u8], flags: Flags) -> BytesMut {
        let mut bytes = BytesMut::new();
        match self.version {
            MqttVersion::V3 => {
                let mut message = v4::Publish::new(topic, rumqttc::QoS::AtLeastOnce, payload);
                message.pkid = packet;
                (message.dup, message.retain) = (flags.again, flags.retained);
                message.write(&mut bytes).unwrap();
            }
            MqttVersion::V5 => {
                let qos = rumqttc::v5::mqttbytes::QoS::AtLeastOnce;
                let mut message = v5::Publish::new(topic, qos, payload.to_vec(), None);
                message.pkid = packet;
                (message.dup, message.retain) = (flags.again, flags.retained);
                message.write(&mut bytes).unwrap();
            }
        }
        bytes
    }

    async fn publish(&mut self, packet: u16, payload: &str, flags: Flags) {
        let bytes = self.message(packet, "t/film", payload.as_bytes(), flags);
        self.stream.write_all(&bytes).await.unwrap();
    }

    async fn acknowledged(&mut self) -> u16 {
        loop {
            match self.next().await {
                Sent::Acknowledged(packet) => return packet,
                Sent::Ping => {
                    self.send(v4::Packet::PingResp, v5::Packet::PingResp(v5::PingResp))
                        .await
                }
                other => panic!("{other:?}"),
            }
        }
    }

    /// The next thing that the client sends within a virtual second; pings apart.
    async fn soon(&mut self) -> Option<Sent> {
        tokio::time::timeout(Duration::from_secs(1), self.next())
            .await
            .ok()
    }
}

/// The daemon's side: the source, and the queue that it hands over to.
struct Shop {
    task: Option<Task>,
    queue: Receiver<Arrival>,
    stop: CancellationToken,
    health: Arc<Health>,
    version: MqttVersion,
}

type Talk = JoinHandle<(Task, End)>;

impl Shop {
    fn with(
        version: MqttVersion,
        capacity: usize,
        topic: MqttTopic,
        memory: Vec<MessageMark>,
    ) -> Shop {
        let (intake, queue, _) = queue(capacity);
        let stop = CancellationToken::new();
        let health = Arc::new(Health::default());
        let topics: Arc<[MqttTopic]> = [topic].into();
        let task = Task {
            source: SourceId(0),
            client_id: "inkdwell".to_owned(),
            broker: Broker {
                host: "127.0.0.1".to_owned(),
                port: 1,
                version,
                tls: None,
                user: None,
                password: None,
            },
            subscriptions: subscriptions(&topics),
            router: Router::new(Arc::clone(&topics)),
            topics,
            ledger: Arc::new(Ledger::new(memory)),
            intake,
            health: Arc::clone(&health),
            stop: stop.clone(),
            down: None,
        };
        Shop {
            task: Some(task),
            queue,
            stop,
            health,
            version,
        }
    }

    fn new(version: MqttVersion) -> Shop {
        Shop::with(version, 100, bare(), vec![])
    }

    /// Begins a conversation.
    fn talk(&mut self) -> (Peer, Talk) {
        let (own, stream) = tokio::io::duplex(4096);
        let mut task = self.task.take().expect("no conversation goes on");
        let wire = Wire::new(Box::new(own), self.version);
        let talk = tokio::spawn(async move {
            let end = converse(&mut task, wire).await;
            (task, end)
        });
        let peer = Peer {
            stream,
            version: self.version,
            read: BytesMut::new(),
        };
        (peer, talk)
    }

    /// A conversation up to the granted subscription.
    async fn settled(&mut self, session_present: bool) -> (Peer, Talk) {
        let (mut peer, talk) = self.talk();
        peer.let_in(session_present).await;
        peer.grant().await;
        (peer, talk)
    }

    /// Breaks a connection off.
    async fn hang_up(&mut self, peer: Peer, talk: Talk) -> End {
        drop(peer);
        self.over(talk).await
    }

    async fn over(&mut self, talk: Talk) -> End {
        let (task, end) = talk.await.unwrap();
        self.task = Some(task);
        end
    }

    /// The next delivery; notices apart.
    async fn delivery(&mut self) -> Delivery {
        loop {
            if let Arrival::Delivery(delivery) = self.queue.recv().await.unwrap() {
                return delivery;
            }
        }
    }

    fn nothing_more(&mut self) {
        while let Ok(arrival) = self.queue.try_recv() {
            assert!(matches!(arrival, Arrival::Notice(..)), "{arrival:?}");
        }
    }
}

fn bare() -> MqttTopic {
    MqttTopic {
        filter: "t/+".to_owned(),
        channel: "{1}".to_owned(),
        value: None,
        time: None,
        sequence: None,
    }
}

fn number(delivery: &Delivery) -> f64 {
    match delivery.said[0].value {
        Value::Number(number) => number,
        ref other => panic!("{other:?}"),
    }
}

fn commit(delivery: Delivery) -> MessageMark {
    delivery.receipt.unwrap().acknowledge();
    delivery.mark.unwrap()
}

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
