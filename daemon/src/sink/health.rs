//! How a sink is, for whoever asks.

use std::sync::Mutex;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};

use crate::time::Micros;

/// A sink's state.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Way {
    /// Nothing was sent yet.
    #[default]
    Starting,
    /// What was sent last was taken.
    Open,
    /// The other side takes nothing; a sentence says why, and what to do.
    Blocked(String),
}

/// Counts since the start, and what waits now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Messages that the other side has taken.
    pub sent: u64,
    /// Messages that it refused for good.
    pub set_aside: u64,
    /// Attempts that failed and are made again.
    pub failed: u64,
    /// Records that are committed and not settled here, also those that this sink will pass over.
    pub waiting: u64,
    /// The most messages and points that were held in memory at a time, however many wait.
    pub most_held: u64,
}

/// Shared between a sink and whoever looks at it.
#[derive(Debug, Default)]
pub struct Health {
    way: Mutex<Way>,
    sent: AtomicU64,
    set_aside: AtomicU64,
    failed: AtomicU64,
    settled: AtomicU64,
    most_held: AtomicU64,
    /// 0: not yet.
    taken_at: AtomicI64,
}

impl Health {
    /// The other side takes what is sent.
    pub(super) fn open(&self, sink: &str) {
        if let Ok(mut way) = self.way.lock()
            && *way != Way::Open
        {
            tracing::info!(sink, "what is sent is taken");
            *way = Way::Open;
        }
    }

    /// It does not; an attempt failed.
    pub(super) fn blocked(&self, sink: &str, why: String) {
        self.failed.fetch_add(1, Ordering::Relaxed);
        if let Ok(mut way) = self.way.lock()
            && *way != Way::Blocked(why.clone())
        {
            tracing::warn!(sink, "{why}");
            *way = Way::Blocked(why);
        }
    }

    pub(super) fn sent(&self, messages: u64, at: Micros) {
        if messages > 0 {
            self.taken_at.store(at.0, Ordering::Relaxed);
        }
        self.sent.fetch_add(messages, Ordering::Relaxed);
    }

    pub(super) fn aside(&self) {
        self.set_aside.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn settled(&self, record: u64) {
        self.settled.store(record, Ordering::Relaxed);
    }

    /// So much is held in memory now.
    pub(super) fn holds(&self, messages: usize) {
        self.most_held.fetch_max(messages as u64, Ordering::Relaxed);
    }

    /// When the other side took something last; `None` where it has not since the start.
    pub fn last_taken(&self) -> Option<Micros> {
        let at = self.taken_at.load(Ordering::Relaxed);
        (at != 0).then_some(Micros(at))
    }

    /// The state.
    pub fn way(&self) -> Way {
        self.way.lock().map_or(Way::Starting, |way| way.clone())
    }

    /// The counts, where `last` is the last record that is committed.
    pub fn counts(&self, last: u64) -> Counts {
        Counts {
            sent: self.sent.load(Ordering::Relaxed),
            set_aside: self.set_aside.load(Ordering::Relaxed),
            failed: self.failed.load(Ordering::Relaxed),
            waiting: last.saturating_sub(self.settled.load(Ordering::Relaxed)),
            most_held: self.most_held.load(Ordering::Relaxed),
        }
    }
}
