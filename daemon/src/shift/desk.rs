//! The task that the keeper works in.
//!
//! It takes arrivals in the order in which they come, ticks once a second, does what is asked, and hands
//! what has piled up to the committing thread: as soon as that has room and the oldest of it has waited for
//! [`GROUP`]. Where the disk is slow, more piles up for one commit; where too much has, nothing is taken out
//! of the queue until some of it is gone.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use inkdwell_cure::alarm::{AlarmId, Kind};
use tokio::sync::{mpsc, oneshot};
use tokio::time::{Instant, MissedTickBehavior, interval, sleep_until, timeout, timeout_at};
use tokio_util::sync::CancellationToken;

use super::Ask;
use super::commit::Job;
use super::disk::Disk;
use super::outboxes::Outboxes;
use super::sources::Sources;
use crate::intake::{Arrival, TurnedAway};
use crate::journal::Readers;
use crate::keeper::{Inferred, Inferrers, Keeper, Refused};
use crate::record::{Occurrence, Record};
use crate::sink::Sinks;
use crate::time::{Micros, STEP, Steady};

/// How long a reading waits for others to be committed with.
const GROUP: Duration = Duration::from_millis(20);
/// No more than so many readings wait for the disk.
const MOST_READINGS: usize = 100_000;
/// Arrivals taken out of the queue at once.
const AT_ONCE: usize = 512;
/// The keeper's state is put away this often.
const CHECKPOINT_EVERY: Duration = Duration::from_secs(15);
/// Sources that have not ended so long after they were told are given up.
const PATIENCE: Duration = Duration::from_secs(5);

type Answer = (oneshot::Sender<Result<Record, Refused>>, Record);

pub(super) struct Desk {
    pub(super) keeper: Keeper,
    pub(super) queue: mpsc::Receiver<Arrival>,
    pub(super) turned_away: Arc<TurnedAway>,
    pub(super) asked: mpsc::Receiver<Ask>,
    pub(super) entries: mpsc::Sender<Job>,
    pub(super) steady: Steady,
    pub(super) stop: CancellationToken,
    pub(super) sources: Arc<Sources>,
    pub(super) sinks: Arc<Sinks>,
    pub(super) outboxes: Outboxes,
    pub(super) readers: Readers,
    pub(super) full: Arc<AtomicBool>,
    pub(super) disk: Disk,
    pub(super) inferrers: Inferrers,
    pub(super) inferred: mpsc::UnboundedReceiver<Inferred>,
    /// SHA-256 of the shop file that was written down last.
    pub(super) shop_kept: Option<String>,
}

/// What piles up between two jobs.
struct Pile {
    /// Since when something has waited.
    since: Option<Instant>,
    /// A decision was made: it is committed before anything else is done.
    at_once: bool,
    answer: Option<Answer>,
    sources: Option<Vec<String>>,
    checkpointed: Instant,
    wants_checkpoint: bool,
    full_since: Option<Micros>,
}

impl Desk {
    pub(super) async fn run(mut self) {
        let mut pile = self.begin();
        let mut arrivals = Vec::with_capacity(AT_ONCE);
        let mut ticks = interval(self.steady.wait(1.0).max(Duration::from_millis(1)));
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut queue_open = true;
        let (entries, stop) = (self.entries.clone(), self.stop.clone());
        while !self.stop.is_cancelled() {
            let due = pile.since.map(|since| since + GROUP);
            let is_due = pile.at_once || due.is_some_and(|due| due <= Instant::now());
            let has_room = self.keeper.piled_up().0 < MOST_READINGS;
            let free = !pile.at_once;
            tokio::select! {
                biased;
                () = stop.cancelled() => {}
                permit = entries.reserve(), if is_due => match permit {
                    Ok(permit) => {
                        let job = hand_over(&mut self.keeper, &mut pile, false);
                        permit.send(job);
                    }
                    Err(_) => self.stop.cancel(),
                },
                ask = self.asked.recv(), if free => match ask {
                    Some(ask) => self.answer(ask, &mut pile),
                    None => self.stop.cancel(),
                },
                Some(inferred) = self.inferred.recv(), if free => self.keeper.inferred(inferred),
                _ = ticks.tick(), if free => self.tick(&mut pile),
                taken = self.queue.recv_many(&mut arrivals, AT_ONCE),
                        if free && has_room && queue_open => {
                    queue_open = taken > 0;
                    self.take(&mut arrivals);
                }
                () = sleep_until(due.unwrap_or_else(Instant::now)), if due.is_some() && !is_due => {}
            }
            self.infer();
            if pile.since.is_none() && !self.keeper.is_idle() {
                pile.since = Some(Instant::now());
            }
        }
        drop(entries);
        self.end(pile, arrivals).await;
    }

