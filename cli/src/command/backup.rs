//! `inkdwell backup`: a copy of the journal, made while it is written, and verified.

use inkdwell_daemon::journal::Readers;
use serde::Serialize;

use super::bar::Bar;
use super::library_json::written;
use super::verify::{HeadJson, gone_over, told};
use crate::Outcome;
use crate::arguments::BackupArguments;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

pub(crate) fn run(typed: &BackupArguments) -> Result<Outcome, Failure> {
    let failed = |error: &dyn std::fmt::Display| Failure::new(error.to_string());
    let journal = Readers::at(&typed.data).map_err(|error| failed(&error))?;
    let reader = journal.reader().map_err(|error| failed(&error))?;
    let mut bar = Bar::new("copying");
    reader
        .backup(&typed.file, |progress| {
            bar.set(progress.done, progress.total)
        })
        .map_err(|error| failed(&error))?;
    drop(bar);

    let copy = Readers::at(&typed.file).map_err(|error| failed(&error))?;
    let copied = copy.reader().map_err(|error| failed(&error))?;
    let found = gone_over(&copied, None, copy.file())?;
    let bytes = typed.file.metadata().map_or(0, |metadata| metadata.len());
    if typed.json {
        print(&written(&BackupJson {
            schema: "inkdwell.backup/1",
            file: typed.file.display().to_string(),
            bytes,
            sound: found.is_sound(),
            head: HeadJson::new(found.head),
            records: found.records,
            readings: found.readings,
        })?)?;
    } else {
        let setting = Setting::of_stdout();
        let text = format!("Copied, {:.1} MB.\n", bytes as f64 / 1e6);
        print(&(text + &told(copy.file(), &found, setting)))?;
    }
    Ok(match found.is_sound() {
        true => Outcome::Fine,
        // The copy is as broken as the journal; it is kept, since it may be the last.
        false => Outcome::Finding,
    })
}

/// `inkdwell.backup/1`.
#[derive(Serialize)]
struct BackupJson {
    schema: &'static str,
    file: String,
    bytes: u64,
    sound: bool,
    head: HeadJson,
    records: u64,
    readings: u64,
}
