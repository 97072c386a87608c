//! Which messages are on their way to the journal, which it has, and which may be acknowledged.
//!
//! The rules it keeps (section numbers are those of MQTT 5.0; those of 3.1.1 say the same):
//! - A message is acknowledged only after its commit, on the connection that is open then, and only if it
//!   came on that connection. An acknowledgement never outlives its connection: on another one its packet
//!   identifier may belong to another message.
//! - Acknowledgements go out in the order in which messages came (section 4.6).
//! - A broker that kept the session sends what is not acknowledged again, under its old packet identifier
//!   and with DUP set (sections 3.3.1.1 and 4.4). If the journal has it, it is acknowledged and not handed
//!   over. If it is still on its way, it is acknowledged once it has arrived. Without DUP a message is new,
//!   even if it has the identifier and the bytes of an earlier one.
//! - A broker that lost the session counts identifiers anew; what was known of them is void.

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use crate::intake::{MessageMark, Receipt};

/// So many of the latest committed messages are known again. Most brokers give out identifiers in a circle
/// of 65 535; half of it cannot be mistaken for what comes next, and is far more than is ever on its way.
const KNOWN_AGAIN: u64 = 32_768;

/// Stands in a mark where a session began: no packet has the identifier 0 (section 2.2.1).
const NEW_SESSION: MessageMark = MessageMark {
    packet: 0,
    digest: [0; 16],
};

/// What is known of messages. The session loop and the receipts share it.
#[derive(Debug, Default)]
pub(super) struct Ledger {
    inner: Mutex<Inner>,
    changed: Notify,
}

#[derive(Debug, Default)]
struct Inner {
    committed: Committed,
    /// On the way to the journal, by their numbers.
    pending: HashMap<u64, Pending>,
    /// Of those, the latest of each mark.
    by_mark: HashMap<MessageMark, u64>,
    next: u64,
    /// What came on this connection and is not acknowledged yet, in order.
    line: VecDeque<Place>,
    /// The number of the first place in the line. It never goes back, also from connection to connection.
    front: u64,
    /// The journal does not have the beginning of this session yet, and ought to.
    unnoted: bool,
    /// A message was given up on its way.
    given_up: bool,
}

#[derive(Debug)]
struct Pending {
    mark: MessageMark,
    /// Its place in the line of this connection; `None` if it came on an earlier one.
    place: Option<u64>,
}

#[derive(Debug, Clone, Copy)]
struct Place {
    packet: u16,
    ready: bool,
}

/// The latest committed message of each packet identifier.
#[derive(Debug, Default)]
struct Committed {
    count: u64,
    latest: HashMap<u16, (u64, [u8; 16])>,
}

impl Committed {
    fn add(&mut self, mark: MessageMark) {
        self.count += 1;
        self.latest.insert(mark.packet, (self.count, mark.digest));
    }

    fn has(&self, mark: MessageMark) -> bool {
        self.latest
            .get(&mark.packet)
            .is_some_and(|(at, digest)| *digest == mark.digest && self.count - at < KNOWN_AGAIN)
    }
}

/// What a message that came with a packet identifier is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Met {
    /// A new one, and its number here.
    New(u64),
    /// One that came before.
    Again,
}

impl Ledger {
    /// What the journal knew at the start, oldest first.
    pub(super) fn new(memory: Vec<MessageMark>) -> Ledger {
        let mut committed = Committed::default();
        for mark in memory {
            match mark.packet {
                0 => committed = Committed::default(),
                _ => committed.add(mark),
            }
        }
        Ledger {
            inner: Mutex::new(Inner {
                committed,
                ..Inner::default()
            }),
            changed: Notify::new(),
        }
    }

    /// Nothing in it can be left half done, so that a panic elsewhere spoils nothing.
    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A connection was made. If the broker has no session any more, and messages of an earlier one are
    /// known, gives the mark and the receipt of an empty delivery: until the journal has that
    /// ([`Ledger::session_noted`]), nothing must be subscribed to. After a restart it tells which of the
    /// marks are void.
    pub(super) fn connected(
        self: &Arc<Ledger>,
        session_present: bool,
    ) -> Option<(MessageMark, Receipt)> {
        let mut inner = self.inner();
        inner.front += inner.line.len() as u64;
        inner.line.clear();
        inner.given_up = false;
        for pending in inner.pending.values_mut() {
            pending.place = None;
        }
        if !session_present {
            inner.unnoted |= inner.committed.count > 0 || !inner.pending.is_empty();
            inner.committed = Committed::default();
            inner.by_mark.clear();
            inner.pending.clear();
        }
        if !inner.unnoted {
            return None;
        }
        // Also where an earlier connection's note has not been heard of: nothing came in between.
        let ledger = Arc::clone(self);
        let noted = Receipt::new(move || {
            ledger.inner().unnoted = false;
            ledger.changed.notify_one();
        });
        Some((NEW_SESSION, noted))
    }

