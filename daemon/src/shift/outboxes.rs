//! Whether what is to go out piles up.

use std::collections::HashMap;

use crate::record::Occurrence;

/// So many records that wait are a pile …
const PILE: u64 = 500;
/// … until no more than so many do.
const CLEAR: u64 = 50;

/// Watches how much waits for each sink.
#[derive(Debug, Default)]
pub(super) struct Outboxes {
    /// Whether it piles up, as far as was told, by sink.
    growing: HashMap<String, bool>,
}

impl Outboxes {
    /// What is news of a sink for which so many records wait; `told` says whether an alarm stands that tells of
    /// it piling up.
    pub(super) fn look(&mut self, sink: &str, waiting: u64, told: bool) -> Option<Occurrence> {
        let known = self.growing.get(sink).copied();
        let was = known.unwrap_or(told);
        let grows = match was {
            true => waiting > CLEAR,
            false => waiting >= PILE,
        };
        self.growing.insert(sink.to_owned(), grows);
        let sink = sink.to_owned();
        match (was, grows) {
            (false, true) => Some(Occurrence::OutboxGrowing { sink, waiting }),
            (true, false) => Some(Occurrence::OutboxClear { sink }),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pile_is_told_once_and_so_is_its_end_also_after_a_restart() {
        let mut outboxes = Outboxes::default();
        let mut look = |waiting| outboxes.look("office", waiting, false);
        let sink = || "office".to_owned();
        assert_eq!(look(499), None);
        let growing = Occurrence::OutboxGrowing {
            sink: sink(),
            waiting: 500,
        };
        assert_eq!(look(500), Some(growing));
        assert_eq!((look(2000), look(51)), (None, None));
        assert_eq!(look(50), Some(Occurrence::OutboxClear { sink: sink() }));
        assert_eq!(look(50), None);
        let again = Outboxes::default().look("office", 3, true);
        assert_eq!(again, Some(Occurrence::OutboxClear { sink: sink() }));
    }
}
