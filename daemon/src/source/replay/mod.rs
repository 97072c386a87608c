//! Trace files, played again as if they happened now.
//!
//! Every column of the file is a channel by its name without the unit: `film_c` is `film`. Temperatures come
//! in °C, also those of `_f` and `_mv` columns, belt speeds in their column's unit, counts as they are: so
//! the probes of a replay declare `unit = "C"`.
//!
//! Each reading carries a device time: when the trace began, and its own seconds since. A trace began when
//! its note `started` says, else when its first row says in RFC 3339, else when the replay did. It goes on
//! in the trace's own seconds also where the replay runs faster, ahead of the wall clock then, so that what
//! is computed from it is what was measured. A restart begins the file anew.

pub(in crate::source) mod player;

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use inkdwell_cure::trace_file::{Cell, Layout, NoteScanner, Notes, Reader};
use tokio::sync::mpsc::{self, Sender};
use tokio_util::sync::CancellationToken;

use self::player::{AHEAD, Channels, Player, Step, now};
use crate::intake::{Intake, SourceId};
use crate::source::health::Health;

/// So many bytes are read at once.
const CHUNK: usize = 64 * 1024;

/// Plays a file, `faster` times as fast as it happened, until its end or until it is told to stop. A file that
/// cannot be read, or stops being a trace file at some line, is a notice and the end.
pub async fn run(
    source: SourceId,
    file: PathBuf,
    faster: f64,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    let (sender, rows) = mpsc::channel(AHEAD);
    // It ends by itself when nobody takes its rows any more.
    tokio::task::spawn_blocking(move || {
        if let Err(End::Refused(why)) = read(&file, &sender) {
            // If nobody takes this either, the daemon is stopping.
            let _ = sender.blocking_send(Step::Failed(why));
        }
    });
    let player = Player {
        source,
        faster,
        intake,
        health,
        stop,
    };
    player.play(rows).await;
}

/// Why reading ended before the file did.
enum End {
    /// The file is none that can be played.
    Refused(String),
    /// Nobody listens any more.
    Unheard,
}

fn read(path: &Path, rows: &Sender<Step>) -> Result<(), End> {
    let name = path.display();
    let unreadable = |error: std::io::Error| {
        End::Refused(format!(
            "the trace file {name} cannot be read ({}); correct file in the shop file, or let the daemon's user read it",
            error.kind()
        ))
    };
    let notes = notes(path).map_err(unreadable)?;
    let started = started(path, &notes)?;
    let mut file = File::open(path).map_err(unreadable)?;
    let mut reading = Reading {
        reader: Reader::new(Layout::default()),
        started,
        channels: None,
        rows,
    };
    let mut chunk = vec![0; CHUNK];
    loop {
        let count = file.read(&mut chunk).map_err(unreadable)?;
        let fed = match count {
            0 => reading.finish(),
            count => reading.feed(chunk.get(..count).unwrap_or_default()),
        };
        match fed {
            Ok(()) if count == 0 => return Ok(()),
            Ok(()) => {}
            Err(Fed::Unheard) => return Err(End::Unheard),
            Err(Fed::Refused(why)) => return Err(End::Refused(format!("{name}: {why}"))),
        }
    }
}

fn notes(path: &Path) -> Result<Notes, std::io::Error> {
    let mut scanner = NoteScanner::new();
    let mut file = File::open(path)?;
    let mut chunk = vec![0; CHUNK];
    loop {
        match file.read(&mut chunk)? {
            0 => return Ok(scanner.finish()),
            count => scanner.feed(chunk.get(..count).unwrap_or_default()),
        }
    }
}

/// What the note `started` says, in microseconds since 1970.
fn started(path: &Path, notes: &Notes) -> Result<Option<i64>, End> {
    let Some(note) = notes.get("started") else {
        return Ok(None);
    };
    match chrono::DateTime::parse_from_rfc3339(note.value.trim()) {
        Ok(time) => Ok(Some(time.timestamp_micros())),
        Err(_) => Err(End::Refused(format!(
            "{}:{}: started: {:?} is no time; write it as 2026-02-03T04:05:06Z",
            path.display(),
            note.line,
            note.value
        ))),
    }
}

/// Why feeding ended.
pub(in crate::source) enum Fed {
    /// What was fed is no trace file, in the words of its reader.
    Refused(String),
    /// Nobody listens any more.
    Unheard,
}

/// Turns the text of a trace into rows for the player.
pub(in crate::source) struct Reading<'a> {
    pub(in crate::source) reader: Reader,
    /// When the trace began, where something outside its rows says so.
    pub(in crate::source) started: Option<i64>,
    /// Known with the first row.
    pub(in crate::source) channels: Option<Channels>,
    pub(in crate::source) rows: &'a Sender<Step>,
}

impl Reading<'_> {
    pub(in crate::source) fn feed(&mut self, bytes: &[u8]) -> Result<(), Fed> {
        let mut rows: Vec<(f64, Vec<Cell>)> = Vec::new();
        let mut sink = |seconds: f64, cells: &[Cell]| rows.push((seconds, cells.to_vec()));
        let read = self.reader.feed(bytes, &mut sink);
        self.send(rows)?;
        read.map_err(|error| Fed::Refused(error.to_string()))
    }

    pub(in crate::source) fn finish(&mut self) -> Result<(), Fed> {
        let mut rows: Vec<(f64, Vec<Cell>)> = Vec::new();
        let mut sink = |seconds: f64, cells: &[Cell]| rows.push((seconds, cells.to_vec()));
        let read = self.reader.finish(&mut sink);
        self.send(rows)?;
        read.map_err(|error| Fed::Refused(error.to_string()))
    }

    fn send(&mut self, rows: Vec<(f64, Vec<Cell>)>) -> Result<(), Fed> {
        for (seconds, cells) in rows {
            let (reader, started) = (&self.reader, self.started);
            let channels = self.channels.get_or_insert_with(|| {
                let told = || reader.started().map(|nanoseconds| nanoseconds / 1000);
                let base = started.or_else(told).unwrap_or_else(now);
                Channels::new(reader.columns(), base)
            });
            let step = channels.row(seconds, &cells);
            self.rows.blocking_send(step).map_err(|_| Fed::Unheard)?;
        }
        Ok(())
    }
}
