//! `inkdwell verify`: whether a journal is as it was written, and whether it supports a report.

use std::path::Path;

use inkdwell_daemon::journal::{Broken, Head, Reader, Readers, Verification};
use inkdwell_daemon::report::Unsupported;
use serde::Serialize;

use super::bar::Bar;
use super::library_json::written;
use super::report::shop_file;
use crate::Outcome;
use crate::arguments::VerifyArguments;
use crate::failure::Failure;
use crate::report::{held, signing};
use crate::terminal::{Setting, print};

pub(crate) fn run(typed: &VerifyArguments) -> Result<Outcome, Failure> {
    match &typed.report {
        Some(report) => of_report(typed, report),
        None => of_journal(typed),
    }
}

/// The journal alone.
fn of_journal(typed: &VerifyArguments) -> Result<Outcome, Failure> {
    let expected = typed.head.as_deref().map(head_of).transpose()?;
    let data = typed.data.as_deref().ok_or_else(|| {
        Failure::new("nothing is named; name the journal's folder with --data, or a report")
    })?;
    let readers = Readers::at(data).map_err(failed)?;
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

/// A report: by its signature, by the journal, or by both.
fn of_report(typed: &VerifyArguments, path: &Path) -> Result<Outcome, Failure> {
    let file = held::read(path)?;
    if typed.public_key.is_none() && typed.data.is_none() {
        return Err(Failure::new(
            "nothing is named that the report could be held against; name the journal's folder with --data, the shop's \
             public key with --public-key, or both",
        ));
    }
    let signed = match &typed.public_key {
        None => None,
        Some(key) => {
            let beside = typed
                .signature
                .clone()
                .unwrap_or_else(|| signing::beside(path));
            Some(signing::is_signed(key, &beside, &file.bytes)?)
        }
    };
    let mut json = ReportJson {
        schema: "inkdwell.verify-report/1",
        file: path.display().to_string(),
        signed,
        supported: None,
        unsupported: None,
        journal: None,
        remarks: Vec::new(),
    };
    let mut text = String::new();
    let setting = Setting::of_stdout();
    if let Some(signed) = signed {
        let what = match signed {
            true => "signed with the shop's key, and not changed since.",
            false => "NOT signed with this key, or changed since it was.",
        };
        text += &(setting.wrap("", 2, &format!("{}: {what}", path.display())) + "\n");
    }
    let mut good = signed != Some(false);
    if let Some(data) = &typed.data {
        let readers = Readers::at(data).map_err(failed)?;
        let reader = readers.reader().map_err(failed)?;
        let shop = typed.shop.as_deref().map(shop_file).transpose()?;
        let expected = head_of(&file.report.journal.head)?;
        let found = gone_over(&reader, Some(expected), readers.file())?;
        text += &told(readers.file(), &found, setting);
        good &= found.is_sound();
        json.journal = Some(VerifyJson::new(readers.file(), &found));
        match held::against(&reader, shop.as_ref(), &file.report) {
            Ok(own) => {
                good &= own.unsupported.is_none();
                text += &supported(path, &own, setting);
                json.supported = Some(own.unsupported.is_none());
                json.unsupported = own.unsupported.as_ref().map(UnsupportedJson::new);
                json.remarks = own.remarks;
            }
            // Of a journal that is broken nothing may be readable any more.
            Err(failure) if found.is_sound() => return Err(failure),
            Err(failure) => {
                failure.say();
                json.supported = Some(false);
            }
        }
    }
    print(&if typed.json { written(&json)? } else { text })?;
    Ok(match good {
        true => Outcome::Fine,
        false => Outcome::Finding,
    })
}

/// Whether the journal supports the report, in words.
fn supported(path: &Path, held: &held::Held, setting: Setting) -> String {
    let file = path.display();
    let mut text = match &held.unsupported {
        None => setting.wrap("", 2, &format!("{file}: the journal supports every figure in it.")),
        Some(own) => setting.wrap(
            "",
            2,
            &format!(
                "{file}: NOT supported by the journal. The first figure that is not is {}: the report says {}, the \
                 journal {}.",
                own.path,
                held::figure(&own.said),
                held::figure(&own.journal)
            ),
        ),
    };
    text.push('\n');
    for remark in &held.remarks {
        text += &(setting.wrap("", 2, remark) + "\n");
    }
    text
}

/// `inkdwell.verify-report/1`.
#[derive(Serialize)]
struct ReportJson {
    schema: &'static str,
    file: String,
    /// Whether the signature is right; null where none was asked for.
    signed: Option<bool>,
    /// Whether the journal supports every figure; null where none was named.
    supported: Option<bool>,
    /// The first figure that it does not support.
    unsupported: Option<UnsupportedJson>,
    journal: Option<VerifyJson>,
    remarks: Vec<String>,
}

#[derive(Serialize)]
struct UnsupportedJson {
    path: String,
    report: serde_json::Value,
    journal: serde_json::Value,
}

impl UnsupportedJson {
    fn new(own: &Unsupported) -> UnsupportedJson {
        UnsupportedJson {
            path: own.path.clone(),
            report: own.said.clone(),
            journal: own.journal.clone(),
        }
    }
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
