//! The rows below the header.
//!
//! Nearly every row is plain: numbers between delimiters, and nothing else. Such rows are read from left
//! to right in one go, many at a time. Whatever is not plain (text, quotes, spaces, notes, anything that
//! is wrong) is left where it is, and read line by line by the careful way, which alone knows errors.

use memchr::memchr3;

use super::LONGEST_LINE;
use super::cell::{self, Cell, Conversions};
use super::error::{TraceFileError, quoted};
use super::header::Header;
use super::layout::Layout;
use super::number::{self, DecimalMark};
use super::split::{Cells, OpenQuote, Splitter};
use super::time::{Instant, TimeParser};

/// Delimiters that are never part of a number or a time.
const PLAIN_DELIMITERS: &[u8] = b",;\t|";

/// Cells of fewer bytes are searched one by one.
const SHORT: usize = 16;

/// What is done with a cell of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Task {
    /// It is passed over.
    Pass,
    /// It is the time.
    Time,
    /// It is read into a column.
    Read(usize),
}

/// Everything that reading rows needs.
#[derive(Debug)]
pub(super) struct Rows {
    pub(super) header: Header,
    pub(super) header_line: u64,
    /// For each cell of a row.
    tasks: Vec<Task>,
    conversions: Conversions,
    splitter: Splitter,
    delimiter: u8,
    mark: DecimalMark,
    time: TimeParser,
    /// Whether plain rows may be read at once.
    plain: bool,
    /// Whether a delimiter at the end of a row is let pass, as some loggers write it.
    foreign: bool,
    first: Option<Instant>,
    last: f64,
    cells: Vec<Cell>,
}

impl Rows {
    /// `wanted` says of each column whether it is read.
    pub(super) fn new(header: Header, header_line: u64, layout: &Layout, wanted: &[bool]) -> Rows {
        let mut tasks = vec![Task::Pass; header.cells];
        for (column, place) in header.places.iter().enumerate() {
            if let (Some(task), Some(true)) = (tasks.get_mut(*place), wanted.get(column)) {
                *task = Task::Read(column);
            }
        }
        if let Some(task) = tasks.get_mut(header.time_places.0) {
            *task = Task::Time;
        }
        let mark = DecimalMark::new(layout.decimal_comma);
        let time = TimeParser::new(header.form.clone(), mark);
        Rows {
            header_line,
            tasks,
            conversions: Conversions::new(&header.columns, header.fahrenheit_junction),
            splitter: Splitter::new(layout.delimiter),
            delimiter: layout.delimiter,
            mark,
            plain: PLAIN_DELIMITERS.contains(&layout.delimiter)
                && layout.delimiter != mark.byte()
                && header.time_places.1.is_none()
                && time.is_plain(),
            time,
            foreign: *layout != Layout::default(),
            first: None,
            last: 0.0,
            cells: vec![Cell::Missing; header.columns.len()],
            header,
        }
    }

    /// Whether there has been a row.
    pub(super) fn any(&self) -> bool {
        self.first.is_some()
    }

    /// The time of the first row in ns since 1970, where the file tells it.
    pub(super) fn started(&self) -> Option<i64> {
        match self.first {
            Some(Instant::Nanoseconds(start)) if self.time.is_absolute() => Some(start),
            _ => None,
        }
    }

