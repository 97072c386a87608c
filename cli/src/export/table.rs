//! Columns and cells.

use crate::failure::Failure;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A whole number.
    Whole,
    /// A number.
    Number,
    /// A moment: microseconds since 1970-01-01 00:00 UTC.
    Moment,
    /// A text.
    Text,
    /// Yes or no.
    Truth,
}

/// A column.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Column {
    pub(crate) name: &'static str,
    pub(crate) kind: Kind,
    /// What it says.
    pub(crate) told: &'static str,
}

/// A column of a kind.
pub(crate) const fn column(name: &'static str, kind: Kind, told: &'static str) -> Column {
    Column { name, kind, told }
}

/// The columns with what they say, a line each.
pub(crate) fn listed(columns: &[Column]) -> String {
    let width = columns.iter().map(|own| own.name.len()).max();
    let width = width.unwrap_or(0);
    columns
        .iter()
        .map(|own| format!("{:width$}  {}\n", own.name, own.told))
        .collect()
}

/// What stands in a row of a column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    /// Nothing is known.
    None,
    Whole(i64),
    Number(f64),
    Moment(i64),
    Text(String),
    Truth(bool),
}

impl Cell {
    pub(crate) fn number(own: Option<f64>) -> Cell {
        own.map_or(Cell::None, Cell::Number)
    }

    pub(crate) fn count(own: u64) -> Cell {
        i64::try_from(own).map_or(Cell::None, Cell::Whole)
    }

    pub(crate) fn some_count(own: Option<u64>) -> Cell {
        own.map_or(Cell::None, Cell::count)
    }

    pub(crate) fn text(own: Option<impl Into<String>>) -> Cell {
        own.map_or(Cell::None, |own| Cell::Text(own.into()))
    }
}

/// Takes rows as they come.
pub(crate) trait Rows {
    /// One more row; it has a cell for every column.
    fn row(&mut self, cells: Vec<Cell>) -> Result<(), Failure>;
}
