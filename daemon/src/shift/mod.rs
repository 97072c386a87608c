//! A shift: the daemon from its start to its stop.
//!
//! [`start`] opens the journal, takes the [`Keeper`] up where the last shift left it, and starts three kinds
//! of work: a task for each source, one task for the keeper (`desk`), and one thread that commits
//! (`commit`). What comes back is a [`Shift`]: the handle through which everybody else asks for things,
//! reads the journal and hears the news.
//!
//! Stopping goes the way of the data. First the sources are told to stop; what they have read is in the
//! queue. The keeper takes what is left of it, judges open passes as cut and hands over the last entry. Once
//! that is committed the journal is closed, and the data folder is free again.

mod commit;
mod desk;
mod disk;
mod outboxes;
mod recover;
mod sources;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use inkdwell_config::shop::Shop;
use inkdwell_cure::live::FloorEvent;
use tokio::sync::{broadcast, mpsc, oneshot};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::intake;
use crate::journal::{self, CommitNumber, OpenError, ReadError, Readers, RecordNumber};
use crate::keeper::{Command, Inferrers, Keeper, Refused, Taking, Unreadable};
use crate::metrics::Metrics;
use crate::record::Record;
use crate::sink::{Committed, Health as SinkHealth, Ledger, Sinks};
use crate::source::health::Health;
use crate::time::{Micros, Steady, wall};

/// Arrivals that may wait for the keeper.
const QUEUE: usize = 16_384;
/// Entries that may wait for the disk.
const ENTRIES: usize = 2;
/// News that a listener may be behind before it has to look into the journal.
const NEWS: usize = 1024;

/// What a shift is told.
#[derive(Debug, Clone)]
pub struct Options {
    /// The shop.
    pub shop: Shop,
    /// SHA-256 of its file's text, in hexadecimal.
    pub digest: String,
    /// The data folder.
    pub folder: PathBuf,
    /// How many times faster than real time runs: 1 but for a shop that is only simulated.
    pub faster: f64,
    /// What can be set of the journal.
    pub journal: journal::Settings,
    /// How long raw readings are kept; `None`: for good. Verdicts and evidence always are.
    pub keep_readings: Option<Duration>,
}

/// Why a shift cannot be started.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The journal cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The state cannot be put away.
    #[error(transparent)]
    State(#[from] Unreadable),
    /// The machine gives no thread.
    #[error("no thread can be started ({0})")]
    Thread(std::io::Error),
}

/// Why a shift has ended of itself.
#[derive(Debug, thiserror::Error)]
pub enum Fatal {
    /// The journal cannot be written, for a reason that waiting does not mend.
    #[error(transparent)]
    Commit(#[from] journal::CommitError),
    /// Part of the program has failed.
    #[error("part of the daemon has failed; see the log above, and start it again")]
    Broken,
}

/// Something committed, as those hear it who want to know at once.
#[derive(Debug, Clone)]
pub struct News {
    /// The commit.
    pub commit: CommitNumber,
    /// Its records with their numbers.
    pub records: Vec<(RecordNumber, Micros, Record)>,
    /// Its readings.
    pub readings: Vec<Taking>,
    /// Passes that have begun, or were none.
    pub began: Vec<FloorEvent>,
}

/// Why something that was asked is not done.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// It cannot be.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// The daemon is stopping, or cannot write its journal.
    #[error("the daemon is stopping, or cannot write its journal; ask again later")]
    NotNow,
}

type Look = Box<dyn FnOnce(&Keeper, Micros) + Send>;

/// What the keeper's task is asked.
enum Ask {
    Do(Box<Command>, oneshot::Sender<Result<Record, Refused>>),
    Look(Look),
    Reload(Box<Shop>, String, oneshot::Sender<Result<(), Unreadable>>),
}

