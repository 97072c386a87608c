//! What waits for one sink, read from the journal as it is needed.
//!
//! A sink asks for the next letters, sends them in their order, and says which are settled. Nothing but the
//! letters in hand is held in memory, however long the other side is away.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Shop, Sink};
use tokio::sync::watch;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio_util::sync::CancellationToken;

use super::compose::{Composer, Letter};
use super::health::Health;
use super::ledger::{Committed, Ledger};
use crate::api::view::Clock;
use crate::broker::Trouble;
use crate::journal::{CommitNumber, ReadError, Reader, Readers, RecordNumber, SetAside, Standing};
use crate::source::waits::Waits;
use crate::time::{Micros, Steady};
use crate::wall::WallTimes;

/// Records that are read at once.
const AT_ONCE: u64 = 256;
/// What somebody has to mend is tried again so often.
const SLOWLY: Duration = Duration::from_secs(60);
/// A journal that cannot be read is looked at again after so long.
const LOOK_AGAIN: Duration = Duration::from_secs(5);
/// Nobody is believed who asks for a longer wait.
const LONGEST_ASKED: Duration = Duration::from_secs(15 * 60);

/// The daemon stops, or the sink is no longer declared.
#[derive(Debug, Clone, Copy)]
pub(super) struct Over;

/// What every sink works with.
#[derive(Debug, Clone)]
pub(super) struct Common {
    pub(super) ledger: Arc<Ledger>,
    pub(super) readers: Readers,
    pub(super) steady: Steady,
}

/// What a blocking thread needs to read; it goes there and comes back.
struct Desk {
    reader: Option<Reader>,
    walls: Option<WallTimes>,
    composer: Composer,
}

/// Letters, and the last record that was read for them.
type Fetched = (Vec<Letter>, RecordNumber);

fn fetch(
    reader: &Reader,
    clock: &Clock,
    composer: &mut Composer,
    after: RecordNumber,
    horizon: Option<Micros>,
) -> Result<Fetched, ReadError> {
    let (mut letters, mut read) = (Vec::new(), after);
    for record in reader.records_after(after, AT_ONCE)? {
        if horizon.is_some_and(|horizon| record.kept.at > horizon) {
            break;
        }
        read = record.kept.number;
        letters.extend(composer.letter(reader, clock, &record)?);
    }
    Ok((letters, read))
}

/// See the module.
pub(super) struct Outbox {
    pub(super) sink: String,
    pub(super) health: Arc<Health>,
    pub(super) stop: CancellationToken,
    common: Common,
    zone: chrono_tz::Tz,
    standing: Standing,
    /// The last record that was read.
    read: RecordNumber,
    /// Read and not yet handed out.
    fetched: VecDeque<Letter>,
    /// Records that are settled once every letter before them is: read up to here, handed out up to there.
    in_hand: VecDeque<u64>,
    /// Away while a thread reads; one that never came back is made anew.
    desk: Option<Desk>,
    composer: Composer,
    fetching: Option<JoinHandle<(Desk, Result<Fetched, String>)>>,
    committed: watch::Receiver<Committed>,
    /// Records younger than this wait.
    delay: Option<Seconds>,
    waits: Waits,
}

