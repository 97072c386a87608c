//! What is heard on a wire, and what the daemon would take it for.

use inkdwell_daemon::intake::{Said, Value};

/// What the daemon would take of one channel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    pub(crate) channel: String,
    pub(crate) value: Value,
    /// The unit that stood behind the number, or that the shop file gives.
    pub(crate) unit: Option<String>,
}

impl Reading {
    pub(crate) fn of(said: Said, unit: Option<&str>) -> Reading {
        Reading {
            channel: said.channel.to_string(),
            value: said.value,
            unit: unit.map(str::to_owned),
        }
    }
}

/// Something heard.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Heard {
    /// The wire is there; what it is called.
    Open(String),
    /// The wire is lost, or a device on it does not answer; why, and what to do.
    Trouble(String),
    /// How lines are read is settled by what they look like; the format in words.
    Guessed(String),
    /// What came before the first line's end: the rest of a line whose beginning nobody heard.
    Half(Vec<u8>),
    /// Thousands of bytes without a line's end.
    Endless,
    /// A line without its end.
    Line {
        raw: Vec<u8>,
        /// The noise in it, in bytes.
        noise: usize,
        taken: Result<Vec<Reading>, String>,
    },
    /// A message of a broker.
    Message {
        topic: Vec<u8>,
        payload: Vec<u8>,
        /// Whether the broker had kept it from before.
        retained: bool,
        taken: Result<Vec<Reading>, String>,
    },
    /// A question to a device on a bus, and what came of it.
    Exchange {
        asked: Vec<u8>,
        came: Vec<u8>,
        taken: Result<Vec<Reading>, String>,
    },
}

impl Heard {
    /// What was taken of it, where it is something that readings could be in.
    pub(crate) fn taken(&self) -> Option<&Result<Vec<Reading>, String>> {
        match self {
            Heard::Line { taken, .. }
            | Heard::Message { taken, .. }
            | Heard::Exchange { taken, .. } => Some(taken),
            Heard::Open(_) | Heard::Trouble(_) | Heard::Guessed(_) => None,
            Heard::Half(_) | Heard::Endless => None,
        }
    }

    /// How many bytes it is.
    pub(crate) fn bytes(&self) -> usize {
        match self {
            Heard::Line { raw, .. } | Heard::Half(raw) => raw.len(),
            Heard::Message { topic, payload, .. } => topic.len() + payload.len(),
            Heard::Exchange { came, .. } => came.len(),
            Heard::Endless => inkdwell_daemon::source::lines::LONGEST,
            Heard::Open(_) | Heard::Trouble(_) | Heard::Guessed(_) => 0,
        }
    }
}
