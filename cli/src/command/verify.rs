//! `inkdwell verify`: whether a journal is as it was written.

use std::path::Path;

use inkdwell_daemon::journal::{Broken, Head, Reader, Readers, Verification};
use serde::Serialize;

use super::bar::Bar;
use super::library_json::written;
use crate::Outcome;
use crate::arguments::VerifyArguments;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

pub(crate) fn run(typed: &VerifyArguments) -> Result<Outcome, Failure> {
    let expected = typed.head.as_deref().map(head_of).transpose()?;
    let readers = Readers::at(&typed.data).map_err(failed)?;
    let reader = readers.reader().map_err(failed)?;
    let found = gone_over(&reader, expected, readers.file())?;
    if typed.json {
        print(&written(&VerifyJson::new(readers.file(), &found))?)?;
    } else {
        print(&told(readers.file(), &found, Setting::of_stdout()))?;
    }
    Ok(match found.is_sound() {
        true => Outcome::Fine,
        false => Outcome::Finding,
    })
}

fn failed(error: impl std::fmt::Display) -> Failure {
    Failure::new(error.to_string())
}

fn head_of(text: &str) -> Result<Head, Failure> {
    let wrong = |error| Failure::new(format!("--head: {text:?} is none: {error}"));
    text.parse().map_err(wrong)
}

/// Goes over a journal, showing how far it is.
pub(super) fn gone_over(
    reader: &Reader,
    expected: Option<Head>,
    file: &Path,
) -> Result<Verification, Failure> {
    let mut bar = Bar::new("verifying");
    let found = reader.verify(expected, |progress| bar.set(progress.done, progress.total));
    found.map_err(|error| Failure::new(format!("{}: {error}", file.display())))
}

/// What was found, for people.
pub(super) fn told(file: &Path, found: &Verification, setting: Setting) -> String {
    let file = file.display();
    let mut text = match found.is_sound() {
        true => format!("{file}: sound, as it was written.\n"),
        false => format!("{file}: NOT as it was written.\n"),
    };
    for broken in &found.broken {
        text += &setting.wrap("  → ", 4, &format!("{broken}."));
        text.push('\n');
    }
    let forgotten = match found.forgotten_readings {
        0 => String::new(),
        readings => format!("; {readings} older readings were forgotten by age"),
    };
    let gone_over = match found.is_sound() {
        true => "Gone over",
        false => "Gone over before that",
    };
    text += &format!(
        "{gone_over}: {}, {}{forgotten}.\nHead: {}\n",
        counted(found.records, "record"),
        counted(found.readings, "reading"),
        found.head
    );
    text += &setting.wrap(
        "",
        0,
        match found.is_sound() {
            true => {
                "Write the head down where nobody changes it: with --head it proves later that nothing \
                 before it was changed."
            }
            false => {
                "Keep this file as it is, look for the newest backup that verifies, and find out who or \
                 what changed it. What is said of prints from the broken link on proves nothing."
            }
        },
    );
    text + "\n"
}

fn counted(number: u64, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

/// `inkdwell.verify/1`.
#[derive(Serialize)]
struct VerifyJson {
    schema: &'static str,
    file: String,
    sound: bool,
    head: HeadJson,
    records: u64,
    stretches: u64,
    readings: u64,
    forgotten_readings: u64,
    broken: Vec<BrokenJson>,
}

/// The last link of the chain.
#[derive(Serialize)]
pub(super) struct HeadJson {
    record: u64,
    hash: String,
    /// As `--head` takes it.
    text: String,
}

impl HeadJson {
    pub(super) fn new(head: Head) -> HeadJson {
        HeadJson {
            record: head.number.0,
            hash: head.hash.to_string(),
            text: head.to_string(),
        }
    }
}

#[derive(Serialize)]
struct BrokenJson {
    /// `records`, `readings`, `tables` or `file`.
    part: &'static str,
    /// The record at which the chain breaks.
    record: Option<u64>,
    /// Its time, in microseconds since 1970-01-01 UTC.
    at_us: Option<i64>,
    what: String,
}

impl VerifyJson {
    fn new(file: &Path, found: &Verification) -> VerifyJson {
        let json = |broken: &Broken| BrokenJson {
            part: broken.part(),
            record: broken.record(),
            at_us: broken.at().map(|at| at.0),
            what: broken.to_string(),
        };
        VerifyJson {
            schema: "inkdwell.verify/1",
            file: file.display().to_string(),
            sound: found.is_sound(),
            head: HeadJson::new(found.head),
            records: found.records,
            stretches: found.stretches,
            readings: found.readings,
            forgotten_readings: found.forgotten_readings,
            broken: found.broken.iter().map(json).collect(),
        }
    }
}
