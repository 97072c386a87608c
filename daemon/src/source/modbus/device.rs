//! What is known of each device on a bus: how patient one has to be with it, and what is wrong with it.

use std::time::Duration;

use tokio::time::Instant;

use super::plan::Block;
use crate::source::waits::Waits;

/// One failure may be chance; after so many in a row it is told.
const TOLD_AFTER: u32 = 2;

/// A device.
#[derive(Debug)]
pub(super) struct Device {
    pub(super) unit_id: u8,
    pub(super) blocks: Vec<Block>,
    /// Rounds in a row in which something was wrong, and what.
    failures: u32,
    trouble: Option<String>,
    /// Whether it did not answer when it was last asked, and when it is to be asked again.
    silent: Option<Instant>,
    waits: Waits,
    /// Whether it has answered since the bus was opened, and since it was last silent.
    heard: bool,
    /// Whether its next answer may be a late one.
    doubtful: bool,
}

impl Device {
    pub(super) fn new((unit_id, blocks): (u8, Vec<Block>)) -> Device {
        Device {
            unit_id,
            blocks,
            failures: 0,
            trouble: None,
            silent: None,
            waits: Waits::default(),
            heard: false,
            doubtful: false,
        }
    }

    /// On a new connection everything is open again. What was wrong stays wrong until the device answers.
    pub(super) fn begin(&mut self) {
        self.silent = None;
        self.waits.reset();
        self.heard = false;
        self.doubtful = false;
    }

    pub(super) fn is_heard(&self) -> bool {
        self.heard
    }

    pub(super) fn is_silent(&self) -> bool {
        self.silent.is_some()
    }

    /// Whether it is to be asked in this round.
    pub(super) fn is_due(&self, now: Instant) -> bool {
        self.silent.is_none_or(|again| now >= again)
    }

    /// It answered, or at least refused. Says whether the answer can be believed: the first after a silence
    /// may be a late one to the question before, and if its true answer were still to come, it would be
    /// taken for that to the next question, where that asks for as much.
    pub(super) fn answered(&mut self) -> bool {
        self.silent = None;
        self.waits.reset();
        self.heard = true;
        let doubtful = std::mem::take(&mut self.doubtful);
        !(doubtful && self.is_confusable())
    }

    fn is_confusable(&self) -> bool {
        let mut rest = &self.blocks[..];
        while let [first, others @ ..] = rest {
            let alike = |other: &Block| (other.table, other.count) == (first.table, first.count);
            if others.iter().any(alike) {
                return true;
            }
            rest = others;
        }
        false
    }

    /// It did not answer. The first time, it is asked again in the next round; then with growing waits.
    /// `doubtful` says whether a late answer could be taken for another.
    pub(super) fn kept_silent(&mut self, poll: Duration, doubtful: bool) {
        let wait = match self.is_silent() {
            true => self.waits.next_wait().max(poll),
            false => Duration::ZERO,
        };
        self.silent = Some(Instant::now() + wait);
        self.heard = false;
        self.doubtful = doubtful;
    }

    /// A round with it has ended: what was wrong, if anything.
    pub(super) fn round_ended(&mut self, trouble: Option<String>) {
        match trouble {
            None => {
                self.failures = 0;
                self.trouble = None;
            }
            Some(trouble) => {
                self.failures = self.failures.saturating_add(1);
                if self.failures >= TOLD_AFTER {
                    self.trouble = Some(trouble);
                }
            }
        }
    }

    /// What is wrong with it, as far as it is worth telling.
    pub(super) fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref()
    }

    /// Each number of a block is asked for by itself from now on; says whether that makes a difference.
    pub(super) fn take_apart(&mut self, block: usize) -> bool {
        let apart = self.blocks.get(block).map(Block::apart).unwrap_or_default();
        if apart.is_empty() {
            return false;
        }
        self.blocks.splice(block..=block, apart);
        true
    }
}

#[cfg(test)]
mod tests {
    use inkdwell_config::shop::{Register, RegisterFormat, RegisterTable};

    use super::super::plan::plan;
    use super::*;

    fn device(addresses: &[u16]) -> Device {
        let registers = addresses.iter().map(|address| Register {
            channel: address.to_string(),
            unit_id: 1,
            table: RegisterTable::Input,
            address: *address,
            format: RegisterFormat::Int16,
            low_word_first: false,
            scale: 1.0,
            offset: 0.0,
            fahrenheit: false,
        });
        let registers: Vec<Register> = registers.collect();
        Device::new(plan(&registers).remove(0))
    }

    /// The waits are those of a lost wire: from 0.25 s, doubling up to 15 s, a quarter longer or shorter.
    #[tokio::test(start_paused = true)]
    async fn a_silent_device_is_asked_less_and_less_often() {
        let (mut device, poll) = (device(&[0]), Duration::from_millis(500));
        let begun = Instant::now();
        let mut asked = Vec::new();
        while begun.elapsed() < Duration::from_secs(300) {
            if device.is_due(Instant::now()) {
                asked.push(begun.elapsed());
                device.kept_silent(poll, true);
            }
            tokio::time::advance(poll).await;
        }
        assert_eq!(asked[1], poll);
        assert!((20..=35).contains(&asked.len()), "{}", asked.len());
        let gap = asked[asked.len() - 1] - asked[asked.len() - 2];
        assert!(
            gap >= Duration::from_secs(11) && gap <= Duration::from_secs(20),
            "{gap:?}"
        );
        assert!(device.answered());
        assert!(device.is_due(Instant::now()) && !device.is_silent());
    }

    #[test]
    fn a_single_failure_is_not_told() {
        let mut device = device(&[0]);
        device.round_ended(Some("silence".to_owned()));
        assert_eq!(device.trouble(), None);
        device.round_ended(None);
        device.round_ended(Some("silence".to_owned()));
        assert_eq!(device.trouble(), None);
        device.round_ended(Some("noise".to_owned()));
        assert_eq!(device.trouble(), Some("noise"));
        device.round_ended(None);
        assert_eq!(device.trouble(), None);
    }

    #[test]
    fn an_answer_that_may_be_late_is_not_believed_where_it_could_be_another_s() {
        let poll = Duration::from_millis(500);
        let (mut alone, mut alike) = (device(&[0, 1]), device(&[0, 5]));
        alone.kept_silent(poll, true);
        assert!(alone.answered());
        alike.kept_silent(poll, true);
        assert!(!alike.answered());
        assert!(alike.answered());
    }
}
