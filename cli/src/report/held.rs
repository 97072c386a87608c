//! A report's file held against its signature and against the journal.

use std::fs;
use std::path::Path;

use inkdwell_daemon::journal::Reader;
use inkdwell_daemon::report::{self, Report, SCHEMA, ShopFile, Unsupported};
use serde_json::Value;

use crate::failure::Failure;

/// A report's file that was read.
pub(crate) struct ReportFile {
    pub(crate) report: Report,
    pub(crate) bytes: Vec<u8>,
}

/// What holding it against the journal has found.
pub(crate) struct Held {
    /// The first figure that the journal does not support.
    pub(crate) unsupported: Option<Unsupported>,
    /// What has to be known of the comparison.
    pub(crate) remarks: Vec<String>,
}

/// Reads a report's JSON, or the data in its page.
pub(crate) fn read(path: &Path) -> Result<ReportFile, Failure> {
    let file = path.display();
    let bytes = fs::read(path).map_err(|error| {
        Failure::of_file(
            &file,
            format_args!("cannot be read ({error})"),
            "check its name",
        )
    })?;
    if bytes.starts_with(b"%PDF") {
        return Err(Failure::of_file(
            &file,
            "a PDF is for people",
            "hold the .json or .html of the same report against the journal; both print the same fingerprint",
        ));
    }
    let text = String::from_utf8_lossy(&bytes);
    let data = match text.trim_start().starts_with('{') {
        true => Some(text.into_owned()),
        false => report::html::data_of(&text),
    };
    let none = || {
        Failure::of_file(
            &file,
            "holds no report",
            "name the .json or the .html of one",
        )
    };
    let report = serde_json::from_str(&data.ok_or_else(none)?).map_err(|error| {
        Failure::of_file(
            &file,
            format_args!("holds no report of {SCHEMA} ({error})"),
            "was it changed?",
        )
    })?;
    Ok(ReportFile { report, bytes })
}

/// Holds it against the journal.
pub(crate) fn against(
    reader: &Reader,
    shop: Option<&ShopFile>,
    report: &Report,
) -> Result<Held, Failure> {
    let mut remarks = Vec::new();
    let from_journal = report.shop.file_record.is_some();
    match (&report.shop.file_sha256, shop) {
        (Some(_), None) if from_journal => {}
        (Some(_), Some(_)) if from_journal => remarks.push(
            "The report rests on the shop file in the journal; the one that was named is not used.".to_owned(),
        ),
        (Some(_), None) => {
            return Err(Failure::new(
                "the report was made with a shop file that is not the journal's; name it with --shop",
            ));
        }
        (Some(own), Some(file)) if *own != file.sha256 => remarks.push(
            "This is another shop file than the report was made with: what it declares otherwise may differ.".to_owned(),
        ),
        (None, Some(_)) => remarks.push("The report was made without a shop file; it is not used here either.".to_owned()),
        _ => {}
    }
    let shop = shop.filter(|_| report.shop.file_sha256.is_some());
    if report.program != env!("CARGO_PKG_VERSION") {
        remarks.push(format!(
            "The report was made by version {}; this is {}.",
            report.program,
            env!("CARGO_PKG_VERSION")
        ));
    }
    let unsupported =
        report::check(reader, shop, report).map_err(|error| Failure::new(error.to_string()))?;
    Ok(Held {
        unsupported,
        remarks,
    })
}

/// A figure as it stands in a sentence.
pub(crate) fn figure(value: &Value) -> String {
    const LONGEST: usize = 120;
    let text = match value {
        Value::Null => "nothing".to_owned(),
        Value::String(text) => format!("“{text}”"),
        other => other.to_string(),
    };
    match text.chars().count() > LONGEST {
        true => text.chars().take(LONGEST).chain(['…']).collect(),
        false => text,
    }
}
