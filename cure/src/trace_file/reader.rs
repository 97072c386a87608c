//! The reader: fed bytes, it gives out rows.

use memchr::memchr;

use super::LONGEST_LINE;
use super::cell::Cell;
use super::column::{Column, ColumnKind};
use super::encoding::{NotText, header_text, why_not_text};
use super::error::TraceFileError;
use super::header::Header;
use super::layout::Layout;
use super::rows::Rows;
use super::split::{OpenQuote, Splitter};

/// Reads a trace file that is fed to it in chunks of any size.
///
/// Rows go to a closure: seconds from the file's first row, and the cells in the order of
/// [`Reader::columns`].
#[derive(Debug)]
pub struct Reader {
    layout: Layout,
    /// The channels that are read; `None` for all.
    wanted: Option<Vec<String>>,
    /// A line that a chunk has cut.
    carry: Vec<u8>,
    /// The lines that have been read.
    line: u64,
    rows: Option<Rows>,
    any_bytes: bool,
}

impl Reader {
    /// A reader at the start of a file.
    pub fn new(layout: Layout) -> Reader {
        Reader {
            layout,
            wanted: None,
            carry: Vec::new(),
            line: 0,
            rows: None,
            any_bytes: false,
        }
    }

    /// A reader of some channels only, each by its name or by its column's whole name; the cells of all
    /// others are given out as missing. The reference junction is read where it is needed. A wide file
    /// is read much faster so.
    pub fn of_channels(layout: Layout, channels: Vec<String>) -> Reader {
        Reader {
            wanted: Some(channels),
            ..Reader::new(layout)
        }
    }

    /// The columns besides the time, in their order; none before the header has been read.
    pub fn columns(&self) -> &[Column] {
        self.rows.as_ref().map_or(&[], |rows| &rows.header.columns)
    }

    /// When the first row was taken, in nanoseconds since 1970-01-01T00:00:00Z; `None` before it, and
    /// where the time column does not tell (seconds, or clocks without their offset).
    pub fn started(&self) -> Option<i64> {
        self.rows.as_ref().and_then(Rows::started)
    }

    /// Takes the next bytes.
    ///
    /// # Errors
    /// The first thing that makes the file no trace file; nothing may be fed after it.
    pub fn feed(
        &mut self,
        bytes: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        self.any_bytes |= !bytes.is_empty();
        let mut rest = bytes;
        if !self.carry.is_empty() {
            let Some((end, after)) = first_line(rest) else {
                return self.keep(rest);
            };
            self.keep(end)?;
            let line = std::mem::take(&mut self.carry);
            self.line(&line, sink)?;
            self.carry = line;
            self.carry.clear();
            rest = after;
        }
        loop {
            if let Some(rows) = &mut self.rows {
                let (taken, lines) = rows.plain(rest, sink);
                self.line += lines;
                rest = rest.get(taken..).unwrap_or_default();
            }
            let Some((line, after)) = first_line(rest) else {
                return self.keep(rest);
            };
            self.line(line, sink)?;
            rest = after;
        }
    }

    /// Keeps the beginning of a line until its end comes.
    fn keep(&mut self, bytes: &[u8]) -> Result<(), TraceFileError> {
        // One byte more than a line may have is enough to tell.
        let room = LONGEST_LINE + 1 - self.carry.len();
        let bytes = bytes.get(..room).unwrap_or(bytes);
        self.carry.extend_from_slice(bytes);
        refuse_long(self.line + 1, &self.carry)
    }

    /// The file ends here.
    ///
    /// # Errors
    /// As [`Reader::feed`]; also when there was no header or no row.
    pub fn finish(&mut self, sink: &mut impl FnMut(f64, &[Cell])) -> Result<(), TraceFileError> {
        let last = std::mem::take(&mut self.carry);
        if !last.is_empty() {
            self.line(&last, sink)?;
        }
        match &self.rows {
            Some(rows) if rows.any() => Ok(()),
            Some(rows) => Err(TraceFileError::at(
                rows.header_line,
                None,
                "there is a header, but no row follows it",
                "record a trace, or name another file",
            )),
            None => Err(TraceFileError {
                line: None,
                field: None,
                what: if self.any_bytes {
                    "there is no header in this file".to_owned()
                } else {
                    "the file is empty".to_owned()
                },
                remedy: "name a trace file with a header and rows".to_owned(),
            }),
        }
    }

    /// Reads a line of any kind, its end taken off.
    fn line(
        &mut self,
        line: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        self.line += 1;
        refuse_long(self.line, line)?;
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let line = if self.line == 1 {
            let text = line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line);
            why_not_text(text).map_or(Ok(text), |reason| Err(no_text(1, &reason)))?
        } else {
            line
        };
        if line.first() == Some(&b'#') || line.trim_ascii().is_empty() {
            return Ok(());
        }
        match &mut self.rows {
            Some(rows) => rows.row(self.line, line, sink),
            None if self.line <= self.layout.skip_lines => Ok(()),
            None => self.header(line, sink),
        }
    }

    /// Reads the header; without one, the first row.
    fn header(
        &mut self,
        line: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        let foreign = self.layout != Layout::default();
        let text = if self.layout.has_header {
            header_text(line, foreign).map_err(|reason| no_text(self.line, &reason))?
        } else {
            String::from_utf8_lossy(line).into_owned()
        };
        let mut splitter = Splitter::new(self.layout.delimiter);
        let cells = splitter.split(text.as_bytes()).map_err(|OpenQuote| {
            let what = "the quotes of a column's name are not closed";
            TraceFileError::at(self.line, None, what, "close them")
        })?;
        let names: Vec<String> = if self.layout.has_header {
            cells
                .iter()
                .map(|name| String::from_utf8_lossy(name).into_owned())
                .collect()
        } else {
            (1..=cells.count())
                .map(|number| number.to_string())
                .collect()
        };
        let header = Header::new(self.line, &names, &self.layout)?;
        let wanted: Vec<bool> = header
            .columns
            .iter()
            .map(|column| self.wants(column))
            .collect();
        let rows = Rows::new(header, self.line, &self.layout, &wanted);
        let rows = self.rows.insert(rows);
        if self.layout.has_header {
            Ok(())
        } else {
            rows.row(self.line, line, sink)
        }
    }

    fn wants(&self, column: &Column) -> bool {
        let named = |name: &String| *name == column.name || *name == column.header;
        match (column.kind, &self.wanted) {
            (ColumnKind::Ignored, _) => false,
            (ColumnKind::Junction, _) | (_, None) => true,
            (_, Some(wanted)) => wanted.iter().any(named),
        }
    }
}

/// The first line without its end, and what follows; `None` where it has no end yet.
#[inline]
fn first_line(bytes: &[u8]) -> Option<(&[u8], &[u8])> {
    let (line, rest) = bytes.split_at_checked(memchr(b'\n', bytes)?)?;
    Some((line, rest.get(1..)?))
}

fn refuse_long(number: u64, line: &[u8]) -> Result<(), TraceFileError> {
    let Some(start) = line
        .get(..LONGEST_LINE)
        .filter(|start| start.len() < line.len())
    else {
        return Ok(());
    };
    if let Some(reason) = why_not_text(start).filter(|_| number == 1) {
        return Err(no_text(number, &reason));
    }
    let what = "the line is longer than a megabyte";
    let remedy = "name a text file with one row a line";
    Err(TraceFileError::at(number, None, what, remedy))
}

fn no_text(line: u64, reason: &NotText) -> TraceFileError {
    TraceFileError::at(line, None, reason.what, reason.remedy)
}
