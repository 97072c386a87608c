//! A bar for a person who waits, on standard error and only if that is a terminal.

use std::io::IsTerminal;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

/// Nobody wants a bar for less.
const PATIENCE: Duration = Duration::from_secs(1);

pub(super) struct Bar {
    what: &'static str,
    begun: Instant,
    watched: bool,
    shown: Option<ProgressBar>,
}

impl Bar {
    pub(super) fn new(what: &'static str) -> Bar {
        Bar {
            what,
            begun: Instant::now(),
            watched: std::io::stderr().is_terminal(),
            shown: None,
        }
    }

    /// So much is done.
    pub(super) fn set(&mut self, done: u64, total: u64) {
        if !self.watched {
            return;
        }
        if self.shown.is_none() && self.begun.elapsed() > PATIENCE {
            let style = ProgressStyle::with_template("{msg} {wide_bar} {percent} %  {eta} left");
            let style = style.unwrap_or_else(|_| ProgressStyle::default_bar());
            let bar = ProgressBar::new(total).with_style(style);
            self.shown = Some(bar.with_message(self.what));
        }
        if let Some(bar) = &self.shown {
            bar.set_length(total);
            bar.set_position(done);
        }
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        if let Some(bar) = &self.shown {
            bar.finish_and_clear();
        }
    }
}
