//! What stands for the journal: it keeps what is committed, and may crash between commit and receipt.

use inkdwell_daemon::intake::{Arrival, Delivery, MessageMark, Notice, Said, Value};
use tokio::sync::mpsc::Receiver;

use crate::shop::within;

/// What has been committed. It outlives daemons.
#[derive(Debug, Default)]
pub struct Journal {
    pub said: Vec<Said>,
    pub marks: Vec<MessageMark>,
}

impl Journal {
    /// Commits a delivery, and gives back its receipt.
    pub fn commit(&mut self, delivery: Delivery) -> Option<inkdwell_daemon::intake::Receipt> {
        self.said.extend(delivery.said);
        self.marks.extend(delivery.mark);
        delivery.receipt
    }

    /// Commits what comes and calls every receipt, until so many readings are there.
    pub async fn take(&mut self, queue: &mut Receiver<Arrival>, readings: usize) {
        while self.said.len() < readings {
            if let Arrival::Delivery(delivery) = within(queue.recv()).await.unwrap()
                && let Some(receipt) = self.commit(delivery)
            {
                receipt.acknowledge();
            }
        }
    }

    /// Channel and number of every reading.
    pub fn numbers(&self) -> Vec<f64> {
        self.said.iter().map(number).collect()
    }
}

pub fn number(said: &Said) -> f64 {
    match said.value {
        Value::Number(number) => number,
        ref other => panic!("{other:?}"),
    }
}

/// Waits for a notice. Empty deliveries are committed meanwhile; readings must not come.
pub async fn notice(queue: &mut Receiver<Arrival>, journal: &mut Journal) -> Notice {
    loop {
        match within(queue.recv()).await.unwrap() {
            Arrival::Notice(_, _, notice) => {
                // To be read when a test fails.
                println!("{notice:?}");
                return notice;
            }
            Arrival::Delivery(delivery) => {
                assert!(delivery.said.is_empty(), "{delivery:?}");
                if let Some(receipt) = journal.commit(delivery) {
                    receipt.acknowledge();
                }
            }
        }
    }
}

/// Waits until the source is up.
pub async fn up(queue: &mut Receiver<Arrival>, journal: &mut Journal) {
    while notice(queue, journal).await != Notice::Up {}
}

/// Waits until the source says what is in the way.
pub async fn down(queue: &mut Receiver<Arrival>, journal: &mut Journal) -> String {
    loop {
        if let Notice::Down(why) = notice(queue, journal).await {
            return why;
        }
    }
}
