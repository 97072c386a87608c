//! A running source, and a publisher.

use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::{Broker, Mqtt, MqttTopic, MqttVersion};
use inkdwell_daemon::intake::{Arrival, MessageMark, SourceId, queue};
use inkdwell_daemon::source::health::Health;
use inkdwell_daemon::source::mqtt;
use rumqttc::mqttbytes::QoS;
use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet};
use tokio::sync::mpsc::Receiver;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub const VERSIONS: [MqttVersion; 2] = [MqttVersion::V3, MqttVersion::V5];

/// Waits for something that must happen.
pub async fn within<T>(something: impl Future<Output = T>) -> T {
    tokio::time::timeout(Duration::from_secs(30), something)
        .await
        .expect("it did not happen within 30 s")
}

pub fn broker(version: MqttVersion, port: u16) -> Broker {
    Broker {
        host: "127.0.0.1".to_owned(),
        port,
        version,
        tls: None,
        user: None,
        password: None,
    }
}

/// A topic whose payload is a bare number.
pub fn bare(filter: &str, channel: &str) -> MqttTopic {
    MqttTopic {
        filter: filter.to_owned(),
        channel: channel.to_owned(),
        value: None,
        time: None,
        sequence: None,
    }
}

/// A daemon's source at work.
pub struct Source {
    pub queue: Receiver<Arrival>,
    pub health: Arc<Health>,
    pub stop: CancellationToken,
    pub task: JoinHandle<()>,
}

impl Source {
    pub fn start(broker: Broker, topics: Vec<MqttTopic>, memory: Vec<MessageMark>) -> Source {
        Source::with_queue(broker, topics, memory, 1000)
    }

    pub fn with_queue(
        broker: Broker,
        topics: Vec<MqttTopic>,
        memory: Vec<MessageMark>,
        arrivals: usize,
    ) -> Source {
        let (intake, queue, _) = queue(arrivals);
        let health = Arc::new(Health::default());
        let stop = CancellationToken::new();
        let name = inkdwell_daemon::broker::client_id("test", "source", "broker");
        let settings = Mqtt { broker, topics };
        let task = tokio::spawn(mqtt::run(
            SourceId(0),
            name,
            settings,
            memory,
            intake,
            Arc::clone(&health),
            stop.clone(),
        ));
        Source {
            queue,
            health,
            stop,
            task,
        }
    }

    /// Ends it as a crash does: nothing is said to anybody.
    pub async fn crash(self) {
        self.task.abort();
        let _ = self.task.await;
    }

    /// Ends it as it should.
    pub async fn finish(self) {
        self.stop.cancel();
        within(self.task).await.unwrap();
    }
}

/// Somebody who publishes.
pub struct Publisher {
    client: AsyncClient,
    events: EventLoop,
}

impl Publisher {
    /// Returns once it is connected.
    pub async fn connect(port: u16) -> Publisher {
        let options = MqttOptions::new("publisher", "127.0.0.1", port);
        let (client, mut events) = AsyncClient::new(options, 10);
        let connected = within(events.poll()).await.unwrap();
        assert!(matches!(connected, Event::Incoming(Packet::ConnAck(_))));
        Publisher { client, events }
    }

    /// Publishes each text at QoS 1, and waits until the broker has them all.
    pub async fn publish(&mut self, messages: &[(&str, &str)]) {
        let sends = async {
            for (topic, payload) in messages {
                self.client
                    .publish(*topic, QoS::AtLeastOnce, false, *payload)
                    .await
                    .unwrap();
            }
        };
        let hears = async {
            let mut taken = 0;
            while taken < messages.len() {
                let event = within(self.events.poll()).await.unwrap();
                if let Event::Incoming(Packet::PubAck(_)) = event {
                    taken += 1;
                }
            }
        };
        tokio::join!(sends, hears);
    }

    pub async fn leave(mut self) {
        self.client.disconnect().await.unwrap();
        while within(self.events.poll()).await.is_ok() {}
    }
}

/// Connects, publishes, and leaves.
pub async fn publish(port: u16, messages: &[(&str, &str)]) {
    let mut publisher = Publisher::connect(port).await;
    publisher.publish(messages).await;
    publisher.leave().await;
}