impl Outbox {
    pub(super) fn new(
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
            in_hand: VecDeque::new(),
            desk: None,
            composer: Composer::new(shop, sink, delay),
            fetching: None,
            committed: common.ledger.listen(),
            common,
            delay,
            waits: Waits::default(),
        }
    }

    /// Waits until something is to be sent. It may be dropped at any moment; no letter is lost.
    pub(super) async fn next(&mut self) -> Result<Letter, Over> {
        loop {
            if let Some(letter) = self.fetched.pop_front() {
                self.in_hand.push_back(letter.record);
                return Ok(letter);
            }
            let before = self.read;
            self.fetch().await?;
            if self.fetched.is_empty() && self.read == before {
                self.wait_for_more().await?;
            }
        }
    }

    /// Up to so many letters; at least one.
    pub(super) async fn next_several(&mut self, most: usize) -> Result<Vec<Letter>, Over> {
        let mut letters = vec![self.next().await?];
        while letters.len() < most
            && let Some(letter) = self.fetched.pop_front()
        {
            self.in_hand.push_back(letter.record);
            letters.push(letter);
        }
        Ok(letters)
    }

    /// Whether everything that is committed has been handed out.
    pub(super) fn is_empty(&self) -> bool {
        self.fetched.is_empty() && self.read >= self.common.ledger.now().record
    }

    /// The last record that was handed out or passed over.
    pub(super) fn last_read(&self) -> RecordNumber {
        self.read
    }

    /// The oldest letter in hand is settled.
    pub(super) fn sent(&mut self) {
        self.health.sent(1);
        self.in_hand.pop_front();
        self.note_standing();
    }

    /// It was refused for good. Returns once that is on the disk.
    pub(super) async fn set_aside(&mut self, why: String) -> Result<(), Over> {
        let record = self.in_hand.front().copied();
        tracing::warn!(sink = self.sink, record, "set aside: {why}");
        self.health.aside();
        self.in_hand.pop_front();
        // Not noted by itself: it goes onto the disk together with the reason.
        self.advance();
        self.keep_aside(record.map(RecordNumber), why).await
    }

    /// Readings were refused for good.
    pub(super) async fn set_readings_aside(&mut self, why: String) -> Result<(), Over> {
        tracing::warn!(sink = self.sink, "readings set aside: {why}");
        self.health.aside();
        self.keep_aside(None, why).await
    }

    async fn keep_aside(&mut self, record: Option<RecordNumber>, why: String) -> Result<(), Over> {
        let refused = SetAside {
            sink: self.sink.clone(),
            at: self.common.steady.now(),
            record,
            why,
        };
        let kept = self.common.ledger.set_aside(refused, self.standing.clone());
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
        let next = self.in_hand.front().copied();
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
    pub(super) fn begin_again(&mut self) {
        self.in_hand.clear();
        self.fetched.clear();
        self.fetching = None;
        self.read = self.standing.record;
    }

    /// Readings are settled up to a commit.
    pub(super) fn readings_sent(&mut self, commit: CommitNumber, points: u64) {
        self.health.sent(points);
        self.standing.commit = commit;
        self.common.ledger.note(self.standing.clone());
    }

    /// The last commit whose readings are settled.
    pub(super) fn readings_from(&self) -> CommitNumber {
        self.standing.commit
    }

    /// The last commit.
    pub(super) fn last_commit(&self) -> CommitNumber {
        self.common.ledger.now().commit
    }

    /// How long to wait until so many seconds of the shop's time have passed.
    pub(super) fn wait_of(&self, seconds: f64) -> Duration {
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
            Ok((letters, read)) => {
                self.fetched.extend(letters);
                self.read = read;
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
        let (after, horizon, zone) = (self.read, self.horizon(), self.zone);
        spawn_blocking(move || {
            let fetched = desk.look(&readers, zone, |reader, clock, composer| {
                fetch(reader, clock, composer, after, horizon)
            });
            (desk, fetched)
        })
    }

    fn desk(&mut self) -> Desk {
        let desk = self.desk.take();
        desk.unwrap_or_else(|| Desk {
            reader: None,
            walls: None,
            composer: self.composer.clone(),
        })
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
            () = tokio::time::sleep(self.common.steady.wait(1.0)), if waits_for_time => Ok(()),
        }
    }

    /// Reads the journal in a thread that may wait, again and again until it can be read.
    pub(super) async fn look<T: Send + 'static>(
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
    pub(super) fn goes_well(&mut self) {
        self.waits.reset();
        self.health.open(&self.sink);
    }

    /// An attempt failed: waits before the next, the longer the oftener.
    pub(super) async fn wait_out(
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

    pub(super) async fn pause(&mut self, wait: Duration) -> Result<(), Over> {
        tokio::select! {
            () = self.stop.cancelled() => Err(Over),
            () = tokio::time::sleep(wait) => Ok(()),
        }
    }
}

impl Desk {
    fn look<T>(
        &mut self,
        readers: &Readers,
        zone: chrono_tz::Tz,
        question: impl Fn(&Reader, &Clock, &mut Composer) -> Result<T, ReadError>,
    ) -> Result<T, String> {
        let reader = match self.reader.take() {
            Some(reader) => reader,
            None => readers.reader().map_err(|error| error.to_string())?,
        };
        let said = |error: ReadError| error.to_string();
        let walls = match self.walls.take() {
            Some(mut walls) => walls.follow(&reader).map(|()| walls).map_err(said)?,
            None => WallTimes::of(&reader).map_err(said)?,
        };
        let clock = Clock { walls, zone };
        let answer = question(&reader, &clock, &mut self.composer).map_err(said);
        self.walls = Some(clock.walls);
        self.reader = Some(reader);
        answer
    }
}
