//! What is wrong in a trace file: line, field, and what to do about it.

use thiserror::Error;

/// Texts of a file are quoted up to this many characters.
const LONGEST_QUOTE: usize = 40;

/// Why a trace file is refused. The file's name is added by whoever opened it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{}{what}; {remedy}", place(*.line, .field.as_deref()))]
pub struct TraceFileError {
    /// The line, from 1; `None` where it is the whole file.
    pub line: Option<u64>,
    /// The column's whole name.
    pub field: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl TraceFileError {
    pub(crate) fn at(
        line: u64,
        field: Option<&str>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> TraceFileError {
        TraceFileError {
            line: Some(line),
            field: field.map(shortened),
            what: what.into(),
            remedy: remedy.into(),
        }
    }
}

fn place(line: Option<u64>, field: Option<&str>) -> String {
    let line = line.map(|line| format!("{line}: "));
    let field = field.map(|field| format!("{field}: "));
    line.unwrap_or_default() + &field.unwrap_or_default()
}

/// A text fit for one line of a message: no control characters, and not long.
pub(super) fn shortened(text: &str) -> String {
    let mut letters = text.chars().map(|letter| {
        if letter.is_control() {
            char::REPLACEMENT_CHARACTER
        } else {
            letter
        }
    });
    let mut short: String = letters.by_ref().take(LONGEST_QUOTE).collect();
    if letters.next().is_some() {
        short.push('…');
    }
    short
}

/// A text of a file as messages quote it.
pub(super) fn quoted(text: &[u8]) -> String {
    // Four bytes are the longest character, and one more tells that there is more.
    let text = text.get(..4 * LONGEST_QUOTE + 4).unwrap_or(text);
    format!("\"{}\"", shortened(&String::from_utf8_lossy(text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotes_are_short_and_on_one_line() {
        assert_eq!(quoted(b"later"), "\"later\"");
        assert_eq!(quoted(b"a\nb\x1b"), "\"a\u{fffd}b\u{fffd}\"");
        let long = quoted(&[b'x'; 1000]);
        assert_eq!(long.chars().count(), 1 + 40 + 1 + 1);
        assert!(long.ends_with("…\""));
    }

    #[test]
    fn an_error_begins_with_line_and_field() {
        let mut error = TraceFileError::at(3, Some("time_s"), "it goes back", "sort the rows");
        assert_eq!(error.to_string(), "3: time_s: it goes back; sort the rows");
        error.field = None;
        assert_eq!(error.to_string(), "3: it goes back; sort the rows");
        error.line = None;
        assert_eq!(error.to_string(), "it goes back; sort the rows");
    }
}
