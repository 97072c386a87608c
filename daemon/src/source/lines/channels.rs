//! What is remembered of channels from line to line.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::number::{self, Written};
use crate::intake::{Said, Value};

/// So many channels are remembered; lines may name more by themselves.
pub(super) const REMEMBERED: usize = 256;
/// No channel's name has more characters.
pub(super) const LONGEST_NAME: usize = 64;

/// Whether a text can be a channel's name.
pub(super) fn fit_for_a_name(name: &str) -> bool {
    let length = name.chars().take(LONGEST_NAME + 1).count();
    (1..=LONGEST_NAME).contains(&length)
}

/// The channels of earlier lines: their names, and the units that they came with.
#[derive(Debug, Default)]
pub(super) struct Channels {
    known: BTreeMap<Arc<str>, Option<&'static str>>,
}

impl Channels {
    /// What is written of a channel; `None` where nothing is.
    pub(super) fn written(
        &mut self,
        name: &str,
        text: &str,
        written: Option<Written>,
    ) -> Option<Said> {
        let Written { value, unit } = written?;
        let value = match unit {
            Some(unit) if !self.keeps_to(name, unit) => number::word(text.trim()),
            _ => value,
        };
        Some(self.said(name, value))
    }

    pub(super) fn said(&mut self, name: &str, value: Value) -> Said {
        Said {
            channel: self.channel(name),
            value,
            device_time: None,
            sequence: None,
        }
    }

    /// The unit that a channel came with.
    pub(super) fn unit(&self, name: &str) -> Option<&'static str> {
        self.known.get(name).copied().flatten()
    }

    fn channel(&mut self, name: &str) -> Arc<str> {
        if let Some((channel, _)) = self.known.get_key_value(name) {
            return Arc::clone(channel);
        }
        let channel: Arc<str> = Arc::from(name);
        if self.known.len() < REMEMBERED {
            self.known.insert(Arc::clone(&channel), None);
        }
        channel
    }

    /// Whether a channel still comes with the unit that it first had.
    fn keeps_to(&mut self, name: &str, unit: &'static str) -> bool {
        self.channel(name);
        match self.known.get_mut(name) {
            Some(first) => *first.get_or_insert(unit) == unit,
            None => true,
        }
    }

    #[cfg(test)]
    pub(super) fn remembered(&self) -> usize {
        self.known.len()
    }
}
