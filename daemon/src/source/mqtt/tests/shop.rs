//! The daemon's side of a conversation: the source, and the queue that it hands over to.

use bytes::BytesMut;
use tokio::sync::mpsc::Receiver;
use tokio::task::JoinHandle;

use super::peer::Peer;
use super::*;
use crate::intake::{Arrival, Delivery, Value, queue};

/// The daemon's side: the source, and the queue that it hands over to.
pub(super) struct Shop {
    pub(super) task: Option<Task>,
    pub(super) queue: Receiver<Arrival>,
    pub(super) stop: CancellationToken,
    pub(super) health: Arc<Health>,
    pub(super) version: MqttVersion,
}

pub(super) type Talk = JoinHandle<(Task, End)>;

impl Shop {
    pub(super) fn with(
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
            understanding: Understanding::new(topics),
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

    pub(super) fn new(version: MqttVersion) -> Shop {
        Shop::with(version, 100, bare(), vec![])
    }

    /// Begins a conversation.
    pub(super) fn talk(&mut self) -> (Peer, Talk) {
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
    pub(super) async fn settled(&mut self, session_present: bool) -> (Peer, Talk) {
        let (mut peer, talk) = self.talk();
        peer.let_in(session_present).await;
        peer.grant().await;
        (peer, talk)
    }

    /// Breaks a connection off.
    pub(super) async fn hang_up(&mut self, peer: Peer, talk: Talk) -> End {
        drop(peer);
        self.over(talk).await
    }

    pub(super) async fn over(&mut self, talk: Talk) -> End {
        let (task, end) = talk.await.unwrap();
        self.task = Some(task);
        end
    }

    /// The next delivery; notices apart.
    pub(super) async fn delivery(&mut self) -> Delivery {
        loop {
            if let Arrival::Delivery(delivery) = self.queue.recv().await.unwrap() {
                return delivery;
            }
        }
    }

    pub(super) fn nothing_more(&mut self) {
        while let Ok(arrival) = self.queue.try_recv() {
            assert!(matches!(arrival, Arrival::Notice(..)), "{arrival:?}");
        }
    }
}

pub(super) fn bare() -> MqttTopic {
    MqttTopic {
        filter: "t/+".to_owned(),
        channel: "{1}".to_owned(),
        value: None,
        time: None,
        sequence: None,
    }
}

pub(super) fn number(delivery: &Delivery) -> f64 {
    match delivery.said[0].value {
        Value::Number(number) => number,
        ref other => panic!("{other:?}"),
    }
}

pub(super) fn commit(delivery: Delivery) -> MessageMark {
    delivery.receipt.unwrap().acknowledge();
    delivery.mark.unwrap()
}
