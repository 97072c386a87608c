//! A source that runs, and what it hands over.

use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::{FlowControl, LineFormat, Parity, Port, SerialLine, SerialSettings};
use inkdwell_daemon::intake::{Arrival, Notice, SourceId, TurnedAway, Value, queue};
use inkdwell_daemon::source::health::{Counts, Health, Line};
use inkdwell_daemon::source::port::Ports;
use inkdwell_daemon::source::serial;
use tokio::sync::mpsc::Receiver;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// No test waits longer for anything; most wait for milliseconds.
const DEADLINE: Duration = Duration::from_secs(120);

pub struct Running {
    pub health: Arc<Health>,
    pub turned_away: Arc<TurnedAway>,
    pub stop: CancellationToken,
    pub queue: Receiver<Arrival>,
    task: JoinHandle<()>,
}

pub fn pairs() -> LineFormat {
    LineFormat::Pairs {
        separator: " ".to_owned(),
    }
}

pub fn settings(port: Port, format: LineFormat) -> SerialLine {
    SerialLine {
        settings: SerialSettings {
            port,
            baud: 9600,
            data_bits: 8,
            parity: Parity::None,
            stop_bits: 1,
            flow: FlowControl::None,
        },
        format,
    }
}

impl Running {
    pub fn start(ports: Arc<dyn Ports>, settings: SerialLine, arrivals: usize) -> Running {
        let (intake, queue, turned_away) = queue(arrivals);
        let (health, stop) = (Arc::new(Health::default()), CancellationToken::new());
        let (own, end) = (Arc::clone(&health), stop.clone());
        let task = serial::run_with(ports, SourceId(2), settings, intake, own, end);
        Running {
            health,
            turned_away,
            stop,
            queue,
            task: tokio::spawn(task),
        }
    }

    async fn next(&mut self) -> Arrival {
        let arrival = timeout(DEADLINE, self.queue.recv()).await;
        arrival
            .expect("nothing comes")
            .expect("the source has ended")
    }

    /// The next readings, in short: `film 168.2, exit "OPEN"`.
    pub async fn readings(&mut self) -> String {
        loop {
            if let Arrival::Delivery(delivery) = self.next().await {
                assert_eq!(delivery.source, SourceId(2));
                let each = delivery.said.iter().map(|said| match &said.value {
                    Value::Number(number) => format!("{} {number}", said.channel),
                    Value::NoNumber(word) => format!("{} {word:?}", said.channel),
                });
                return each.collect::<Vec<String>>().join(", ");
            }
        }
    }

    /// The next notice.
    pub async fn notice(&mut self) -> Notice {
        loop {
            if let Arrival::Notice(source, _, notice) = self.next().await {
                assert_eq!(source, SourceId(2));
                return notice;
            }
        }
    }

    /// Why it is down, when it next says so.
    pub async fn down(&mut self) -> String {
        match self.notice().await {
            Notice::Down(why) => {
                assert_eq!(self.health.line(), Line::Down(why.clone()));
                why
            }
            other => panic!("{other:?}"),
        }
    }

    pub async fn up(&mut self) {
        assert_eq!(self.notice().await, Notice::Up);
        assert_eq!(self.health.line(), Line::Up);
    }

    /// Waits until its counts are so.
    pub async fn counts(&self, so: impl Fn(&Counts) -> bool) -> Counts {
        let wait = async {
            loop {
                let counts = self.health.counts();
                if so(&counts) {
                    return counts;
                }
                tokio::time::sleep(Duration::from_millis(2)).await;
            }
        };
        let waited = timeout(DEADLINE, wait).await;
        waited.unwrap_or_else(|_| panic!("{:?}", self.health.counts()))
    }

    /// Tells it to stop, and sees that it does.
    pub async fn end(self) {
        self.stop.cancel();
        timeout(DEADLINE, self.task)
            .await
            .expect("it goes on")
            .expect("it panicked");
    }
}
