//! The thread that commits.
//!
//! It takes one entry after another. A full disk is waited out: the entry in hand stays, nothing further is
//! taken, and so the sources that can wait do; what the others have to turn away is counted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use tokio::sync::{broadcast, mpsc, oneshot};
use tokio_util::sync::CancellationToken;

use super::{Fatal, News};
use crate::intake::{SourceId, Value};
use crate::journal::{Batch, CommitError, JournaledReading, RecordNumber, Shown, Writer};
use crate::keeper::{Entry, Refused, TICKS};
use crate::metrics::Metrics;
use crate::record::Record;
use crate::sink::Ledger;
use crate::time::Steady;

/// The journal's name for the source of ticks; no source of a shop file has it.
pub(super) const TICK_SOURCE: &str = "";
/// How long upkeep may take between two commits.
const TIDY: Duration = Duration::from_millis(10);
/// After so long without an entry there is time for upkeep.
const IDLE: Duration = Duration::from_millis(20);
/// A full disk is looked at again after so long.
const LOOK_AGAIN: Duration = Duration::from_millis(500);
/// How far the ways out have come is written down this often.
const NOTE_EVERY: Duration = Duration::from_millis(500);
/// Readings beyond their time are looked for this often.
const FORGET_EVERY: Duration = Duration::from_secs(60);

/// What is to be committed, and who waits for it.
#[derive(Debug, Default)]
pub(super) struct Job {
    pub(super) entry: Entry,
    /// The ids of the shop's sources, by number: where they have changed, or at first.
    pub(super) sources: Option<Vec<String>>,
    pub(super) checkpoint: Option<Vec<u8>>,
    pub(super) answer: Option<(oneshot::Sender<Result<Record, Refused>>, Record)>,
}

pub(super) struct Committer {
    pub(super) writer: Writer,
    pub(super) jobs: mpsc::Receiver<Job>,
    pub(super) news: broadcast::Sender<Arc<News>>,
    pub(super) full: Arc<AtomicBool>,
    pub(super) stop: CancellationToken,
    pub(super) steady: Steady,
    pub(super) keep_readings: Option<Duration>,
    pub(super) ledger: Arc<Ledger>,
    pub(super) metrics: Metrics,
}

impl Committer {
    /// Commits until the keeper's task is gone.
    pub(super) fn run(mut self) -> Result<(), Fatal> {
        let done = self.work();
        if let Err(error) = &done {
            tracing::error!("{error}");
        }
        // Without a journal nothing may be accepted.
        self.stop.cancel();
        done
    }

    fn work(&mut self) -> Result<(), Fatal> {
        let mut sources = Vec::new();
        let mut forgotten: Option<Instant> = None;
        let mut idle_since = Instant::now();
        let mut noted = Instant::now();
        loop {
            if noted.elapsed() >= NOTE_EVERY {
                self.note_sinks();
                noted = Instant::now();
            }
            match self.jobs.try_recv() {
                Ok(mut job) => {
                    if let Some(changed) = job.sources.take() {
                        sources = changed;
                    }
                    self.commit(job, &sources)?;
                    idle_since = Instant::now();
                }
                Err(mpsc::error::TryRecvError::Disconnected) => {
                    self.note_sinks();
                    return Ok(());
                }
                Err(mpsc::error::TryRecvError::Empty) => {
                    if idle_since.elapsed() >= IDLE {
                        self.upkeep(&mut forgotten)?;
                    }
                    // Woken by the next job, or to do more upkeep.
                    std::thread::sleep(Duration::from_millis(1));
                }
            }
        }
    }

    /// Writes down how far the ways out have come. What cannot be written now is written later.
    fn note_sinks(&mut self) {
        let Some(page) = self.ledger.take_page() else {
            return;
        };
        match self.writer.keep_standings(&page.standings, &page.asides) {
            Ok(()) => self.ledger.page_written(&page),
            Err(error) => {
                tracing::debug!("how far the ways out have come is not written yet ({error})");
                self.ledger.page_back(page);
            }
        }
    }

    fn upkeep(&mut self, forgotten: &mut Option<Instant>) -> Result<(), Fatal> {
        match self.writer.tidy(TIDY) {
            // What cannot be tidied now is tidied later.
            Ok(_) | Err(CommitError::Full { .. }) => {}
            Err(error) => return Err(error.into()),
        }
        let due = forgotten.is_none_or(|last| last.elapsed() >= FORGET_EVERY);
        if let (Some(keep), true) = (self.keep_readings, due) {
            let before = self.steady.now().plus_seconds(-keep.as_secs_f64());
            match self.writer.forget_readings_before(before, TIDY) {
                Ok(_) | Err(CommitError::Full { .. }) => {}
                Err(error) => return Err(error.into()),
            }
            *forgotten = Some(Instant::now());
        }
        Ok(())
    }

    fn commit(&mut self, job: Job, sources: &[String]) -> Result<(), Fatal> {
        let Job {
            entry,
            checkpoint,
            answer,
            ..
        } = job;
        let Entry {
            readings,
            records,
            marks,
            receipts,
            began,
        } = entry;
        let id = |source: SourceId| {
            let known = sources.get(usize::from(source.0));
            known.map_or(TICK_SOURCE, String::as_str)
        };
        let writer = &mut self.writer;
        let journaled = readings.iter().map(|taking| JournaledReading {
            channel: writer.channel(id(taking.source), &taking.channel),
            at: taking.at,
            shown: match &taking.value {
                Value::Number(number) => Shown::Number(*number),
                Value::NoNumber(word) => Shown::Word(writer.word(word)),
            },
            fed: taking.fed,
        });
        let batch = Batch {
            readings: journaled.collect(),
            marks: marks
                .iter()
                .map(|(source, mark)| (writer.source(id(*source)), *mark))
                .collect(),
            records,
            checkpoint,
        };
        let begun = Instant::now();
        let committed = self.until_done(&batch)?;
        let took = begun.elapsed();
        self.ledger.committed(crate::sink::Committed {
            record: committed.head.number,
            commit: committed.number,
        });
        receipts
            .into_iter()
            .for_each(|receipt| receipt.acknowledge());
        if let Some((answer, record)) = answer {
            // Whoever asked may have gone.
            let _ = answer.send(Ok(record));
        }
        let numbered = batch.records.into_iter().enumerate();
        let records = numbered.map(|(number, (at, record))| {
            let number = RecordNumber(committed.first_record.0 + number as u64);
            (number, at, record)
        });
        let news = News {
            commit: committed.number,
            records: records.collect(),
            readings: readings
                .into_iter()
                .filter(|taking| taking.source != TICKS)
                .collect(),
            began,
        };
        self.metrics.note(&news, took);
        // Nobody need be listening.
        let _ = self.news.send(Arc::new(news));
        Ok(())
    }

    fn until_done(&mut self, batch: &Batch) -> Result<crate::journal::Committed, Fatal> {
        loop {
            match self.writer.commit(batch) {
                Ok(committed) => {
                    if self.full.swap(false, Ordering::Relaxed) {
                        tracing::warn!("there is room on the disk again: readings are accepted");
                    }
                    return Ok(committed);
                }
                Err(error) if error.passes() && !self.stop.is_cancelled() => {
                    if !self.full.swap(true, Ordering::Relaxed) {
                        tracing::error!("{error}");
                    }
                    std::thread::sleep(LOOK_AGAIN);
                }
                Err(error) => return Err(error.into()),
            }
        }
    }
}
