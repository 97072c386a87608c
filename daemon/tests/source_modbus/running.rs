//! A source that runs, and what it hands over.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::{Modbus, Shop, SourceKind};
use inkdwell_daemon::intake::{Arrival, Delivery, Notice, SourceId, Value, queue};
use inkdwell_daemon::source::health::{Counts, Health, Line};
use inkdwell_daemon::source::modbus;
use inkdwell_daemon::source::port::Ports;
use tokio::sync::mpsc::Receiver;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// No test waits longer for anything; most wait for milliseconds.
const DEADLINE: Duration = Duration::from_secs(120);

pub struct Running {
    pub health: Arc<Health>,
    pub queue: Receiver<Arrival>,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

/// The settings of a source as a shop file has them.
pub fn settings(link: &str, registers: &str) -> Modbus {
    let text = format!("[[source]]\nid = \"bus\"\n{link}\n{registers}");
    let checked = Shop::parse("shop.toml", &text);
    assert!(checked.problems.is_empty(), "{:?}", checked.problems);
    let shop = checked.value;
    match &shop.sources[0].kind {
        SourceKind::Modbus(modbus) => modbus.clone(),
        other => panic!("{other:?}"),
    }
}

pub fn rtu(path: &Path, timing: &str) -> String {
    format!(
        "kind = \"modbus-rtu\"\nport = \"{}\"\n{timing}",
        path.display()
    )
}

/// A register of one word: its channel, unit id and address.
pub fn word(channel: &str, unit: u8, address: u16) -> String {
    format!(
        "[[source.register]]\nchannel = \"{channel}\"\nunit_id = {unit}\ntable = \"input\"\n\
         address = {address}\nformat = \"int16\"\n"
    )
}

impl Running {
    pub fn start(ports: Arc<dyn Ports>, settings: Modbus, arrivals: usize) -> Running {
        let (intake, queue, _) = queue(arrivals);
        let (health, stop) = (Arc::new(Health::default()), CancellationToken::new());
        let (own, end) = (Arc::clone(&health), stop.clone());
        let task = modbus::run_with(ports, SourceId(4), settings, intake, own, end);
        Running {
            health,
            queue,
            stop,
            task: tokio::spawn(task),
        }
    }

    pub async fn next(&mut self) -> Arrival {
        let arrival = timeout(DEADLINE, self.queue.recv()).await;
        arrival
            .expect("nothing comes")
            .expect("the source has ended")
    }

    pub async fn delivery(&mut self) -> Delivery {
        loop {
            if let Arrival::Delivery(delivery) = self.next().await {
                assert_eq!(delivery.source, SourceId(4));
                return delivery;
            }
        }
    }

    /// Reads until every one of so many channels has been heard; the latest of each, in short.
    pub async fn channels(&mut self, so_many: usize) -> BTreeMap<String, String> {
        let mut heard = BTreeMap::new();
        while heard.len() < so_many {
            for said in self.delivery().await.said {
                let value = match said.value {
                    Value::Number(number) => number.to_string(),
                    Value::NoNumber(word) => format!("{word:?}"),
                };
                heard.insert(said.channel.to_string(), value);
            }
        }
        heard
    }

    pub async fn notice(&mut self) -> Notice {
        loop {
            if let Arrival::Notice(source, _, notice) = self.next().await {
                assert_eq!(source, SourceId(4));
                return notice;
            }
        }
    }

    pub async fn up(&mut self) {
        assert_eq!(self.notice().await, Notice::Up);
    }

    /// Why it is down, when it next says so.
    pub async fn down(&mut self) -> String {
        match self.notice().await {
            Notice::Down(why) => why,
            other => panic!("{other:?}"),
        }
    }

    /// Why it is down, once that has in it what is looked for. Several things may go wrong one by one.
    pub async fn down_with(&mut self, parts: &[&str]) -> String {
        loop {
            if let Notice::Down(why) = self.notice().await
                && parts.iter().all(|part| why.contains(part))
            {
                return why;
            }
        }
    }

    pub async fn up_again(&mut self) {
        while self.notice().await != Notice::Up {}
        assert_eq!(self.health.line(), Line::Up);
    }

    /// Lets it go on until its counts are so.
    pub async fn counts(&mut self, so: impl Fn(&Counts) -> bool) -> Counts {
        while !so(&self.health.counts()) {
            self.next().await;
        }
        self.health.counts()
    }

    /// Tells it to stop, and sees that it does, even if nobody takes what it has.
    pub async fn end(self) {
        self.stop.cancel();
        timeout(DEADLINE, self.task)
            .await
            .expect("it goes on")
            .expect("it panicked");
    }
}
