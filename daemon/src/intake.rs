//! What sources hand over, and the bounded queue that it goes through.
//!
//! A source that can wait ([`Intake::deliver`]) loses nothing: the broker or the file keeps what is not yet
//! read. One that cannot ([`Intake::offer`]: a serial line goes on talking) is told when the queue is full;
//! what is then turned away is counted and becomes an event, never silence.

use std::fmt;
use std::sync::Arc;
use std::time::Instant;

use tokio::sync::mpsc;

/// Names a source: its number in the shop file, from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceId(pub u16);

/// What a device says of one channel.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number, exactly as the device gave it.
    Number(f64),
    /// Something that is no number, such as OPEN; at most 32 characters of it are kept.
    NoNumber(Arc<str>),
}

/// One reading, in the source's own words.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// The channel, as the source calls it.
    pub channel: Arc<str>,
    /// What it reads.
    pub value: Value,
    /// The device's own time in microseconds since 1970-01-01 UTC, where it sends one.
    pub device_time: Option<i64>,
    /// The device's own count, where it sends one.
    pub sequence: Option<u64>,
}

/// What tells a message that is delivered again from a new one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct MessageMark {
    /// The packet identifier under which the broker sent it.
    pub packet: u16,
    /// The first 16 bytes of the SHA-256 of topic and payload.
    pub digest: [u8; 16],
}

/// Called once what it belongs to is committed. Dropped uncalled, it leaves the message unacknowledged.
pub struct Receipt(Box<dyn FnOnce() + Send>);

impl Receipt {
    /// What is to be done after the commit; it must not block.
    pub fn new(acknowledge: impl FnOnce() + Send + 'static) -> Receipt {
        Receipt(Box::new(acknowledge))
    }

    /// The commit has happened.
    pub fn acknowledge(self) {
        (self.0)();
    }
}

impl fmt::Debug for Receipt {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Receipt")
    }
}

/// What belongs together: a line, a poll, a message.
#[derive(Debug)]
pub struct Delivery {
    /// From where.
    pub source: SourceId,
    /// When it arrived here.
    pub arrived: Instant,
    /// What was said. Each channel once.
    pub said: Vec<Said>,
    /// The message's mark, committed together with its readings.
    pub mark: Option<MessageMark>,
    /// Called after the commit.
    pub receipt: Option<Receipt>,
}

/// A change of a source's state that is worth an entry in the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// It hears its device, or its broker.
    Up,
    /// It does not, and why, in a sentence for people. Secrets never stand in it.
    Down(String),
    /// A replay or scenario has come to its end.
    Ended,
}

/// What comes through the queue.
#[derive(Debug)]
pub enum Arrival {
    /// Readings.
    Delivery(Delivery),
    /// A source's state has changed.
    Notice(SourceId, Instant, Notice),
}

/// The daemon takes nothing more: it is stopping.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the daemon is stopping and takes no more readings")]
pub struct Closed;

/// What became of an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Offered {
    /// It is in the queue.
    Taken,
    /// The queue was full: the readings are lost and have been counted.
    TurnedAway,
    /// The daemon is stopping.
    Closed,
}

/// A source's end of the queue.
#[derive(Debug, Clone)]
pub struct Intake {
    queue: mpsc::Sender<Arrival>,
    turned_away: Arc<TurnedAway>,
}

/// Readings that found the queue full, by source.
#[derive(Debug, Default)]
pub struct TurnedAway(std::sync::Mutex<std::collections::BTreeMap<SourceId, u64>>);

impl TurnedAway {
    fn add(&self, source: SourceId, readings: u64) {
        if let Ok(mut counts) = self.0.lock() {
            *counts.entry(source).or_default() += readings;
        }
    }

    /// What was turned away since the last call.
    pub fn take(&self) -> Vec<(SourceId, u64)> {
        self.0.lock().map_or_else(
            |_| Vec::new(),
            |mut counts| std::mem::take(&mut *counts).into_iter().collect(),
        )
    }
}

/// Makes a queue for so many arrivals.
pub fn queue(arrivals: usize) -> (Intake, mpsc::Receiver<Arrival>, Arc<TurnedAway>) {
    let (sender, receiver) = mpsc::channel(arrivals);
    let turned_away = Arc::new(TurnedAway::default());
    let intake = Intake {
        queue: sender,
        turned_away: Arc::clone(&turned_away),
    };
    (intake, receiver, turned_away)
}

impl Intake {
    /// Hands over, waiting for room.
    ///
    /// # Errors
    /// When the daemon is stopping.
    pub async fn deliver(&self, delivery: Delivery) -> Result<(), Closed> {
        let arrival = Arrival::Delivery(delivery);
        self.queue.send(arrival).await.map_err(|_| Closed)
    }

    /// Hands over if there is room at once.
    pub fn offer(&self, delivery: Delivery) -> Offered {
        let (source, readings) = (delivery.source, delivery.said.len() as u64);
        match self.queue.try_send(Arrival::Delivery(delivery)) {
            Ok(()) => Offered::Taken,
            Err(mpsc::error::TrySendError::Full(_)) => {
                self.turned_away.add(source, readings);
                Offered::TurnedAway
            }
            Err(mpsc::error::TrySendError::Closed(_)) => Offered::Closed,
        }
    }

    /// Tells of a change of state, waiting for room.
    ///
    /// # Errors
    /// When the daemon is stopping.
    pub async fn tell(&self, source: SourceId, notice: Notice) -> Result<(), Closed> {
        let arrival = Arrival::Notice(source, Instant::now(), notice);
        self.queue.send(arrival).await.map_err(|_| Closed)
    }
}
