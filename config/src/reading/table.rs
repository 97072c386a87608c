//! One table of a file: its keys taken one by one, and the rest named.

use std::cell::RefCell;

use toml::de::DeTable;

use super::{Ground, Node, Reading};
use crate::problem::suggestion;

/// Takes the keys of one table.
pub(crate) struct TableReader<'a> {
    reading: &'a Reading<'a>,
    path: String,
    table: &'a DeTable<'a>,
    start: usize,
    asked: RefCell<Vec<&'static str>>,
}

impl<'a> TableReader<'a> {
    pub(super) fn new(
        reading: &'a Reading<'a>,
        path: String,
        table: &'a DeTable<'a>,
        start: usize,
    ) -> TableReader<'a> {
        TableReader {
            reading,
            path,
            table,
            start,
            asked: RefCell::default(),
        }
    }

    /// A key dotted from the top; in quotes where it could not stand bare, so that it stays one line.
    fn path_of(&self, key: &str) -> String {
        let bare = |letter: char| letter.is_ascii_alphanumeric() || letter == '-' || letter == '_';
        let key = if !key.is_empty() && key.len() <= 64 && key.chars().all(bare) {
            key.to_owned()
        } else {
            crate::problem::quoted(key)
        };
        if self.path.is_empty() {
            key
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// The value of a key that may be missing.
    pub(crate) fn optional(&self, key: &'static str) -> Option<Node<'a>> {
        self.asked.borrow_mut().push(key);
        Some(Node {
            reading: self.reading,
            path: self.path_of(key),
            value: self.table.get(key)?,
        })
    }

    /// Keys that belong here though nobody can read them, since what they depend on is wrong.
    pub(crate) fn pass_over(&self, keys: &[&'static str]) {
        self.asked.borrow_mut().extend(keys);
    }

    /// The text of a key, without a word about it if it is none.
    pub(crate) fn glance(&self, key: &str) -> Option<&'a str> {
        self.table.get(key)?.get_ref().as_str()
    }

    /// Whether a key is there.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// The value of a key that must be there; `example` is how to write it.
    pub(crate) fn required(&self, key: &'static str, example: &str) -> Option<Node<'a>> {
        let node = self.optional(key);
        if node.is_none() {
            self.report(key, "is missing", format!("add {key} = {example}"));
        }
        node
    }

    /// The tables of `[[key]]`.
    pub(crate) fn tables(&self, key: &'static str) -> Vec<(Node<'a>, TableReader<'a>)> {
        let elements = self.optional(key).and_then(|node| node.elements());
        elements
            .into_iter()
            .flatten()
            .filter_map(|node| node.table().map(|table| (node, table)))
            .collect()
    }

    /// Reports that something of this table is not there: the key, or if it is empty the whole table.
    pub(crate) fn report(&self, key: &str, what: impl Into<String>, remedy: impl Into<String>) {
        let path = if key.is_empty() {
            self.path.clone()
        } else {
            self.path_of(key)
        };
        let problem = self
            .reading
            .problem(self.start, &path, what.into(), remedy.into());
        self.reading.report(problem, Ground::Absent);
    }

    /// Says of this table that something deserves a look.
    pub(crate) fn warn(&self, what: impl Into<String>, remedy: impl Into<String>) {
        let warning = self
            .reading
            .problem(self.start, &self.path, what.into(), remedy.into());
        self.reading.warnings.borrow_mut().push(warning);
    }

    /// Names the keys that nobody asked for.
    pub(crate) fn finish(&self) {
        let mut known = self.asked.borrow().clone();
        known.sort_unstable();
        known.dedup();
        for (name, value) in self.table.iter() {
            let key = name.get_ref().as_ref();
            if known.binary_search(&key).is_err() {
                let offset = name.span().start.min(value.span().start);
                let remedy = suggestion(key, &known);
                let path = self.path_of(key);
                let problem =
                    self.reading
                        .problem(offset, &path, "is unknown here".to_owned(), remedy);
                self.reading.report(problem, Ground::Written);
            }
        }
    }
}
