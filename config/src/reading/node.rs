//! One value of a file with its place.

use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::DeValue;

use super::{Ground, Reading, TableReader};
use crate::problem::{quoted, suggestion};
use crate::unit::Quantity;

/// One value with its place.
#[derive(Clone)]
pub(crate) struct Node<'a> {
    pub(super) reading: &'a Reading<'a>,
    /// Its key, dotted from the top.
    pub(super) path: String,
    pub(super) value: &'a Spanned<DeValue<'a>>,
}

impl<'a> Node<'a> {
    /// Reports a problem at this value.
    pub(crate) fn report(&self, what: impl Into<String>, remedy: impl Into<String>) {
        self.report_on(Ground::Written, what.into(), remedy.into());
    }

    /// Reports that what this value refers to is not there.
    pub(crate) fn report_vain(&self, what: impl Into<String>, remedy: impl Into<String>) {
        self.report_on(Ground::Absent, what.into(), remedy.into());
    }

    fn report_on(&self, ground: Ground, what: String, remedy: String) {
        let start = self.value.span().start;
        let problem = self.reading.problem(start, &self.path, what, remedy);
        self.reading.report(problem, ground);
    }

    /// Reports something at this value that deserves a look.
    pub(crate) fn warn(&self, what: impl Into<String>, remedy: impl Into<String>) {
        let start = self.value.span().start;
        let warning = self
            .reading
            .problem(start, &self.path, what.into(), remedy.into());
        self.reading.warnings.borrow_mut().push(warning);
    }

    /// The value as it is written in the file, on one line and cut short where it is long.
    pub(crate) fn written(&self) -> String {
        const LONGEST: usize = 48;
        let text = self.reading.text.get(self.value.span());
        let text = text.unwrap_or_default();
        let mut letters = text.chars().map(|letter| match letter {
            letter if letter.is_control() => ' ',
            letter => letter,
        });
        let mut written: String = letters.by_ref().take(LONGEST).collect();
        if letters.next().is_some() {
            written.push_str("...");
        }
        written
    }

    fn wrong_type(&self, expected: &str) {
        let found = match self.value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or a time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        self.report(
            format!("{} is {found}", self.written()),
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

    /// A text that is not empty.
    pub(crate) fn words(&self) -> Option<String> {
        let text = self.text()?;
        if text.trim().is_empty() {
            self.report("is empty", "write something between the quotes");
            return None;
        }
        Some(text)
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
        let Some(text) = self.raw_number() else {
            self.wrong_type("a number without quotes and without a unit");
            return None;
        };
        let number = text.parse::<f64>().ok().filter(|number| number.is_finite());
        if number.is_none() {
            self.report(
                format!("{} is no finite number", self.written()),
                "write a number",
            );
        }
        number
    }

    /// A whole number in a range.
    pub(crate) fn whole(&self, range: RangeInclusive<u64>) -> Option<u64> {
        let expected = format!("a whole number from {} to {}", range.start(), range.end());
        let Some(text) = self.raw_number() else {
            self.wrong_type(&format!("{expected}, without quotes"));
            return None;
        };
        let number = text.parse::<u64>().ok();
        let number = number.filter(|number| range.contains(number));
        if number.is_none() {
            self.report(format!("{} is not {expected}", self.written()), "write one");
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
            (DeValue::String(text), _) => text.as_ref(),
            (_, Some(number)) => number,
            _ => {
                let example = Q::EXAMPLE.trim_start_matches("write ");
                self.wrong_type(&format!("{} in quotes, {example}", Q::NAME));
                return None;
            }
        };
        match Q::parse(text) {
            Ok(quantity) => Some(quantity),
            Err(error) => {
                self.report(error.what, error.remedy);
                None
            }
        }
    }

    /// A quantity that is not zero.
    pub(crate) fn above_zero<Q: Quantity + Copy + Into<f64>>(&self) -> Option<Q> {
        let quantity: Q = self.quantity()?;
        if quantity.into() <= 0.0 {
            self.report(format!("{} is not above zero", self.written()), Q::EXAMPLE);
            return None;
        }
        Some(quantity)
    }

    /// One of a few words.
    pub(crate) fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Option<T> {
        let text = self.text()?;
        let found = choices.iter().find(|(name, _)| *name == text);
        if found.is_none() {
            let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
            self.report(
                format!("{} is unknown here", quoted(&text)),
                suggestion(&text, &names),
            );
        }
        found.map(|(_, value)| *value)
    }

    /// A day, written as TOML's own date or in quotes.
    pub(crate) fn day(&self) -> Option<chrono::NaiveDate> {
        let day = match self.value.get_ref() {
            DeValue::String(text) => text.parse().ok(),
            DeValue::Datetime(written) => written.date.and_then(|date| {
                let (year, month, day) = (date.year.into(), date.month.into(), date.day.into());
                chrono::NaiveDate::from_ymd_opt(year, month, day)
            }),
            _ => None,
        };
        if day.is_none() {
            self.report(
                format!("{} is no day", self.written()),
                "write it as \"2026-01-31\"",
            );
        }
        day
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

    /// The texts of an array; what is none is reported and left out.
    pub(crate) fn texts(&self) -> Vec<String> {
        let elements = self.elements().unwrap_or_default();
        elements.iter().filter_map(Node::text).collect()
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
