//! How a source is, for whoever asks.

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

/// A source's state.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Line {
    /// Not yet heard.
    #[default]
    Starting,
    /// Its device or broker is heard.
    Up,
    /// It is not; a sentence says why, and when it is tried again.
    Down(String),
    /// A replay or scenario has come to its end.
    Ended,
}

/// Counts since the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Lines, answers or messages.
    pub messages: u64,
    /// Readings in them.
    pub readings: u64,
    /// Lines, answers or messages that could not be understood.
    pub garbled: u64,
    /// Messages that came a second time.
    pub repeated: u64,
    /// How often the wire was lost.
    pub losses: u64,
}

/// Shared between a source and whoever looks at it.
#[derive(Debug, Default)]
pub struct Health {
    line: Mutex<Line>,
    messages: AtomicU64,
    readings: AtomicU64,
    garbled: AtomicU64,
    repeated: AtomicU64,
    losses: AtomicU64,
}

impl Health {
    /// Sets the state.
    pub fn set(&self, line: Line) {
        if matches!(line, Line::Down(_)) {
            self.losses.fetch_add(1, Ordering::Relaxed);
        }
        if let Ok(mut own) = self.line.lock() {
            *own = line;
        }
    }

    /// The state.
    pub fn line(&self) -> Line {
        self.line.lock().map_or(Line::Starting, |line| line.clone())
    }

    /// Counts a message that was understood, with so many readings.
    pub fn understood(&self, readings: u64) {
        self.messages.fetch_add(1, Ordering::Relaxed);
        self.readings.fetch_add(readings, Ordering::Relaxed);
    }

    /// Counts something that was not.
    pub fn garbled(&self) {
        self.messages.fetch_add(1, Ordering::Relaxed);
        self.garbled.fetch_add(1, Ordering::Relaxed);
    }

    /// Counts a message that came a second time.
    pub fn repeated(&self) {
        self.repeated.fetch_add(1, Ordering::Relaxed);
    }

    /// The counts.
    pub fn counts(&self) -> Counts {
        Counts {
            messages: self.messages.load(Ordering::Relaxed),
            readings: self.readings.load(Ordering::Relaxed),
            garbled: self.garbled.load(Ordering::Relaxed),
            repeated: self.repeated.load(Ordering::Relaxed),
            losses: self.losses.load(Ordering::Relaxed),
        }
    }
}
