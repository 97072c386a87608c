//! Plays rows in the time in which they happened, or faster.
//!
//! A row leaves at `begin + seconds / faster` by the monotonic clock: a late one does not make the next late.
//! Its device time is `base + seconds`, whatever the speed, so that durations are always those of the trace.

use std::sync::Arc;
use std::time::Duration;

use inkdwell_cure::trace_file::{Cell, Column, ColumnKind};
use tokio::sync::mpsc::Receiver;
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;

use crate::intake::{Closed, Delivery, Intake, Notice, Said, SourceId, Value};
use crate::source::health::{Health, Line};

/// So many rows are made ready ahead of their time.
pub(in crate::source) const AHEAD: usize = 256;

/// What is played.
#[derive(Debug)]
pub(in crate::source) enum Step {
    /// A row.
    Row {
        /// Seconds from the first row.
        seconds: f64,
        /// What it says.
        said: Vec<Said>,
    },
    /// There is no more, and why.
    Failed(String),
}

/// The channels of a trace's columns, in their order.
#[derive(Debug)]
pub(in crate::source) struct Channels {
    /// The channel, and by how much its numbers are divided; `None` for a column that is none.
    columns: Vec<Option<(Arc<str>, f64)>>,
    /// The device time of the first row, in microseconds since 1970.
    base: i64,
}

impl Channels {
    /// Temperatures are given out in °C whatever their column's unit, belt speeds in their column's unit,
    /// counts as they are. Of two columns of one name the first counts.
    pub(in crate::source) fn new(columns: &[Column], base: i64) -> Channels {
        let mut known: Vec<Option<(Arc<str>, f64)>> = Vec::with_capacity(columns.len());
        for column in columns {
            let divisor = match column.kind {
                ColumnKind::Ignored => None,
                ColumnKind::Belt(metres_per_second) => Some(metres_per_second),
                _ => Some(1.0),
            };
            let new = |divisor: &f64| {
                let mut named = known.iter().flatten();
                (!named.any(|(name, _)| **name == *column.name))
                    .then(|| (Arc::from(column.name.as_str()), *divisor))
            };
            known.push(divisor.as_ref().and_then(new));
        }
        Channels {
            columns: known,
            base,
        }
    }

    /// A row, in the words of a source.
    pub(in crate::source) fn row(&self, seconds: f64, cells: &[Cell]) -> Step {
        let device_time = Some(self.base + (seconds * 1e6).round() as i64);
        let said = self.columns.iter().zip(cells).filter_map(|(column, cell)| {
            let (channel, divisor) = column.as_ref()?;
            let value = match cell {
                Cell::Value(value) => Value::Number(value / divisor),
                Cell::Bad => Value::NoNumber("no number".into()),
                Cell::Missing => return None,
            };
            Some(Said {
                channel: Arc::clone(channel),
                value,
                device_time,
                sequence: None,
            })
        });
        let said = said.collect();
        Step::Row { seconds, said }
    }
}

/// Where rows are played to.
#[derive(Debug)]
pub(in crate::source) struct Player {
    pub(in crate::source) source: SourceId,
    pub(in crate::source) faster: f64,
    pub(in crate::source) intake: Intake,
    pub(in crate::source) health: Arc<Health>,
    pub(in crate::source) stop: CancellationToken,
}

impl Player {
    /// Plays to the end, or until the daemon stops.
    pub(in crate::source) async fn play(self, rows: Receiver<Step>) {
        let stop = self.stop.clone();
        tokio::select! {
            () = stop.cancelled() => {}
            // An intake that is closed is as good an end as any.
            _ = self.play_all(rows) => {}
        }
    }

    async fn play_all(&self, mut rows: Receiver<Step>) -> Result<(), Closed> {
        let mut begun = None;
        while let Some(step) = rows.recv().await {
            let (seconds, said) = match step {
                Step::Row { seconds, said } => (seconds, said),
                Step::Failed(why) => return self.fail(why).await,
            };
            let begin = match begun {
                Some(begin) => begin,
                None => {
                    self.health.set(Line::Up);
                    self.intake.tell(self.source, Notice::Up).await?;
                    *begun.insert(Instant::now())
                }
            };
            let due = Duration::try_from_secs_f64(seconds / self.faster).unwrap_or(Duration::MAX);
            match begin.checked_add(due) {
                Some(due) if due > Instant::now() => sleep_until(due).await,
                Some(_) => {}
                None => return std::future::pending().await,
            }
            self.deliver(said).await?;
        }
        self.health.set(Line::Ended);
        self.intake.tell(self.source, Notice::Ended).await
    }

    async fn deliver(&self, said: Vec<Said>) -> Result<(), Closed> {
        if said.is_empty() {
            return Ok(());
        }
        self.health.understood(said.len() as u64);
        let delivery = Delivery {
            source: self.source,
            arrived: std::time::Instant::now(),
            said,
            mark: None,
            receipt: None,
        };
        self.intake.deliver(delivery).await
    }

    async fn fail(&self, why: String) -> Result<(), Closed> {
        tracing::warn!(source = self.source.0, "{why}");
        self.health.set(Line::Down(why.clone()));
        self.intake.tell(self.source, Notice::Down(why)).await?;
        self.intake.tell(self.source, Notice::Ended).await
    }
}

/// The wall clock's time now, in microseconds since 1970: what a trace begins with that does not say when it
/// was taken.
pub(in crate::source) fn now() -> i64 {
    chrono::Utc::now().timestamp_micros()
}
