//! A progress bar, for a person who waits.

use std::io::IsTerminal;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

use super::call::Named;

/// Nobody wants a bar for less.
const PATIENCE: Duration = Duration::from_secs(1);

/// Shows how far the reading is, on standard error and only if that is a terminal.
pub(super) struct Progress {
    started: Instant,
    total: u64,
    done: u64,
    watched: bool,
    bar: Option<ProgressBar>,
}

impl Progress {
    /// Each file is gone over twice.
    pub(super) fn new(files: &[Named]) -> Progress {
        let size = |named: &Named| {
            let metadata = named.path.as_ref().and_then(|path| path.metadata().ok());
            metadata.map_or(0, |metadata| metadata.len())
        };
        Progress {
            started: Instant::now(),
            total: 2 * files.iter().map(size).sum::<u64>(),
            done: 0,
            watched: std::io::stderr().is_terminal(),
            bar: None,
        }
    }

    /// So many bytes more have been read.
    pub(super) fn advance(&mut self, bytes: usize) {
        self.done += bytes as u64;
        if !self.watched {
            return;
        }
        if self.bar.is_none() && self.started.elapsed() > PATIENCE {
            let style = ProgressStyle::with_template("{wide_bar} {percent} %  {eta} left");
            let bar = ProgressBar::new(self.total.max(1));
            self.bar = Some(bar.with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar())));
        }
        if let Some(bar) = &self.bar {
            bar.set_position(self.done.min(self.total));
        }
    }

    /// A line on standard error.
    pub(super) fn say(&self, line: &str) {
        match &self.bar {
            Some(bar) => bar.suspend(|| eprintln!("{line}")),
            None => eprintln!("{line}"),
        }
    }

    pub(super) fn finish(&mut self) {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.finish();
    }
}
