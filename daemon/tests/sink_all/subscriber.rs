//! Somebody who subscribes to everything, and a way between a sink and its broker that can be cut.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use serde_json::Value;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// A message as it came.
#[derive(Debug, Clone)]
pub struct Heard {
    pub topic: String,
    pub json: Value,
    pub qos: QoS,
    pub retained: bool,
}

/// Hears everything, in order.
pub struct Subscriber {
    heard: Arc<Mutex<Vec<Heard>>>,
    task: JoinHandle<()>,
}

impl Subscriber {
    /// Returns once it is subscribed.
    pub async fn start(port: u16, name: &str) -> Subscriber {
        let mut options = MqttOptions::new(name, "127.0.0.1", port);
        options.set_inflight(200);
        let (client, mut events) = AsyncClient::new(options, 100);
        client
            .subscribe("inkdwell/#", QoS::AtLeastOnce)
            .await
            .unwrap();
        loop {
            if let Event::Incoming(Packet::SubAck(_)) = events.poll().await.unwrap() {
                break;
            }
        }
        let heard = Arc::new(Mutex::new(Vec::new()));
        let into = Arc::clone(&heard);
        let task = tokio::spawn(async move {
            // Whoever asks further needs the client.
            let _client = client;
            while let Ok(event) = events.poll().await {
                if let Event::Incoming(Packet::Publish(message)) = event {
                    into.lock().unwrap().push(Heard {
                        topic: message.topic,
                        json: serde_json::from_slice(&message.payload).unwrap(),
                        qos: message.qos,
                        retained: message.retain,
                    });
                }
            }
        });
        Subscriber { heard, task }
    }

    /// Everything so far.
    pub fn heard(&self) -> Vec<Heard> {
        self.heard.lock().unwrap().clone()
    }

    /// What came on topics that end so.
    pub fn on(&self, end: &str) -> Vec<Heard> {
        let mut heard = self.heard();
        heard.retain(|heard| heard.topic.ends_with(end));
        heard
    }
}

impl Drop for Subscriber {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Passes bytes on to a port while it is open.
pub struct Way {
    pub port: u16,
    open: Arc<AtomicBool>,
    cut: watch::Sender<u64>,
}

impl Way {
    pub async fn to(behind: u16, open: bool) -> Way {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let (open, cut) = (Arc::new(AtomicBool::new(open)), watch::Sender::new(0));
        let (is_open, cuts) = (Arc::clone(&open), cut.clone());
        tokio::spawn(async move {
            while let Ok((mut client, _)) = listener.accept().await {
                if !is_open.load(Ordering::Relaxed) {
                    continue;
                }
                let mut cut = cuts.subscribe();
                tokio::spawn(async move {
                    let Ok(mut server) = TcpStream::connect(("127.0.0.1", behind)).await else {
                        return;
                    };
                    tokio::select! {
                        _ = tokio::io::copy_bidirectional(&mut client, &mut server) => {}
                        _ = cut.changed() => {}
                    }
                });
            }
        });
        Way { port, open, cut }
    }

    /// Breaks what passes; what comes next may pass.
    pub fn break_off(&self) {
        self.cut.send_modify(|cuts| *cuts += 1);
    }

    /// Lets everything pass from now on.
    pub fn open(&self) {
        self.open.store(true, Ordering::Relaxed);
    }
}