/// A running daemon. Dropping it does not stop it; [`Shift::stop`] does.
#[derive(Debug)]
pub struct Shift {
    asks: mpsc::Sender<Ask>,
    news: broadcast::Sender<Arc<News>>,
    readers: Readers,
    steady: Steady,
    stop: CancellationToken,
    full: Arc<AtomicBool>,
    sources: Arc<sources::Sources>,
    sinks: Arc<Sinks>,
    metrics: Metrics,
    desk: JoinHandle<()>,
    committing: JoinHandle<Result<(), Fatal>>,
}

impl std::fmt::Debug for Ask {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Ask::Do(command, _) => formatter.debug_tuple("Do").field(command).finish(),
            Ask::Look(_) => formatter.write_str("Look"),
            Ask::Reload(..) => formatter.write_str("Reload"),
        }
    }
}

/// Starts a shift.
///
/// # Errors
/// When the data folder or the journal cannot be used, or another daemon has it.
pub async fn start(options: Options) -> Result<Shift, StartError> {
    start_with(options, None).await
}

/// Starts a shift whose wall is not the machine's clock: how a shift takes it that the clock is set is tried
/// without setting the machine's.
///
/// # Errors
/// As [`start`].
pub async fn start_by(options: Options, clock: fn() -> Micros) -> Result<Shift, StartError> {
    start_with(options, Some(clock)).await
}

async fn start_with(options: Options, clock: Option<fn() -> Micros>) -> Result<Shift, StartError> {
    let opened = tokio::task::spawn_blocking({
        let (folder, settings) = (options.folder.clone(), options.journal.clone());
        move || journal::open(&folder, settings)
    });
    let broken = |error: tokio::task::JoinError| {
        StartError::Thread(std::io::Error::other(error.to_string()))
    };
    let (mut writer, readers) = opened.await.map_err(broken)??;
    let reader = readers.reader()?;
    let begin = |wall| Ok::<_, ReadError>(Steady::begin(wall, reader.last_time()?, options.faster));
    let steady = match clock {
        None => begin(wall())?,
        Some(clock) => begin(clock())?.with_wall_clock(clock),
    };
    let keeper = recover::keeper(&options, &reader, &mut writer, &steady)?;
    let known = keeper.shop().sources.iter();
    let marks = known
        .map(|source| {
            let number = reader.source(&source.id)?;
            number.map_or(Ok(Vec::new()), |number| reader.marks(number))
        })
        .collect::<Result<Vec<_>, _>>()?;
    let ledger = Arc::new(Ledger::new(Committed {
        record: reader.head()?.number,
        commit: reader.last_commit()?,
    }));
    let stop = CancellationToken::new();
    let sinks = Arc::new(Sinks::new(
        Arc::clone(&ledger),
        readers.clone(),
        steady,
        stop.child_token(),
    ));
    sinks.start(keeper.shop(), &reader)?;
    let metrics = Metrics::default();
    let shop_kept = reader.shop_as_of(Micros(i64::MAX), reader.head()?.number)?;
    let shop_kept = shop_kept.map(|kept| kept.declared.sha256);
    drop(reader);

    let (intake, queue, turned_away) = intake::queue(QUEUE);
    let (asks, asked) = mpsc::channel(64);
    let (entries, jobs) = mpsc::channel(ENTRIES);
    let (answers, inferred) = mpsc::unbounded_channel();
    let (news, _) = broadcast::channel(NEWS);
    let full = Arc::new(AtomicBool::new(false));
    let sources = Arc::new(sources::Sources::default());
    sources.start(keeper.shop(), marks, intake);

    let committing = tokio::task::spawn_blocking({
        let thread = commit::Committer {
            writer,
            jobs,
            news: news.clone(),
            full: Arc::clone(&full),
            stop: stop.clone(),
            steady,
            keep_readings: options.keep_readings,
            ledger,
            metrics: metrics.clone(),
        };
        move || thread.run()
    });
    let desk = tokio::spawn(
        desk::Desk {
            keeper,
            queue,
            turned_away,
            asked,
            entries,
            steady,
            stop: stop.clone(),
            sources: Arc::clone(&sources),
            sinks: Arc::clone(&sinks),
            outboxes: outboxes::Outboxes::default(),
            readers: readers.clone(),
            full: Arc::clone(&full),
            disk: disk::Disk::of(options.folder.clone()),
            inferrers: Inferrers::new(answers),
            inferred,
            shop_kept,
        }
        .run(),
    );
    Ok(Shift {
        asks,
        news,
        readers,
        steady,
        stop,
        full,
        sources,
        sinks,
        metrics,
        desk,
        committing,
    })
}

