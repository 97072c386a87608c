//! What is wrong in a trace file: line, field, and what to do about it.

use inkdwell_config::problem::Problem;
use thiserror::Error;

/// Texts of a file are quoted up to this many characters.
const LONGEST_QUOTE: usize = 40;

/// Why a trace file cannot be read. The file's name is added by whoever opened it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("line {line}: {}{what}; {remedy}", field_prefix(.field.as_deref()))]
pub struct TraceFileError {
    /// The line, from 1.
    pub line: u64,
    /// The column's name, where it is one in particular.
    pub field: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl TraceFileError {
    /// An error of a whole line.
    pub fn of_line(line: u64, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            line,
            field: None,
            what: what.into(),
            remedy: remedy.into(),
        }
    }

    /// An error in a column.
    pub fn of_field(
        line: u64,
        field: &str,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            field: Some(shortened(field)),
            ..Self::of_line(line, what, remedy)
        }
    }

    /// The same as a problem of a named file.
    pub fn into_problem(self, file: &str) -> Problem {
        Problem {
            file: file.to_owned(),
            line: Some(self.line),
            key: self.field.unwrap_or_default(),
            what: self.what,
            remedy: self.remedy,
        }
    }
}

fn field_prefix(field: Option<&str>) -> String {
    field.map_or_else(String::new, |field| format!("{field}: "))
}

/// A text fit for one line of a message: no control characters, and not long.
fn shortened(text: &str) -> String {
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
pub(crate) fn quoted(text: &[u8]) -> String {
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
    fn an_error_is_a_sentence_with_line_and_field() {
        let error = TraceFileError::of_field(3, "time_s", "\"later\" is no time", "write seconds");
        assert_eq!(
            error.to_string(),
            "line 3: time_s: \"later\" is no time; write seconds"
        );
        assert_eq!(
            error.into_problem("a.csv").to_string(),
            "a.csv:3: time_s: \"later\" is no time; write seconds"
        );
    }
}
