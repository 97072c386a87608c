//! Tables of what the journal holds: columns that say what they mean, cells, and both as CSV (RFC 4180).
//!
//! UTF-8, the columns' names in the first line. Moments are RFC 3339 in UTC; where nothing is known the cell is empty.

use chrono::{DateTime, SecondsFormat};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
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
pub struct Column {
    /// Its name, with the unit of what it holds.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// What it says.
    pub told: &'static str,
}

/// A column of a kind.
pub const fn column(name: &'static str, kind: Kind, told: &'static str) -> Column {
    Column { name, kind, told }
}

/// The columns with what they say, a line each.
pub fn listed(columns: &[Column]) -> String {
    let width = columns.iter().map(|own| own.name.len()).max();
    let width = width.unwrap_or(0);
    columns
        .iter()
        .map(|own| format!("{:width$}  {}\n", own.name, own.told))
        .collect()
}

/// What stands in a row of a column.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing is known.
    None,
    /// A whole number.
    Whole(i64),
    /// A number.
    Number(f64),
    /// A moment: microseconds since 1970-01-01 00:00 UTC.
    Moment(i64),
    /// A text.
    Text(String),
    /// Yes or no.
    Truth(bool),
}

impl Cell {
    /// A number, where it is known.
    pub fn number(own: Option<f64>) -> Cell {
        own.map_or(Cell::None, Cell::Number)
    }

    /// A count.
    pub fn count(own: u64) -> Cell {
        i64::try_from(own).map_or(Cell::None, Cell::Whole)
    }

    /// A count, where it is known.
    pub fn some_count(own: Option<u64>) -> Cell {
        own.map_or(Cell::None, Cell::count)
    }

    /// A text, where there is one.
    pub fn text(own: Option<impl Into<String>>) -> Cell {
        own.map_or(Cell::None, |own| Cell::Text(own.into()))
    }
}

/// The first line of a table as CSV: its columns' names.
pub fn csv_head(columns: &[Column]) -> String {
    let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
    names.join(",") + "\n"
}

/// A row as a line of CSV.
pub fn csv_line(cells: Vec<Cell>) -> String {
    let cells: Vec<String> = cells.into_iter().map(written).collect();
    cells.join(",") + "\n"
}

fn written(cell: Cell) -> String {
    match cell {
        Cell::None => String::new(),
        Cell::Whole(number) => number.to_string(),
        // As many digits as it takes to read the same number again.
        Cell::Number(number) => number.to_string(),
        Cell::Moment(micros) => DateTime::from_timestamp_micros(micros)
            .map_or_else(String::new, |time| {
                time.to_rfc3339_opts(SecondsFormat::Micros, true)
            }),
        Cell::Truth(truth) => truth.to_string(),
        Cell::Text(text) if text.contains([',', '"', '\n', '\r']) => {
            format!("\"{}\"", text.replace('"', "\"\""))
        }
        Cell::Text(text) => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4180, sections 2.5 to 2.7; a number is read back to the bit.
    #[test]
    fn rows_are_lines_and_nothing_known_is_an_empty_cell() {
        let columns = [
            column("at", Kind::Moment, ""),
            column("celsius", Kind::Number, ""),
            column("why", Kind::Text, ""),
        ];
        let row = vec![
            Cell::Moment(1),
            Cell::Number(0.1 + 0.2),
            Cell::Text("12\" hoops, red".to_owned()),
        ];
        let nothing = vec![Cell::None, Cell::None, Cell::None];
        let text = csv_head(&columns) + &csv_line(row) + &csv_line(nothing);
        let expected = "at,celsius,why\n\
            1970-01-01T00:00:00.000001Z,0.30000000000000004,\"12\"\" hoops, red\"\n,,\n";
        assert_eq!(text, expected);
    }
}
