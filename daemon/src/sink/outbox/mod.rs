//! What waits for one sink, read from the journal as it is needed.
//!
//! A sink asks for the next letters, sends them in their order, and says which are settled. Nothing but the
//! letters in hand is held in memory, however long the other side is away.
//!
//! What was set aside and somebody wants to be sent again comes between, in the order in which it was refused; it
//! says nothing of how far the sink has come.

mod readings;

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Shop, Sink};
use tokio::sync::watch;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio_util::sync::CancellationToken;

use crate::api::view::Clock;
use crate::broker::Trouble;
use crate::journal::{AsideNumber, ReadError, Reader, Readers, RecordNumber, SetAside, Standing};
use crate::sink::compose::{Composer, Letter};
use crate::sink::desk::{Desk, Fetched, Wanted};
use crate::sink::health::Health;
use crate::sink::ledger::{Committed, Ledger};
use crate::source::waits::Waits;
use crate::time::{Micros, Steady};

/// What somebody has to mend is tried again so often.
const SLOWLY: Duration = Duration::from_secs(60);
/// A journal that cannot be read is looked at again after so long.
const LOOK_AGAIN: Duration = Duration::from_secs(5);
/// Nobody is believed who asks for a longer wait.
const LONGEST_ASKED: Duration = Duration::from_secs(15 * 60);

/// The daemon stops, or the sink is no longer declared.
#[derive(Debug, Clone, Copy)]
pub(in crate::sink) struct Over;

/// What every sink works with.
#[derive(Debug, Clone)]
pub(in crate::sink) struct Common {
    pub(in crate::sink) ledger: Arc<Ledger>,
    pub(in crate::sink) readers: Readers,
    pub(in crate::sink) steady: Steady,
}

/// A letter that was handed out and is not settled.
#[derive(Debug, Clone, Copy)]
struct InHand {
    record: u64,
    aside: Option<AsideNumber>,
}

/// See the module.
pub(in crate::sink) struct Outbox {
    pub(in crate::sink) sink: String,
    pub(in crate::sink) health: Arc<Health>,
    pub(in crate::sink) stop: CancellationToken,
    common: Common,
    zone: chrono_tz::Tz,
    standing: Standing,
    /// The last record that was read.
    read: RecordNumber,
    /// Read and not yet handed out.
    fetched: VecDeque<Letter>,
    /// To be sent once more, and not yet handed out.
    again: VecDeque<Letter>,
    /// Handed out, in that order.
    in_hand: VecDeque<InHand>,
    /// Away while a thread reads; one that never came back is made anew.
    desk: Option<Desk>,
    composer: Composer,
    fetching: Option<JoinHandle<(Desk, Result<Fetched, String>)>>,
    committed: watch::Receiver<Committed>,
    asked: watch::Receiver<u64>,
    /// Whether something may be asked for again that was not looked for.
    looks_again: bool,
    /// Records younger than this wait.
    delay: Option<Seconds>,
    waits: Waits,
}

impl Outbox {
    pub(in crate::sink) fn new(
        shop: &Shop,
        sink: &Sink,
        standing: Standing,
        delay: Option<Seconds>,
        common: Common,
        health: Arc<Health>,
        stop: CancellationToken,
    ) -> Outbox {
        health.settled(standing.record.0);
        Outbox {
            sink: sink.id.clone(),
            health,
            stop,
            zone: shop.timezone,
            read: standing.record,
            standing,
            fetched: VecDeque::new(),
            again: VecDeque::new(),
            in_hand: VecDeque::new(),
            desk: None,
            composer: Composer::new(shop, sink, delay),
            fetching: None,
            committed: common.ledger.listen(),
            asked: common.ledger.asked(),
            looks_again: true,
            common,
            delay,
            waits: Waits::default(),
        }
    }

    /// Waits until something is to be sent. It may be dropped at any moment; no letter is lost.
    pub(in crate::sink) async fn next(&mut self) -> Result<Letter, Over> {
        loop {
            if let Some(letter) = self.hand_out() {
                return Ok(letter);
            }
            let before = self.read;
            self.fetch().await?;
            if self.fetched.is_empty() && self.again.is_empty() && self.read == before {
                self.wait_for_more().await?;
            }
        }
    }

    fn hand_out(&mut self) -> Option<Letter> {
        let letter = match self.again.pop_front() {
            Some(letter) => letter,
            None => self.fetched.pop_front()?,
        };
        self.in_hand.push_back(InHand {
            record: letter.record,
            aside: letter.aside,
        });
        Some(letter)
    }