    /// Whether messages may be asked for.
    pub(super) fn session_noted(&self) -> bool {
        !self.inner().unnoted
    }

    /// A message came.
    pub(super) fn meet(&self, mark: MessageMark, again: bool) -> Met {
        let mut inner = self.inner();
        let place = inner.front + inner.line.len() as u64;
        let (pending, committed) = match again {
            true => (inner.by_mark.get(&mark).copied(), inner.committed.has(mark)),
            false => (None, false),
        };
        inner.line.push_back(Place {
            packet: mark.packet,
            ready: committed && pending.is_none(),
        });
        if let Some(number) = pending {
            if let Some(pending) = inner.pending.get_mut(&number) {
                pending.place = Some(place);
            }
            return Met::Again;
        }
        if committed {
            return Met::Again;
        }
        let number = inner.next;
        inner.next += 1;
        let place = Some(place);
        inner.pending.insert(number, Pending { mark, place });
        inner.by_mark.insert(mark, number);
        Met::New(number)
    }

    /// A message has nothing for the journal.
    pub(super) fn nothing_in(&self, number: u64) {
        self.leave(number, false);
    }

    /// A message that is too large to be looked at; it has nothing for the journal either.
    pub(super) fn passed_over(&self, packet: u16) {
        let ready = true;
        self.inner().line.push_back(Place { packet, ready });
    }

    /// The receipt of a message that goes to the journal.
    pub(super) fn receipt(self: &Arc<Ledger>, number: u64) -> Receipt {
        let way = OnItsWay {
            ledger: Arc::clone(self),
            number,
            arrived: false,
        };
        Receipt::new(move || way.arrive())
    }

    /// Takes the packet identifiers that may be acknowledged now, in order.
    pub(super) fn take_ready(&self, into: &mut Vec<u16>) {
        let mut inner = self.inner();
        while inner.line.front().is_some_and(|place| place.ready) {
            into.extend(inner.line.pop_front().map(|place| place.packet));
            inner.front += 1;
        }
    }

    /// Whether a message was given up on its way: only a new connection brings it again.
    pub(super) fn given_up(&self) -> bool {
        self.inner().given_up
    }

    /// Waits until something may have changed.
    pub(super) async fn changed(&self) {
        self.changed.notified().await;
    }

    /// Takes a message off its way, committed or not, and lets it be acknowledged.
    fn leave(&self, number: u64, committed: bool) {
        let mut inner = self.inner();
        let Some(pending) = inner.forget(number) else {
            return;
        };
        if committed {
            inner.committed.add(pending.mark);
        }
        let place = pending
            .place
            .and_then(|place| place.checked_sub(inner.front));
        if let Some(place) = place.and_then(|place| inner.line.get_mut(place as usize)) {
            place.ready = true;
        }
    }

    fn give_up(&self, number: u64) {
        let mut inner = self.inner();
        if inner.forget(number).is_some() {
            inner.given_up = true;
        }
    }
}

impl Inner {
    fn forget(&mut self, number: u64) -> Option<Pending> {
        let pending = self.pending.remove(&number)?;
        if self.by_mark.get(&pending.mark) == Some(&number) {
            self.by_mark.remove(&pending.mark);
        }
        Some(pending)
    }
}

/// A message on its way to the journal. Dropped before it arrived, it counts as given up.
struct OnItsWay {
    ledger: Arc<Ledger>,
    number: u64,
    arrived: bool,
}

impl OnItsWay {
    fn arrive(mut self) {
        self.arrived = true;
    }
}

