//! A table as CSV (RFC 4180), UTF-8, the columns' names in its first line. Moments are RFC 3339 in UTC; where nothing is
//! known the cell is empty.

use std::io::Write;

use chrono::{DateTime, SecondsFormat};

use super::table::{Cell, Column, Rows};
use crate::failure::Failure;

/// Writes rows as lines.
pub(crate) struct Csv<W: Write> {
    out: W,
    name: String,
}

impl<W: Write> Csv<W> {
    /// Begins with the columns' names; `name` is what a failure calls the file.
    pub(crate) fn new(out: W, name: &str, columns: &[Column]) -> Result<Csv<W>, Failure> {
        let mut csv = Csv {
            out,
            name: name.to_owned(),
        };
        let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
        csv.line(&names.join(","))?;
        Ok(csv)
    }

    fn line(&mut self, line: &str) -> Result<(), Failure> {
        let written = writeln!(self.out, "{line}");
        written.map_err(|error| failed(&self.name, error))
    }

    /// Ends the file.
    pub(crate) fn finish(mut self) -> Result<W, Failure> {
        let flushed = self.out.flush();
        flushed.map_err(|error| failed(&self.name, error))?;
        Ok(self.out)
    }
}

pub(super) fn failed(name: &str, error: impl std::fmt::Display) -> Failure {
    Failure::of_file(
        name,
        format_args!("cannot be written ({error})"),
        "check its disk and its rights",
    )
}

impl<W: Write> Rows for Csv<W> {
    fn row(&mut self, cells: Vec<Cell>) -> Result<(), Failure> {
        let cells: Vec<String> = cells.into_iter().map(written).collect();
        self.line(&cells.join(","))
    }
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
    use super::super::table::{Kind, column};
    use super::*;

    /// RFC 4180, sections 2.5 to 2.7; a number is read back to the bit.
    #[test]
    fn rows_are_lines_and_nothing_known_is_an_empty_cell() {
        let columns = [
            column("at", Kind::Moment, ""),
            column("celsius", Kind::Number, ""),
            column("why", Kind::Text, ""),
        ];
        let mut csv = Csv::new(Vec::new(), "x", &columns).unwrap();
        let row = |own: f64, why: &str| {
            vec![
                Cell::Moment(1),
                Cell::Number(own),
                Cell::Text(why.to_owned()),
            ]
        };
        csv.row(row(0.1 + 0.2, "12\" hoops, red")).unwrap();
        csv.row(vec![Cell::None, Cell::None, Cell::None]).unwrap();
        let text = String::from_utf8(csv.finish().unwrap()).unwrap();
        let expected = "at,celsius,why\n\
            1970-01-01T00:00:00.000001Z,0.30000000000000004,\"12\"\" hoops, red\"\n,,\n";
        assert_eq!(text, expected);
    }
}
