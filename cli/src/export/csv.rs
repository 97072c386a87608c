//! A table as CSV, into a file as its rows come.

use std::io::Write;

use inkdwell_daemon::table::{Cell, Column, csv_head, csv_line};

use super::table::Rows;
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
        csv.line(&csv_head(columns))?;
        Ok(csv)
    }

    fn line(&mut self, line: &str) -> Result<(), Failure> {
        let written = self.out.write_all(line.as_bytes());
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
        self.line(&csv_line(cells))
    }
}