impl Drop for OnItsWay {
    fn drop(&mut self) {
        match self.arrived {
            true => self.ledger.leave(self.number, true),
            false => self.ledger.give_up(self.number),
        }
        self.ledger.changed.notify_one();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(packet: u16, text: u8) -> MessageMark {
        MessageMark {
            packet,
            digest: [text; 16],
        }
    }

    fn ledger(memory: Vec<MessageMark>) -> Arc<Ledger> {
        Arc::new(Ledger::new(memory))
    }

    fn receipt(ledger: &Arc<Ledger>, mark: MessageMark, again: bool) -> Receipt {
        match ledger.meet(mark, again) {
            Met::New(number) => ledger.receipt(number),
            Met::Again => panic!("{mark:?} is known"),
        }
    }

    fn ready(ledger: &Ledger) -> Vec<u16> {
        let mut packets = Vec::new();
        ledger.take_ready(&mut packets);
        packets
    }

    #[test]
    fn acknowledgements_follow_commits_in_the_order_of_arrival() {
        let ledger = ledger(vec![]);
        ledger.connected(false);
        let first = receipt(&ledger, mark(1, 1), false);
        let second = receipt(&ledger, mark(2, 2), false);
        ledger.passed_over(3);
        assert!(ready(&ledger).is_empty());
        second.acknowledge();
        assert!(ready(&ledger).is_empty());
        first.acknowledge();
        assert_eq!(ready(&ledger), [1, 2, 3]);
        assert!(ready(&ledger).is_empty());
    }

    #[test]
    fn a_committed_message_that_comes_again_is_acknowledged_alone() {
        let ledger = ledger(vec![mark(7, 1)]);
        ledger.connected(true);
        assert_eq!(ledger.meet(mark(7, 1), true), Met::Again);
        assert_eq!(ready(&ledger), [7]);
        // The same identifier for other bytes, or for the same without DUP, is another message.
        assert!(matches!(ledger.meet(mark(7, 2), true), Met::New(_)));
        assert!(matches!(ledger.meet(mark(7, 1), false), Met::New(_)));
    }

    #[test]
    fn a_message_still_on_its_way_is_acknowledged_where_it_came_last() {
        let ledger = ledger(vec![]);
        ledger.connected(true);
        let on_its_way = receipt(&ledger, mark(5, 1), false);
        let other = receipt(&ledger, mark(6, 1), false);
        ledger.connected(true);
        assert_eq!(ledger.meet(mark(5, 1), true), Met::Again);
        on_its_way.acknowledge();
        // The other one has not come again on this connection: its commit acknowledges nothing there.
        other.acknowledge();
        assert_eq!(ready(&ledger), [5]);
        // But should it come, it is known.
        assert_eq!(ledger.meet(mark(6, 1), true), Met::Again);
        assert_eq!(ready(&ledger), [6]);
    }

    #[test]
    fn a_late_commit_never_acknowledges_a_message_of_a_new_session() {
        let ledger = ledger(vec![]);
        ledger.connected(true);
        let old = receipt(&ledger, mark(1, 1), false);
        let note = ledger.connected(false);
        assert!(note.is_some());
        let new = receipt(&ledger, mark(1, 1), false);
        old.acknowledge();
        assert!(ready(&ledger).is_empty());
        new.acknowledge();
        assert_eq!(ready(&ledger), [1]);
    }

    #[test]
    fn a_lost_session_is_noted_before_anything_is_asked_for() {
        let ledger = ledger(vec![mark(3, 1)]);
        let (note, receipt) = ledger.connected(false).unwrap();
        assert_eq!(note.packet, 0);
        assert!(!ledger.session_noted());
        receipt.acknowledge();
        assert!(ledger.session_noted());
        // What was known is void: the same identifier and bytes are a new message.
        assert!(matches!(ledger.meet(mark(3, 1), true), Met::New(_)));
        // Marks before the note are void after a restart too, those after it are not.
        let restarted = Arc::new(Ledger::new(vec![mark(3, 1), note, mark(4, 1)]));
        assert!(restarted.connected(true).is_none());
        assert!(matches!(restarted.meet(mark(3, 1), true), Met::New(_)));
        assert_eq!(restarted.meet(mark(4, 1), true), Met::Again);
    }

    #[test]
    fn a_note_that_broke_off_is_written_again() {
        let ledger = ledger(vec![mark(3, 1)]);
        drop(ledger.connected(false));
        assert!(ledger.connected(true).is_some());
        assert!(!ledger.session_noted());
        drop(ledger.connected(false));
        let (_, receipt) = ledger.connected(false).unwrap();
        receipt.acknowledge();
        assert!(ledger.connected(true).is_none());
    }

    #[test]
    fn the_first_session_of_all_needs_no_note() {
        let ledger = ledger(vec![]);
        assert!(ledger.connected(false).is_none());
        assert!(ledger.session_noted());
    }

    #[test]
    fn what_is_given_up_is_handed_over_when_it_comes_again() {
        let ledger = ledger(vec![]);
        ledger.connected(true);
        drop(receipt(&ledger, mark(1, 1), false));
        assert!(ledger.given_up());
        assert!(ready(&ledger).is_empty());
        ledger.connected(true);
        assert!(!ledger.given_up());
        receipt(&ledger, mark(1, 1), true).acknowledge();
        assert_eq!(ready(&ledger), [1]);
    }

    #[test]
    fn what_lies_a_circle_of_identifiers_back_is_not_known_again() {
        let ids = (1..=u16::MAX).cycle();
        let memory: Vec<MessageMark> = ids.map(|packet| mark(packet, 1)).take(65_535).collect();
        let ledger = ledger(memory);
        ledger.connected(true);
        // The circle is full: 1 comes next, and 65 535 was the last.
        assert!(matches!(ledger.meet(mark(1, 1), true), Met::New(_)));
        assert_eq!(ledger.meet(mark(65_535, 1), true), Met::Again);
        assert_eq!(ledger.meet(mark(32_768, 1), true), Met::Again);
        assert!(matches!(ledger.meet(mark(32_767, 1), true), Met::New(_)));
    }
}