    fn begin(&mut self) -> Pile {
        let now = self.steady.now();
        let version = env!("CARGO_PKG_VERSION").to_owned();
        let keeper = &mut self.keeper;
        keeper.occurred(now, None, Occurrence::Started { version });
        // Where the wall clock stands before what is journaled, the steady time is ahead from the start.
        let ahead_us = keeper.wall_ahead();
        if ahead_us.abs() >= STEP {
            keeper.occurred(now, None, Occurrence::ClockStepped { ahead_us });
        }
        self.shop_kept = keeper.declare_shop(now, self.shop_kept.take());
        Pile {
            since: Some(Instant::now()),
            at_once: true,
            answer: None,
            sources: Some(source_ids(keeper)),
            checkpointed: Instant::now(),
            wants_checkpoint: true,
            full_since: None,
        }
    }

    /// Gives out what is to be inferred.
    fn infer(&mut self) {
        for job in self.keeper.take_jobs() {
            self.inferrers.infer(job);
        }
    }

    /// Waits a little for what is being inferred; what does not come is asked for again at the next start.
    async fn await_answers(&mut self) {
        self.infer();
        let until = Instant::now() + PATIENCE;
        while self.keeper.awaits_answers() {
            match timeout_at(until, self.inferred.recv()).await {
                Ok(Some(inferred)) => self.keeper.inferred(inferred),
                Ok(None) | Err(_) => return,
            }
        }
    }

    fn take(&mut self, arrivals: &mut Vec<Arrival>) {
        for arrival in arrivals.drain(..) {
            match arrival {
                Arrival::Delivery(delivery) => {
                    let arrived = self.steady.at(delivery.arrived);
                    self.keeper.take(delivery, arrived);
                }
                Arrival::Notice(source, at, notice) => {
                    let at = self.steady.at(at);
                    self.keeper.notice(source, notice, at);
                }
            }
        }
    }

    fn tick(&mut self, pile: &mut Pile) {
        let (moment, wall) = (self.steady.now(), self.steady.wall());
        let now = self.keeper.tick_time(moment);
        // What the wall clock showed at that tick, which may be some time ago.
        let wall = Micros(wall.0 - (moment.0 - now.0));
        self.keeper.tick(now, wall);
        for (source, readings) in self.turned_away.take() {
            self.keeper.turned_away(source, readings, now);
        }
        // That the disk is full can be written down only once it is not any more.
        match (self.full.load(Ordering::Relaxed), pile.full_since) {
            (true, None) => {
                pile.full_since = Some(now);
                self.keeper.occurred(now, None, Occurrence::DiskFull);
            }
            (false, Some(since)) => {
                pile.full_since = None;
                let after_s = now.seconds_since(since);
                self.keeper
                    .occurred(now, None, Occurrence::DiskFree { after_s });
                self.disk.forget();
            }
            (true, Some(_)) => {}
            (false, None) => self.look_at_disk(now),
        }
        self.look_at_outboxes(now);
        pile.wants_checkpoint |= pile.checkpointed.elapsed() >= CHECKPOINT_EVERY;
    }

    fn look_at_outboxes(&mut self, now: Micros) {
        for (sink, waiting) in self.sinks.waiting() {
            let alarm = AlarmId::new(Kind::OutboxGrowing, &sink);
            let alarm = self.keeper.alarm(&alarm);
            let told = alarm.is_some_and(|alarm| alarm.life.holds());
            if let Some(what) = self.outboxes.look(&sink, waiting, told) {
                self.keeper.occurred(now, None, what);
            }
        }
    }