    /// Reads plain rows from the beginning of `bytes` until one is not plain or not whole; gives how
    /// many bytes and rows that were.
    #[inline]
    pub(super) fn plain(
        &mut self,
        bytes: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> (usize, u64) {
        let (mut taken, mut rows) = (0, 0);
        while self.plain {
            let Some(length) = bytes.get(taken..).and_then(|rest| self.plain_row(rest)) else {
                break;
            };
            self.conversions.apply(&mut self.cells);
            sink(self.last, &self.cells);
            taken += length;
            rows += 1;
        }
        (taken, rows)
    }

    /// Reads the row at the beginning of `bytes` if it is plain and in order of time; gives its length.
    #[inline]
    fn plain_row(&mut self, bytes: &[u8]) -> Option<usize> {
        if matches!(bytes.first()?, b'#' | b'"' | b' ' | b'\t' | b'\r' | b'\n') {
            return None;
        }
        let mut at = 0;
        let mut instant = None;
        let last = self.tasks.len() - 1;
        for (place, task) in self.tasks.iter().enumerate() {
            let rest = bytes.get(at..)?;
            at += match task {
                Task::Read(column) => {
                    let (cell, length) = self.plain_cell(rest)?;
                    *self.cells.get_mut(*column)? = cell;
                    length
                }
                Task::Time => {
                    let (read, length) = self.time.leading(rest)?;
                    instant = Some(read);
                    length
                }
                Task::Pass => {
                    let end = end_of_cell(rest, self.delimiter)?;
                    (rest.get(end) != Some(&b'"')).then_some(end)?
                }
            };
            if place < last {
                (*bytes.get(at)? == self.delimiter).then_some(())?;
            } else {
                at += usize::from(*bytes.get(at)? == b'\r');
                (*bytes.get(at)? == b'\n').then_some(())?;
            }
            at += 1;
        }
        let instant = instant?;
        let first = self.first.unwrap_or(instant);
        let seconds = instant.since(first);
        // Not a number where it should be, or back in time: the careful way says so.
        (seconds >= self.last && at <= LONGEST_LINE).then_some(())?;
        self.first = Some(first);
        self.last = seconds;
        Some(at)
    }

    /// The cell at the beginning of `text` if it is a number or empty, and its length.
    #[inline]
    fn plain_cell(&self, text: &[u8]) -> Option<(Cell, usize)> {
        match number::leading(text, self.mark.byte()) {
            Some((value, length)) => Some((Cell::Value(value), length)),
            None => {
                let end = *text.first()?;
                let empty = end == self.delimiter || end == b'\n' || end == b'\r';
                empty.then_some((Cell::Missing, 0))
            }
        }
    }

    /// Reads a row the careful way.
    pub(super) fn row(
        &mut self,
        line: u64,
        bytes: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        // Taken out for the time of the row, since its cells borrow it.
        let mut splitter = std::mem::replace(&mut self.splitter, Splitter::new(self.delimiter));
        let read = splitter
            .split(bytes)
            .map_err(|OpenQuote| open_quote(line))
            .and_then(|cells| self.take(line, cells));
        self.splitter = splitter;
        read?;
        self.conversions.apply(&mut self.cells);
        sink(self.last, &self.cells);
        Ok(())
    }

    fn take(&mut self, line: u64, cells: Cells<'_>) -> Result<(), TraceFileError> {
        self.check_count(line, cells)?;
        let seconds = self.time_of(line, cells)?;
        for (place, task) in self.tasks.iter().enumerate() {
            let (Task::Read(column), text) = (task, cells.get(place)) else {
                continue;
            };
            let read = cell::read(text, self.mark).map_err(|cell::OtherMark| {
                let field = self.header.columns.get(*column);
                other_mark(
                    line,
                    field.map(|column| column.header.as_str()),
                    text,
                    self.mark,
                )
            })?;
            if let Some(cell) = self.cells.get_mut(*column) {
                *cell = read;
            }
        }
        self.last = seconds;
        Ok(())
    }

    fn check_count(&self, line: u64, cells: Cells<'_>) -> Result<(), TraceFileError> {
        let (count, expected) = (cells.count(), self.tasks.len());
        let ends_with_delimiter = count == expected + 1 && cells.get(expected).is_empty();
        if count == expected || self.foreign && ends_with_delimiter {
            return Ok(());
        }
        let s = if count == 1 { "" } else { "s" };
        let what = format!("the row has {count} cell{s} where the header names {expected}");
        let remedy = if count > expected && self.delimiter == b',' {
            "mend the row; where commas are decimal marks, say so and what separates the cells"
        } else {
            "mend the row, or say what separates the cells"
        };
        Err(TraceFileError::at(line, None, what, remedy))
    }

    fn time_of(&mut self, line: u64, cells: Cells<'_>) -> Result<f64, TraceFileError> {
        let (place, second) = self.header.time_places;
        let joined: Vec<u8>;
        let cell = match second {
            None => cells.get(place),
            Some(second) => {
                joined = [cells.get(place), cells.get(second)].join(&b' ');
                joined.trim_ascii()
            }
        };
        let field = Some(self.header.time_header.as_str());
        let Some(instant) = self.time.parse(cell) else {
            let what = if cell.is_empty() {
                "the time is missing".to_owned()
            } else {
                format!("{} is not {}", quoted(cell), self.time.expected())
            };
            let remedy = "mend the row, or say in which form the time is written";
            return Err(TraceFileError::at(line, field, what, remedy));
        };
        let first = self.first.unwrap_or(instant);
        let seconds = instant.since(first);
        // Also where the difference of two huge times is none.
        if seconds.is_nan() || seconds < self.last {
            let what = format!(
                "time goes back by {} s, to {}",
                self.last - seconds,
                quoted(cell)
            );
            let remedy = "put the rows in the order of their times";
            return Err(TraceFileError::at(line, field, what, remedy));
        }
        self.first = Some(first);
        Ok(seconds)
    }
}

/// Where a delimiter, a quote or the line's end comes first.
#[inline]
fn end_of_cell(text: &[u8], delimiter: u8) -> Option<usize> {
    let ends = |byte: &u8| *byte == delimiter || *byte == b'\n' || *byte == b'"';
    // Most cells are so short that a wide search would not pay.
    let near = text.get(..SHORT).unwrap_or(text);
    near.iter().position(ends).or_else(|| {
        let far = memchr3(delimiter, b'\n', b'"', text.get(SHORT..)?)?;
        Some(SHORT + far)
    })
}

fn open_quote(line: u64) -> TraceFileError {
    let what = "a cell's quotes are not closed on its line";
    TraceFileError::at(
        line,
        None,
        what,
        "close them, or write the cell on one line",
    )
}

fn other_mark(line: u64, field: Option<&str>, cell: &[u8], mark: DecimalMark) -> TraceFileError {
    let (written, remedy) = if mark.byte() == b'.' {
        (
            "comma",
            "write a point, or say that numbers have a decimal comma",
        )
    } else {
        (
            "point",
            "write a comma, or do not say that numbers have a decimal comma",
        )
    };
    let what = format!("{} has a decimal {written}", quoted(cell));
    TraceFileError::at(line, field, what, remedy)
}
