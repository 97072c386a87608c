//! Where every sink stands, between the sinks that move on and the thread that writes the journal.
//!
//! A sink notes how far it has come and goes on; the committing thread writes the notes down once a second, or
//! sooner where it has nothing else to do. So nobody waits for a disk on account of a sink, and a crash costs
//! at most a second's messages being sent twice, each under the same identity.
//!
//! What is set aside is waited for: a sink goes on only once the refusal is on the disk. So is the wish to send
//! such things again, which a crash then does not forget.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;

use tokio::sync::watch;

use crate::journal::{AsideNumber, Asides, CommitNumber, RecordNumber, SetAside, Standing};

/// What is committed, as far as sinks care.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Committed {
    /// The last record.
    pub(crate) record: RecordNumber,
    /// The last commit.
    pub(crate) commit: CommitNumber,
}

/// See the module.
#[derive(Debug)]
pub(crate) struct Ledger {
    book: Mutex<Book>,
    committed: watch::Sender<Committed>,
    written: watch::Sender<u64>,
    /// Counts wishes to send again what was set aside.
    asked: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Book {
    /// The latest of every sink.
    latest: BTreeMap<String, Standing>,
    /// Not yet written.
    standings: BTreeMap<String, Standing>,
    asides: Asides,
    /// Settled, and perhaps not on the disk yet.
    unwritten: BTreeSet<AsideNumber>,
    /// Counts pages that were taken to be written.
    page: u64,
}

/// What is to be written.
#[derive(Debug)]
pub(crate) struct Page {
    number: u64,
    pub(crate) standings: Vec<Standing>,
    pub(crate) asides: Asides,
}

impl Ledger {
    /// One that knows what was committed before.
    pub(crate) fn new(committed: Committed) -> Ledger {
        Ledger {
            book: Mutex::default(),
            committed: watch::Sender::new(committed),
            written: watch::Sender::new(0),
            asked: watch::Sender::new(0),
        }
    }

    /// There is more.
    pub(crate) fn committed(&self, committed: Committed) {
        self.committed.send_replace(committed);
    }

    /// Hears of more.
    pub(super) fn listen(&self) -> watch::Receiver<Committed> {
        self.committed.subscribe()
    }

    /// What is committed now.
    pub(super) fn now(&self) -> Committed {
        *self.committed.borrow()
    }

    /// A sink has come so far.
    pub(super) fn note(&self, standing: Standing) {
        if let Ok(mut book) = self.book.lock() {
            book.note(standing);
        }
    }

    /// How far a sink has come since the start.
    pub(super) fn latest(&self, sink: &str) -> Option<Standing> {
        let book = self.book.lock().ok()?;
        book.latest.get(sink).cloned()
    }

    /// Something was refused for good, or refused once more where it had a number among what was set aside, and with
    /// it the sink has come so far. Returns once that is on the disk.
    pub(super) async fn set_aside(
        &self,
        refused: SetAside,
        before: Option<AsideNumber>,
        standing: Standing,
    ) {
        self.on_the_disk(|book| {
            book.asides.new.push(refused);
            before.into_iter().for_each(|number| book.settle(number));
            book.note(standing);
        })
        .await;
    }

    /// A sink is to send again what it has set aside until now. Returns once that is on the disk.
    pub(super) async fn ask_again(&self, sink: &str) {
        self.on_the_disk(|book| book.asides.again.push(sink.to_owned()))
            .await;
        self.asked.send_modify(|asked| *asked += 1);
    }

    /// Hears of wishes to send something again.
    pub(super) fn asked(&self) -> watch::Receiver<u64> {
        self.asked.subscribe()
    }

    /// Something that was set aside is taken after all.
    pub(super) fn settle(&self, number: AsideNumber) {
        if let Ok(mut book) = self.book.lock() {
            book.settle(number);
        }
    }

    /// What is settled of what was set aside, and perhaps not on the disk yet: read this before the disk.
    pub(super) fn settled(&self) -> BTreeSet<AsideNumber> {
        self.book
            .lock()
            .map_or_else(|_| BTreeSet::new(), |book| book.unwritten.clone())
    }

    /// Writes something into the book, and waits until the page that it is on is on the disk.
    async fn on_the_disk(&self, write: impl FnOnce(&mut Book)) {
        let mut written = self.written.subscribe();
        let page = match self.book.lock() {
            Ok(mut book) => {
                write(&mut book);
                book.page + 1
            }
            Err(_) => return,
        };
        // It fails only when the ledger is gone, and then so is the journal.
        let _ = written.wait_for(|written| *written >= page).await;
    }