    fn look_at_disk(&mut self, now: Micros) {
        let share = self.keeper.shop().alarms.disk_room;
        let alarm = AlarmId::new(Kind::DiskNearlyFull, "");
        let told = self
            .keeper
            .alarm(&alarm)
            .is_some_and(|alarm| alarm.life.holds());
        if let Some(what) = self.disk.look(share.map(|share| share.0), told) {
            self.keeper.occurred(now, None, what);
        }
    }

    fn answer(&mut self, ask: Ask, pile: &mut Pile) {
        let now = self.steady.now();
        match ask {
            Ask::Do(command, answer) => match self.keeper.command(*command, now) {
                Ok(record) => {
                    pile.answer = Some((answer, record));
                    pile.at_once = true;
                }
                Err(refused) => {
                    // Whoever asked may have gone.
                    let _ = answer.send(Err(refused));
                }
            },
            Ask::Look(look) => look(&self.keeper, now),
            Ask::Reload(shop, digest, answer) => {
                let done = self.keeper.reload(*shop, digest, now);
                if done.is_ok() {
                    self.shop_kept = self.keeper.declare_shop(now, self.shop_kept.take());
                    self.sources.change(self.keeper.shop());
                    self.change_sinks();
                    pile.sources = Some(source_ids(&self.keeper));
                    pile.wants_checkpoint = true;
                    pile.at_once = true;
                }
                let _ = answer.send(done);
            }
        }
    }

    /// What the shop file says of the ways out holds from now on.
    fn change_sinks(&self) {
        let changed = self.readers.reader().map_err(|error| error.to_string());
        let changed = changed.and_then(|reader| {
            let started = self.sinks.start(self.keeper.shop(), &reader);
            started.map_err(|error| error.to_string())
        });
        if let Err(why) = changed {
            tracing::error!("the ways out are as they were: {why}");
        }
    }

    /// Takes what the sources have still read, judges open passes as cut, and hands over the last of it.
    async fn end(mut self, mut pile: Pile, mut arrivals: Vec<Arrival>) {
        self.sources.stop();
        let mut patient = true;
        loop {
            if !self.keeper.is_idle() {
                let job = hand_over(&mut self.keeper, &mut pile, false);
                if self.entries.send(job).await.is_err() {
                    self.sources.abort();
                    return;
                }
            }
            let taken = self.queue.recv_many(&mut arrivals, AT_ONCE);
            match timeout(PATIENCE, taken).await {
                Ok(0) => break,
                Ok(_) => self.take(&mut arrivals),
                Err(_) if patient => {
                    patient = false;
                    self.sources.abort();
                }
                Err(_) => break,
            }
        }
        let now = self.keeper.tick_time(self.steady.now());
        for (source, readings) in self.turned_away.take() {
            self.keeper.turned_away(source, readings, now);
        }
        self.keeper.finish(now);
        self.await_answers().await;
        self.keeper.occurred(now, None, Occurrence::Stopped);
        let job = hand_over(&mut self.keeper, &mut pile, true);
        // If it is not taken, the committing thread has said why.
        let _ = self.entries.send(job).await;
    }
}

/// Makes a job of what has piled up.
fn hand_over(keeper: &mut Keeper, pile: &mut Pile, last: bool) -> Job {
    let entry = keeper.take_entry();
    let wanted = std::mem::take(&mut pile.wants_checkpoint) || last;
    let checkpoint = wanted.then(|| keeper.checkpoint());
    let checkpoint = checkpoint.and_then(|checkpoint| {
        checkpoint
            .inspect_err(|error| tracing::error!("{error}"))
            .ok()
    });
    if checkpoint.is_some() {
        pile.checkpointed = Instant::now();
    }
    pile.since = None;
    pile.at_once = false;
    Job {
        entry,
        checkpoint,
        sources: pile.sources.take(),
        answer: pile.answer.take(),
    }
}

fn source_ids(keeper: &Keeper) -> Vec<String> {
    let sources = keeper.shop().sources.iter();
    sources.map(|source| source.id.clone()).collect()
}
