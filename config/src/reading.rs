//! Reading a TOML file to its end, whatever is wrong in it.
//!
//! A [`Reading`] collects problems; a [`TableReader`] takes the keys of one table and in the end names
//! those that nobody asked for; a [`Node`] is one value with its place. Whoever reads a value reports
//! what is wrong with it and gives `None`, so that the rest is read all the same.

use std::cell::RefCell;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::problem::{Problem, suggestion};
use crate::unit::Quantity;

/// No file that people write is larger.
const LARGEST_FILE: u64 = 16 << 20;

/// The text of a file.
///
/// # Errors
/// One problem, when it is no readable UTF-8 file.
pub fn read_file(path: &Path) -> Result<String, Problem> {
    let problem = |what: String, remedy: &str| Problem {
        file: path.display().to_string(),
        line: None,
        key: String::new(),
        what,
        remedy: remedy.to_owned(),
    };
    if path.is_dir() {
        return Err(problem("is a folder".into(), "name a file in it"));
    }
    let file = File::open(path).map_err(|error| {
        problem(
            format!("cannot be opened ({error})"),
            "check its name and rights",
        )
    })?;
    let mut bytes = Vec::new();
    file.take(LARGEST_FILE + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| {
            problem(
                format!("cannot be read ({error})"),
                "check its rights and its disk",
            )
        })?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(problem("is larger than 16 MB".into(), "name a TOML file"));
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(problem("is written in UTF-16".into(), "save it as UTF-8"));
    }
    let text = String::from_utf8(bytes).map_err(|_| {
        problem(
            "is no text in UTF-8".into(),
            "name a TOML file, saved as UTF-8",
        )
    })?;
    Ok(text
        .strip_prefix('\u{FEFF}')
        .map(str::to_owned)
        .unwrap_or(text))
}

/// One file being read.
pub(crate) struct Reading<'a> {
    file: &'a str,
    /// Where each line begins.
    lines: Vec<usize>,
    problems: RefCell<Vec<Problem>>,
    warnings: RefCell<Vec<Problem>>,
}

impl<'a> Reading<'a> {
    /// Parses a text and hands its top table to `read`; gives what it made, problems and warnings.
    pub(crate) fn of<T>(
        file: &'a str,
        text: &'a str,
        read: impl FnOnce(&TableReader<'_>) -> T,
    ) -> crate::problem::Checked<T> {
        let starts = text
            .bytes()
            .enumerate()
            .filter(|(_, byte)| *byte == b'\n')
            .map(|(at, _)| at + 1);
        let lines = std::iter::once(0).chain(starts).collect();
        let reading = Reading {
            file,
            lines,
            problems: RefCell::default(),
            warnings: RefCell::default(),
        };
        let (document, errors) = DeTable::parse_recoverable(text);
        for error in &errors {
            let line = error.span().map(|span| reading.line_of(span.start));
            let what = error.message().lines().collect::<Vec<_>>().join(", ");
            reading.problems.borrow_mut().push(Problem {
                file: file.to_owned(),
                line,
                key: String::new(),
                what: format!("this is not TOML ({what})"),
                remedy: "mend the line".to_owned(),
            });
        }
        let top = TableReader::new(&reading, String::new(), document.get_ref(), 0);
        let value = read(&top);
        if errors.is_empty() {
            top.finish();
        } else {
            // What a broken line hides is not missing.
            reading.problems.borrow_mut().truncate(errors.len());
        }
        let mut problems = reading.problems.into_inner();
        problems.sort_by_key(|problem| problem.line);
        crate::problem::Checked {
            value,
            problems,
            warnings: reading.warnings.into_inner(),
        }
    }

    fn line_of(&self, offset: usize) -> u64 {
        self.lines.partition_point(|start| *start <= offset) as u64
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
}

/// One value with its place.
#[derive(Clone)]
pub(crate) struct Node<'a> {
    reading: &'a Reading<'a>,
    /// Its key, dotted from the top.
    pub(crate) path: String,
    value: &'a Spanned<DeValue<'a>>,
}

impl<'a> Node<'a> {
    /// Reports a problem at this value.
    pub(crate) fn report(&self, what: impl Into<String>, remedy: impl Into<String>) {
        let problem = self.reading.problem(
            self.value.span().start,
            &self.path,
            what.into(),
            remedy.into(),
        );
        self.reading.problems.borrow_mut().push(problem);
    }

    /// Reports something at this value that deserves a look.
    pub(crate) fn warn(&self, what: impl Into<String>, remedy: impl Into<String>) {
        let problem = self.reading.problem(
            self.value.span().start,
            &self.path,
            what.into(),
            remedy.into(),
        );
        self.reading.warnings.borrow_mut().push(problem);
    }

    fn wrong_type(&self, expected: &str) {
        let found = self.value.get_ref().type_str();
        self.report(
            format!("this is of type {found}"),
            format!("write {expected}"),
        );
    }

    /// A text.
    pub(crate) fn text(&self) -> Option<String> {
        let text = self.value.get_ref().as_str().map(str::to_owned);
        if text.is_none() {
            self.wrong_type("a text in quotes");
        }
        text
    }