impl Shift {
    /// Does what a person asks. When it returns, it is committed.
    ///
    /// # Errors
    /// When it cannot be done, or the daemon is stopping.
    pub async fn ask(&self, command: Command) -> Result<Record, AskError> {
        let (answer, answered) = oneshot::channel();
        let ask = Ask::Do(Box::new(command), answer);
        self.asks.send(ask).await.map_err(|_| AskError::NotNow)?;
        Ok(answered.await.map_err(|_| AskError::NotNow)??)
    }

    /// Looks at the keeper as it is now.
    ///
    /// # Errors
    /// When the daemon is stopping.
    pub async fn look<T: Send + 'static>(
        &self,
        look: impl FnOnce(&Keeper, Micros) -> T + Send + 'static,
    ) -> Result<T, AskError> {
        let (answer, answered) = oneshot::channel();
        let look: Look = Box::new(move |keeper, now| {
            // Whoever asked may have gone.
            let _ = answer.send(look(keeper, now));
        });
        let ask = Ask::Look(look);
        self.asks.send(ask).await.map_err(|_| AskError::NotNow)?;
        answered.await.map_err(|_| AskError::NotNow)
    }

    /// Another shop file holds from now on. Sources that it does not change go on without losing a reading.
    ///
    /// # Errors
    /// When the daemon is stopping.
    pub async fn reload(&self, shop: Shop, digest: String) -> Result<(), AskError> {
        let (answer, answered) = oneshot::channel();
        let ask = Ask::Reload(Box::new(shop), digest, answer);
        self.asks.send(ask).await.map_err(|_| AskError::NotNow)?;
        let taken = answered.await.map_err(|_| AskError::NotNow)?;
        taken.map_err(|_| AskError::NotNow)
    }

    /// Hears what is committed from now on.
    pub fn listen(&self) -> broadcast::Receiver<Arc<News>> {
        self.news.subscribe()
    }

    /// Readers of the journal.
    pub fn readers(&self) -> &Readers {
        &self.readers
    }

    /// The steady time.
    pub fn now(&self) -> Micros {
        self.steady.now()
    }

    /// Whether nothing is accepted because the disk is full.
    pub fn disk_is_full(&self) -> bool {
        self.full.load(Ordering::Relaxed)
    }

    /// How the sources are, by their ids.
    pub fn sources(&self) -> Vec<(String, Arc<Health>)> {
        self.sources.health()
    }

    /// How the ways out are, in the order of the shop file: id, kind, health.
    pub fn sinks(&self) -> Vec<(String, &'static str, Arc<SinkHealth>)> {
        self.sinks.health()
    }

    /// Has a way out send again what it has set aside until now. Returns once that wish is on the disk, from where it
    /// outlives a crash; ways out that are not declared have none.
    pub async fn send_again(&self, sink: &str) {
        self.sinks.ask_again(sink).await;
    }

    /// What is counted since the start.
    pub fn metrics(&self) -> &Metrics {
        &self.metrics
    }

    /// Cancelled when the daemon stops, of itself or because it was told to.
    pub fn stopping(&self) -> CancellationToken {
        self.stop.clone()
    }

    /// Stops, and waits until everything is committed.
    ///
    /// # Errors
    /// When the journal could not be written.
    pub async fn stop(self) -> Result<(), Fatal> {
        // First, so that what they have come to is written down.
        self.sinks.stop().await;
        self.stop.cancel();
        self.desk.await.map_err(|_| Fatal::Broken)?;
        self.committing.await.map_err(|_| Fatal::Broken)?
    }
}