    /// What is not written yet; `None` where there is nothing.
    pub(crate) fn take_page(&self) -> Option<Page> {
        let mut book = self.book.lock().ok()?;
        if book.standings.is_empty() && book.asides == Asides::default() {
            return None;
        }
        book.page += 1;
        Some(Page {
            number: book.page,
            standings: std::mem::take(&mut book.standings).into_values().collect(),
            asides: std::mem::take(&mut book.asides),
        })
    }

    /// A page is on the disk.
    pub(crate) fn page_written(&self, page: &Page) {
        if let Ok(mut book) = self.book.lock() {
            for settled in &page.asides.settled {
                book.unwritten.remove(settled);
            }
        }
        self.written.send_replace(page.number);
    }

    /// A page could not be written: it comes again with the next.
    pub(crate) fn page_back(&self, page: Page) {
        if let Ok(mut book) = self.book.lock() {
            for standing in page.standings {
                book.standings
                    .entry(standing.sink.clone())
                    .or_insert(standing);
            }
            let (mut asides, newer) = (page.asides, std::mem::take(&mut book.asides));
            asides.again.extend(newer.again);
            asides.settled.extend(newer.settled);
            asides.new.extend(newer.new);
            book.asides = asides;
        }
    }
}

impl Book {
    fn note(&mut self, standing: Standing) {
        self.latest.insert(standing.sink.clone(), standing.clone());
        self.standings.insert(standing.sink.clone(), standing);
    }

    fn settle(&mut self, number: AsideNumber) {
        self.asides.settled.push(number);
        self.unwritten.insert(number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Micros;

    fn standing(record: u64) -> Standing {
        Standing {
            sink: "office".to_owned(),
            kind: "webhook".to_owned(),
            record: RecordNumber(record),
            commit: CommitNumber(0),
        }
    }

    fn refused(record: u64) -> SetAside {
        SetAside {
            sink: "office".to_owned(),
            at: Micros(0),
            record: Some(RecordNumber(record)),
            readings: None,
            why: "too odd".to_owned(),
        }
    }

    #[test]
    fn a_page_that_was_not_written_comes_again_and_never_sets_a_sink_back() {
        let ledger = Ledger::new(Committed::default());
        assert!(ledger.take_page().is_none());
        ledger.note(standing(3));
        let page = ledger.take_page().unwrap();
        ledger.note(standing(5));
        ledger.page_back(page);
        let page = ledger.take_page().unwrap();
        assert_eq!(page.standings, vec![standing(5)]);
        assert!(ledger.take_page().is_none());
    }

    #[tokio::test]
    async fn what_is_set_aside_is_waited_for_until_it_is_on_the_disk() {
        let ledger = std::sync::Arc::new(Ledger::new(Committed::default()));
        let own = std::sync::Arc::clone(&ledger);
        let waiting =
            tokio::spawn(async move { own.set_aside(refused(4), None, standing(4)).await });
        let page = loop {
            match ledger.take_page() {
                Some(page) => break page,
                None => tokio::task::yield_now().await,
            }
        };
        // A disk that is full: it comes again, and is waited for further.
        ledger.page_back(page);
        for _ in 0..100 {
            tokio::task::yield_now().await;
        }
        assert!(!waiting.is_finished());
        let page = ledger.take_page().unwrap();
        assert_eq!(page.asides.new, vec![refused(4)]);
        ledger.page_written(&page);
        waiting.await.unwrap();
    }

    /// What is settled is known as such until the disk says so too, whatever page it is on: nothing is sent twice.
    #[test]
    fn what_is_settled_is_known_until_it_is_on_the_disk() {
        let ledger = Ledger::new(Committed::default());
        let number = AsideNumber(7);
        ledger.settle(number);
        assert!(ledger.settled().contains(&number));
        let page = ledger.take_page().unwrap();
        assert_eq!(page.asides.settled, vec![number]);
        assert!(ledger.settled().contains(&number));
        ledger.page_back(page);
        let page = ledger.take_page().unwrap();
        assert_eq!(page.asides.settled, vec![number]);
        ledger.page_written(&page);
        assert!(ledger.settled().is_empty());
    }
}
