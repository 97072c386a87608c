//! The questions about one source: how it is reached, and how what it says is read. One file for each kind.

mod line;
mod messages;
mod registers;

use super::plan::{Source, Wire};
use super::state::{State, Step};
use crate::probe::listen::heard::Reading;

pub(super) use messages::AGAIN;
pub(super) use registers::DONE;

/// A channel that a source has.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub(super) name: String,
    /// What it said last.
    pub(super) last: Option<Reading>,
    /// Whether the source says the unit itself.
    pub(super) says_unit: bool,
}

/// An id for a source; no two are alike.
pub(super) fn id(answer: &str, others: &[Source]) -> String {
    let plain = match answer.split(' ').next() {
        Some("serial") => "probes",
        Some("mqtt") => "broker",
        Some("modbus") => "controllers",
        _ => "simulated-shop",
    };
    unlike(plain, |id| others.iter().any(|own| own.id == id))
}

/// How a source is reached and read, and the channels that it has.
pub(super) fn wire(state: &State, number: usize, answer: &str) -> Result<(Wire, Vec<Found>), Step> {
    let (word, rest) = answer.split_once(' ').unwrap_or((answer, ""));
    match word {
        "serial" => line::wire(state, number, rest),
        "mqtt" => messages::wire(state, number, rest),
        "modbus" => registers::wire(state, number, rest),
        _ => Ok((Wire::Simulated, Vec::new())),
    }
}

/// A name that can be an id too.
fn channel_name(name: &str) -> Result<(), String> {
    let fits = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_' | '.');
    match name.len() <= 64 && name.chars().all(fits) {
        true => Ok(()),
        false => Err(format!(
            "{name:?} is no name; use up to 64 letters, digits, -, _ and . without spaces"
        )),
    }
}

/// An id of what a channel can be called.
pub(super) fn id_of(name: &str) -> String {
    let fit = |letter: char| match letter.is_alphanumeric() || matches!(letter, '-' | '_' | '.') {
        true => letter,
        false => '-',
    };
    let id: String = name.chars().take(40).map(fit).collect();
    if id.is_empty() {
        "value".to_owned()
    } else {
        id
    }
}

/// A name that is not taken yet: itself, or with a number behind it.
pub(super) fn unlike(name: &str, taken: impl Fn(&str) -> bool) -> String {
    let numbered = (2..).map(|number| format!("{name}-{number}"));
    let mut names = std::iter::once(name.to_owned()).chain(numbered);
    names
        .find(|name| !taken(name))
        .unwrap_or_else(|| name.to_owned())
}
