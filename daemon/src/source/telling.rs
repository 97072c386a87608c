//! Tells how a source is, without holding up its reading.
//!
//! A notice waits for room in the queue; a serial line does not wait meanwhile. So what is to be told goes
//! along with reading, and where several notices pile up only the latest is told.

use std::sync::Arc;

use tokio_util::sync::ReusableBoxFuture;

use super::health::{Health, Line};
use crate::intake::{Closed, Intake, Notice, SourceId};

/// Unlike other boxed futures it may be shared between threads, and so may what holds it.
type Telling = ReusableBoxFuture<'static, Result<(), Closed>>;

/// Tells of a source's state, once for each change.
pub(super) struct Teller {
    source: SourceId,
    intake: Intake,
    health: Arc<Health>,
    line: Line,
    telling: Option<Telling>,
    untold: Option<Notice>,
}

impl Teller {
    pub(super) fn new(source: SourceId, intake: Intake, health: Arc<Health>) -> Teller {
        Teller {
            source,
            intake,
            health,
            line: Line::Starting,
            telling: None,
            untold: None,
        }
    }

    /// Its device is heard.
    pub(super) fn up(&mut self) {
        if self.line != Line::Up {
            tracing::info!(source = self.source.0, "is heard");
            self.change(Line::Up, Notice::Up);
        }
    }

    /// It is not, and why.
    pub(super) fn down(&mut self, why: String) {
        let line = Line::Down(why.clone());
        if self.line != line {
            tracing::warn!(source = self.source.0, "{why}");
            self.change(line, Notice::Down(why));
        }
    }

    fn change(&mut self, line: Line, notice: Notice) {
        self.health.set(line.clone());
        self.line = line;
        self.untold = Some(notice);
    }

    /// Goes on telling; returns when all is told. It may be dropped and called again at any time.
    ///
    /// # Errors
    /// When the daemon is stopping.
    pub(super) async fn tell(&mut self) -> Result<(), Closed> {
        loop {
            if self.telling.is_none() {
                let Some(notice) = self.untold.take() else {
                    return Ok(());
                };
                let (intake, source) = (self.intake.clone(), self.source);
                let telling = async move { intake.tell(source, notice).await };
                self.telling = Some(ReusableBoxFuture::new(telling));
            }
            if let Some(telling) = &mut self.telling {
                let told = telling.await;
                self.telling = None;
                told?;
            }
        }
    }

    /// As [`Teller::tell`], but where nothing is to be told it never returns.
    pub(super) async fn tell_if_any(&mut self) -> Result<(), Closed> {
        if self.telling.is_none() && self.untold.is_none() {
            return std::future::pending().await;
        }
        self.tell().await
    }
}
