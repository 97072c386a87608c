//! Reading a TOML file to its end, whatever is wrong in it.
//!
//! A [`Reading`] collects problems; a [`TableReader`] takes the keys of one table and in the end names
//! those that nobody asked for; a [`Node`] is one value with its place. Whoever reads a value reports
//! what is wrong with it and gives `None`, so that the rest is read all the same.

mod broken;
mod file;
mod node;
mod table;

use std::cell::RefCell;

use toml::de::DeTable;

use crate::problem::{Checked, Problem};

pub use file::{decode, read_file};
pub(crate) use node::Node;
pub(crate) use table::TableReader;

/// What a problem rests on, which decides whether it stands in a file that is not quite TOML.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ground {
    /// On something that is written there.
    Written,
    /// On something that is not there, or that another place refers to in vain.
    Absent,
}

/// One file being read.
pub(crate) struct Reading<'a> {
    file: &'a str,
    text: &'a str,
    /// Where each line begins.
    lines: Vec<usize>,
    problems: RefCell<Vec<(Problem, Ground)>>,
    warnings: RefCell<Vec<Problem>>,
}

impl<'a> Reading<'a> {
    /// Parses a text and hands its top table to `read`; gives what it made, problems and warnings.
    pub(crate) fn of<T>(
        file: &'a str,
        text: &'a str,
        read: impl FnOnce(&TableReader<'_>) -> T,
    ) -> Checked<T> {
        let (readable, blanked) = broken::readable(text);
        let ends = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
        let lines = std::iter::once(0).chain(ends.map(|(at, _)| at + 1));
        let reading = Reading {
            file,
            text,
            lines: lines.collect(),
            problems: RefCell::default(),
            warnings: RefCell::default(),
        };
        let (document, errors) = DeTable::parse_recoverable(&readable);
        let top = TableReader::new(&reading, String::new(), document.get_ref(), 0);
        let value = read(&top);
        top.finish();
        let broken = broken::Broken::of(&reading, &errors, blanked);
        let found = reading.problems.into_inner();
        let mut problems = broken.merge(found);
        let mut warnings = reading.warnings.into_inner();
        problems.sort_by_key(|problem| problem.line);
        warnings.sort_by_key(|warning| warning.line);
        Checked {
            value,
            problems,
            warnings,
        }
    }

    /// The line of a place in the text, from 1.
    fn line_of(&self, offset: usize) -> u64 {
        self.lines.partition_point(|start| *start <= offset) as u64
    }

    /// The text of a line, from 1.
    fn line(&self, number: u64) -> &'a str {
        let number = number as usize;
        let start = self.lines.get(number.saturating_sub(1)).copied();
        let end = self.lines.get(number).copied();
        let end = end.unwrap_or(self.text.len());
        let line = start.and_then(|start| self.text.get(start..end));
        line.unwrap_or_default().trim()
    }

    fn problem(&self, offset: usize, key: &str, what: String, remedy: String) -> Problem {
        Problem {
            file: self.file.to_owned(),
            line: Some(self.line_of(offset)),
            key: key.to_owned(),
            what,
            remedy,
        }
    }

    fn report(&self, problem: Problem, ground: Ground) {
        self.problems.borrow_mut().push((problem, ground));
    }
}