    /// Up to so many letters; at least one.
    pub(in crate::sink) async fn next_several(&mut self, most: usize) -> Result<Vec<Letter>, Over> {
        let mut letters = vec![self.next().await?];
        while letters.len() < most
            && let Some(letter) = self.hand_out()
        {
            letters.push(letter);
        }
        Ok(letters)
    }

    /// Whether everything that is committed has been handed out.
    pub(in crate::sink) fn is_empty(&self) -> bool {
        self.fetched.is_empty()
            && self.again.is_empty()
            && self.read >= self.common.ledger.now().record
    }

    /// The last record that was handed out or passed over.
    pub(in crate::sink) fn last_read(&self) -> RecordNumber {
        self.read
    }

    /// The oldest letter in hand is settled.
    pub(in crate::sink) fn sent(&mut self) {
        self.health.sent(1, self.common.steady.now());
        let settled = self.in_hand.pop_front();
        if let Some(number) = settled.and_then(|settled| settled.aside) {
            self.common.ledger.settle(number);
        }
        self.note_standing();
    }

    /// It was refused for good. Returns once that is on the disk.
    pub(in crate::sink) async fn set_aside(&mut self, why: String) -> Result<(), Over> {
        let Some(refused) = self.in_hand.pop_front() else {
            return Ok(());
        };
        let record = refused.record;
        tracing::warn!(sink = self.sink, record, "set aside: {why}");
        // Not noted by itself: it goes onto the disk together with the reason.
        self.advance();
        let new = SetAside {
            record: Some(RecordNumber(record)),
            ..self.refused_now(why)
        };
        self.keep_aside(new, refused.aside).await
    }

    fn refused_now(&self, why: String) -> SetAside {
        SetAside {
            sink: self.sink.clone(),
            at: self.common.steady.now(),
            record: None,
            readings: None,
            why,
        }
    }

    async fn keep_aside(&mut self, new: SetAside, before: Option<AsideNumber>) -> Result<(), Over> {
        self.health.aside();
        let kept = self
            .common
            .ledger
            .set_aside(new, before, self.standing.clone());
        tokio::select! {
            () = kept => Ok(()),
            () = self.stop.cancelled() => Err(Over),
        }
    }

    fn note_standing(&mut self) {
        if self.advance() {
            self.common.ledger.note(self.standing.clone());
        }
    }

    /// All before the oldest letter that is not settled is; whether that is more than before.
    fn advance(&mut self) -> bool {
        let mut in_hand = self.in_hand.iter().filter(|own| own.aside.is_none());
        let next = in_hand.next().map(|own| own.record);
        let next = next.or_else(|| self.fetched.front().map(|letter| letter.record));
        let settled = next.map_or(self.read, |next| RecordNumber(next - 1));
        let is_more = settled > self.standing.record;
        if is_more {
            self.standing.record = settled;
            self.health.settled(settled.0);
        }
        is_more
    }

    /// Gives back what is in hand: it is handed out again, in its order.
    pub(in crate::sink) fn begin_again(&mut self) {
        self.in_hand.clear();
        self.fetched.clear();
        self.again.clear();
        self.looks_again = true;
        self.fetching = None;
        self.read = self.standing.record;
    }

    /// How long to wait until so many seconds of the shop's time have passed.
    pub(in crate::sink) fn wait_of(&self, seconds: f64) -> Duration {
        self.common.steady.wait(seconds)
    }

    /// Reads more. Dropped in the middle, it goes on where it was when it is called again.
    async fn fetch(&mut self) -> Result<(), Over> {
        let fetching = match self.fetching.take() {
            Some(fetching) => fetching,
            None => self.begin_to_fetch(),
        };
        // It waits in its place, in case that this is dropped here.
        let fetched = self.fetching.insert(fetching).await;
        self.fetching = None;
        // A thread that failed takes what it had with it; it is made anew.
        let (desk, fetched) = fetched.map_err(|_| Over)?;
        self.desk = Some(desk);
        match fetched {
            Ok(fetched) => {
                if fetched.looked_again {
                    self.looks_again = fetched.again.len() + fetched.needless.len() > 0;
                }
                self.again.extend(fetched.again);
                for number in fetched.needless {
                    self.common.ledger.settle(number);
                }
                self.fetched.extend(fetched.letters);
                self.read = fetched.read;
                self.health
                    .holds(self.in_hand.len() + self.again.len() + self.fetched.len());
                // What is passed over is settled by itself.
                self.note_standing();
                Ok(())
            }
            Err(why) => {
                self.health.blocked(&self.sink, why);
                self.pause(LOOK_AGAIN).await
            }
        }
    }

