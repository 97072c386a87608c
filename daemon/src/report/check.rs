//! Whether a journal still supports a report.
//!
//! The report is gathered anew as the records stood at the head that it names, and every figure is compared: those of
//! single prints first, since all others follow from them.

use chrono::DateTime;
use serde_json::Value;

use super::period::{Asked, When};
use super::{Report, ReportError, ShopFile, gather};
use crate::journal::{Head, Reader};
use crate::time::Micros;

/// A figure that the journal does not support.
#[derive(Debug, Clone, PartialEq)]
pub struct Unsupported {
    /// Where it stands in the report's JSON, such as `batches[0].prints[3].verdict`.
    pub path: String,
    /// What the report says there; null where it says nothing.
    pub said: Value,
    /// What the journal says.
    pub journal: Value,
}

/// The first figure of a report that the journal does not support; `None` where it supports all.
///
/// Neither the moment at which it was made nor the version that made it are figures of the journal; and where the
/// readings behind a curve were forgotten by age since, the curve is not counted against the report. What it says of the
/// chain's head is for [`Reader::verify`] to try.
///
/// # Errors
/// When the journal cannot be read, or has not what the report is about.
pub fn check(
    reader: &Reader,
    shop: Option<&ShopFile>,
    report: &Report,
) -> Result<Option<Unsupported>, ReportError> {
    let head: Option<Head> = report.journal.head.parse().ok();
    let head = head.ok_or(ReportError::NoHead(report.journal.record))?;
    let asked = asked(report);
    // What it took from the journal is taken from there again.
    let shop = shop.filter(|_| report.shop.file_record.is_none());
    let anew = gather(reader, shop, &asked, Some(head), Micros(0))?;
    let (mut said, mut journal) = (serde_json::to_value(report)?, serde_json::to_value(&anew)?);
    for value in [&mut said, &mut journal] {
        if let Some(report) = value.as_object_mut() {
            report.remove("made");
            report.remove("program");
        }
    }
    let own_print = report.reckon_fingerprint()?;
    if own_print != report.journal.fingerprint {
        // The file itself was changed: the comparison below says where, and if it finds nothing, this is it.
        let found = differs("", &said, &journal);
        return Ok(found.or_else(|| {
            Some(Unsupported {
                path: "journal.fingerprint".to_owned(),
                said: Value::from(report.journal.fingerprint.clone()),
                journal: Value::from(own_print),
            })
        }));
    }
    for value in [&mut said, &mut journal] {
        if let Some(journal) = value.get_mut("journal").and_then(Value::as_object_mut) {
            journal.remove("fingerprint");
        }
    }
    Ok(differs("", &said, &journal))
}

/// What a report was asked about.
fn asked(report: &Report) -> Asked {
    let period = &report.period;
    let moment = |text: &Option<String>| {
        let time = DateTime::parse_from_rfc3339(text.as_deref()?).ok()?;
        Some(Micros(time.timestamp_micros()))
    };
    let when = match (period.batch, moment(&period.from), moment(&period.before)) {
        (Some(batch), _, _) => When::Batch(batch),
        (None, Some(from), Some(before)) => When::Range { from, before },
        _ => When::Always,
    };
    Asked {
        when,
        station: period.station.clone(),
        job: period.job.clone(),
    }
}

/// Members that are words about the call and not about prints.
const WORDS: [&str; 2] = ["period.kind", "period.title"];

/// Members that are looked at before the others, and after them.
const FIRST: [&str; 3] = ["batches", "prints", "holds"];
const LAST: [&str; 3] = ["answer", "tomorrow", "journal"];

/// When a member is looked at.
fn turn(name: &str) -> usize {
    let place = |names: &[&str]| names.iter().position(|own| *own == name);
    match (place(&FIRST), place(&LAST)) {
        (Some(place), _) => place,
        (None, Some(place)) => FIRST.len() + 1 + place,
        (None, None) => FIRST.len(),
    }
}

/// The first difference.
fn differs(path: &str, said: &Value, journal: &Value) -> Option<Unsupported> {
    if WORDS.contains(&path) || was_forgotten(path, said, journal) {
        return None;
    }
    match (said, journal) {
        (Value::Object(own), Value::Object(other)) => {
            let more = other.keys().filter(|name| !own.contains_key(*name));
            let mut names: Vec<&String> = own.keys().chain(more).collect();
            names.sort_by_key(|name| (turn(name), name.as_str()));
            for name in names {
                let path = match path.is_empty() {
                    true => name.clone(),
                    false => format!("{path}.{name}"),
                };
                let value =
                    |of: &serde_json::Map<String, Value>| of.get(name).cloned().unwrap_or_default();
                if let Some(found) = differs(&path, &value(own), &value(other)) {
                    return Some(found);
                }
            }
            None
        }
        (Value::Array(own), Value::Array(other)) => {
            for (place, (own, other)) in own.iter().zip(other).enumerate() {
                if let Some(found) = differs(&format!("{path}[{place}]"), own, other) {
                    return Some(found);
                }
            }
            let (more, place) = (own.len().max(other.len()), own.len().min(other.len()));
            (more > place).then(|| Unsupported {
                path: format!("{path}[{place}]"),
                said: own.get(place).cloned().unwrap_or_default(),
                journal: other.get(place).cloned().unwrap_or_default(),
            })
        }
        (own, other) if own == other => None,
        (own, other) => Some(Unsupported {
            path: path.to_owned(),
            said: own.clone(),
            journal: other.clone(),
        }),
    }
}

/// Whether the journal has no readings any more where the report has curves.
fn was_forgotten(path: &str, said: &Value, journal: &Value) -> bool {
    let curves = path == "chamber" || path.ends_with(".rides");
    curves && said.is_array() && journal.get("unknown").is_some()
}