    /// `true` or `false`.
    pub(crate) fn truth(&self) -> Option<bool> {
        let truth = self.value.get_ref().as_bool();
        if truth.is_none() {
            self.wrong_type("true or false, without quotes");
        }
        truth
    }

    /// A number without a unit.
    pub(crate) fn number(&self) -> Option<f64> {
        let number = self.raw_number().and_then(|text| text.parse::<f64>().ok());
        let number = number.filter(|number| number.is_finite());
        if number.is_none() {
            self.wrong_type("a number, without quotes");
        }
        number
    }

    /// A whole number in a range.
    pub(crate) fn whole(&self, range: std::ops::RangeInclusive<u64>) -> Option<u64> {
        let number = self.raw_number().and_then(|text| text.parse::<u64>().ok());
        let number = number.filter(|number| range.contains(number));
        if number.is_none() {
            let expected = format!("a whole number from {} to {}", range.start(), range.end());
            self.wrong_type(&expected);
        }
        number
    }

    fn raw_number(&self) -> Option<&str> {
        match self.value.get_ref() {
            DeValue::Integer(number) if number.radix() == 10 => Some(number.as_str()),
            DeValue::Float(number) => Some(number.as_str()),
            _ => None,
        }
    }

    /// A quantity with its unit.
    pub(crate) fn quantity<Q: Quantity>(&self) -> Option<Q> {
        let text = match (self.value.get_ref(), self.raw_number()) {
            (DeValue::String(text), _) => text.to_string(),
            (_, Some(number)) => number.to_owned(),
            _ => {
                self.wrong_type(&format!("{} in quotes, {}", Q::NAME, Q::EXAMPLE));
                return None;
            }
        };
        match Q::parse(&text) {
            Ok(quantity) => Some(quantity),
            Err(error) => {
                self.report(error.what, error.remedy);
                None
            }
        }
    }

    /// One of a few words.
    pub(crate) fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Option<T> {
        let text = self.text()?;
        let found = choices
            .iter()
            .find(|(name, _)| *name == text)
            .map(|(_, value)| *value);
        if found.is_none() {
            let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
            self.report(
                format!("{text:?} is unknown here"),
                suggestion(&text, &names),
            );
        }
        found
    }

    /// The elements of an array.
    pub(crate) fn elements(&self) -> Option<Vec<Node<'a>>> {
        let DeValue::Array(array) = self.value.get_ref() else {
            self.wrong_type("a list in square brackets");
            return None;
        };
        let element = |(number, value): (usize, &'a Spanned<DeValue<'a>>)| Node {
            reading: self.reading,
            path: format!("{}[{number}]", self.path),
            value,
        };
        Some(array.iter().enumerate().map(element).collect())
    }

    /// The value as a table.
    pub(crate) fn table(&self) -> Option<TableReader<'a>> {
        let DeValue::Table(table) = self.value.get_ref() else {
            self.wrong_type("a table");
            return None;
        };
        let start = self.value.span().start;
        Some(TableReader::new(
            self.reading,
            self.path.clone(),
            table,
            start,
        ))
    }
}

/// Takes the keys of one table.
pub(crate) struct TableReader<'a> {
    reading: &'a Reading<'a>,
    path: String,
    table: &'a DeTable<'a>,
    start: usize,
    asked: RefCell<Vec<&'static str>>,
}

impl<'a> TableReader<'a> {
    fn new(
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

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// The value of a key that may be missing.
    pub(crate) fn optional(&self, key: &'static str) -> Option<Node<'a>> {
        self.asked.borrow_mut().push(key);
        let (_, value) = self.table.iter().find(|(name, _)| name.get_ref() == key)?;
        Some(Node {
            reading: self.reading,
            path: self.path_of(key),
            value,
        })
    }

    /// The text of a key, without a word about it if it is none.
    pub(crate) fn glance(&self, key: &str) -> Option<&'a str> {
        let (_, value) = self.table.iter().find(|(name, _)| name.get_ref() == key)?;
        value.get_ref().as_str()
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

    /// Reports a problem of this table as a whole, or of a key that is not there.
    pub(crate) fn report(&self, key: &str, what: impl Into<String>, remedy: impl Into<String>) {
        let path = if key.is_empty() {
            self.path.clone()
        } else {
            self.path_of(key)
        };
        let problem = self
            .reading
            .problem(self.start, &path, what.into(), remedy.into());
        self.reading.problems.borrow_mut().push(problem);
    }

    /// Names the keys that nobody asked for.
    pub(crate) fn finish(&self) {
        let asked = self.asked.borrow();
        for (name, value) in self.table.iter() {
            let key = name.get_ref().as_ref();
            if !asked.contains(&key) {
                let mut known = asked.clone();
                known.sort_unstable();
                known.dedup();
                let offset = name.span().start.min(value.span().start);
                let what = "is unknown here".to_owned();
                let remedy = suggestion(key, &known);
                let problem = self
                    .reading
                    .problem(offset, &self.path_of(key), what, remedy);
                self.reading.problems.borrow_mut().push(problem);
            }
        }
    }
}