    fn begin_to_fetch(&mut self) -> JoinHandle<(Desk, Result<Fetched, String>)> {
        let (mut desk, readers) = (self.desk(), self.common.readers.clone());
        let zone = self.zone;
        let wanted = Wanted {
            sink: self.sink.clone(),
            after: self.read,
            horizon: self.horizon(),
            again: self.wants_again().then(|| self.common.ledger.settled()),
        };
        spawn_blocking(move || {
            let fetched = desk.fetch(&readers, zone, &wanted);
            (desk, fetched)
        })
    }

    /// Whether what is asked for again is to be looked for: where none of it is in hand, lest it be sent twice.
    fn wants_again(&mut self) -> bool {
        if self.asked.has_changed().unwrap_or(false) {
            self.asked.mark_unchanged();
            self.looks_again = true;
        }
        let in_hand = self.in_hand.iter().any(|own| own.aside.is_some());
        self.looks_again && self.again.is_empty() && !in_hand
    }

    fn desk(&mut self) -> Desk {
        let desk = self.desk.take();
        desk.unwrap_or_else(|| Desk::new(self.composer.clone()))
    }

    /// Records made later than this wait still.
    fn horizon(&self) -> Option<Micros> {
        let delay = self.delay?;
        Some(self.common.steady.now().plus_seconds(-delay.0))
    }

    async fn wait_for_more(&mut self) -> Result<(), Over> {
        let read = self.read;
        let waits_for_time = self.common.ledger.now().record > read;
        tokio::select! {
            () = self.stop.cancelled() => Err(Over),
            more = self.committed.wait_for(|now| now.record > read), if !waits_for_time => {
                more.map(drop).map_err(|_| Over)
            }
            asked = self.asked.changed() => {
                self.looks_again = true;
                asked.map_err(|_| Over)
            }
            () = tokio::time::sleep(self.common.steady.wait(1.0)), if waits_for_time => Ok(()),
        }
    }

    /// Reads the journal in a thread that may wait, again and again until it can be read.
    pub(in crate::sink) async fn look<T: Send + 'static>(
        &mut self,
        question: impl Fn(&Reader, &Clock, &mut Composer) -> Result<T, ReadError>
        + Clone
        + Send
        + 'static,
    ) -> Result<T, Over> {
        loop {
            let mut desk = self.desk();
            let (readers, zone, question) =
                (self.common.readers.clone(), self.zone, question.clone());
            let looked = spawn_blocking(move || {
                let answer = desk.look(&readers, zone, question);
                (desk, answer)
            });
            let (desk, answer) = looked.await.map_err(|_| Over)?;
            self.desk = Some(desk);
            match answer {
                Ok(answer) => return Ok(answer),
                Err(why) => {
                    self.health.blocked(&self.sink, why);
                    self.pause(LOOK_AGAIN).await?;
                }
            }
        }
    }

    /// What was sent last was taken.
    pub(in crate::sink) fn goes_well(&mut self) {
        self.waits.reset();
        self.health.open(&self.sink);
    }

    /// An attempt failed: waits before the next, the longer the oftener.
    pub(in crate::sink) async fn wait_out(
        &mut self,
        trouble: &Trouble,
        asked: Option<Duration>,
    ) -> Result<(), Over> {
        let wait = match (trouble.slow, asked) {
            (true, _) => SLOWLY,
            (false, None) => self.waits.next_wait(),
            (false, Some(asked)) => self.waits.next_wait().max(asked.min(LONGEST_ASKED)),
        };
        let again = match trouble.slow {
            true => "tried again every minute",
            false => "tried again with growing waits",
        };
        self.health
            .blocked(&self.sink, format!("{trouble} ({again}; nothing is lost)"));
        self.pause(wait).await
    }

    pub(in crate::sink) async fn pause(&mut self, wait: Duration) -> Result<(), Over> {
        tokio::select! {
            () = self.stop.cancelled() => Err(Over),
            () = tokio::time::sleep(wait) => Ok(()),
        }
    }
}
