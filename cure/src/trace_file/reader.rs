//! The reader: fed bytes, it gives out rows.

use csv_core::{ReadRecordResult, ReaderBuilder};
use inkdwell_config::quantity::Celsius;
use memchr::{memchr, memchr_iter};

use super::TraceFileError;
use super::column::{Column, ColumnKind};
use super::header::Header;
use super::layout::Layout;
use super::time::{Instant, TimeParser};
use crate::sensor::Thermocouple;
use crate::sieve::{COOLEST_BELIEVED, HOTTEST_BELIEVED};

/// A longer line is no row of a trace.
const LONGEST_LINE: usize = 1 << 20;

/// One cell of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell {
    /// A number, in the unit that the column's kind gives out.
    Value(f64),
    /// An empty cell: nothing was sampled.
    Missing,
    /// Something that is no number: the sensor said so.
    Bad,
}

/// Reads a trace file that is fed to it in chunks of any size.
///
/// Rows go to a closure: seconds from the file's first row, and the cells in the order of
/// [`Reader::columns`].
#[derive(Debug)]
pub struct Reader {
    layout: Layout,
    /// A line that a chunk has cut.
    carry: Vec<u8>,
    line: u64,
    state: Option<Rows>,
    any_bytes: bool,
    /// Whether the lines being read may hold quotes.
    quotes: bool,
}

impl Reader {
    /// A reader at the start of a file.
    pub fn new(layout: Layout) -> Reader {
        Reader {
            layout,
            carry: Vec::new(),
            line: 0,
            state: None,
            any_bytes: false,
            quotes: true,
        }
    }

    /// The columns besides the time, in their order; none before the header has been read.
    pub fn columns(&self) -> &[Column] {
        self.state.as_ref().map_or(&[], |rows| &rows.header.columns)
    }

    /// Takes the next bytes.
    ///
    /// # Errors
    /// The first thing that makes the file no trace file; nothing may be fed after it.
    pub fn feed(
        &mut self,
        mut bytes: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        if !self.any_bytes && !bytes.is_empty() {
            self.any_bytes = true;
        }
        if !self.carry.is_empty() {
            let Some(end) = memchr(b'\n', bytes) else {
                return self.keep(bytes);
            };
            self.keep(&bytes[..end])?;
            let line = std::mem::take(&mut self.carry);
            self.line(&line, sink)?;
            self.carry = line;
            self.carry.clear();
            bytes = &bytes[end + 1..];
        }
        self.quotes = memchr(b'"', bytes).is_some();
        let mut start = 0;
        for end in memchr_iter(b'\n', bytes) {
            self.line(&bytes[start..end], sink)?;
            start = end + 1;
        }
        // What is kept may end in a later chunk, with quotes in it.
        self.quotes = true;
        self.keep(&bytes[start..])
    }

    fn keep(&mut self, bytes: &[u8]) -> Result<(), TraceFileError> {
        self.carry.extend_from_slice(bytes);
        if self.carry.len() > LONGEST_LINE {
            return Err(TraceFileError::at(
                self.line + 1,
                None,
                "the line is longer than a megabyte",
                "name a text file with one row a line",
            ));
        }
        Ok(())
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
        match &self.state {
            Some(rows) if rows.first.is_some() => Ok(()),
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

    #[inline]
    fn line(
        &mut self,
        line: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        self.line += 1;
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        match &mut self.state {
            Some(rows) => {
                match line.first() {
                    None | Some(b'#') => return Ok(()),
                    Some(b' ' | b'\t') if line.trim_ascii().is_empty() => return Ok(()),
                    _ => {}
                }
                rows.row(self.line, line, self.quotes, sink)
            }
            None => self.line_before_rows(line, sink),
        }
    }

    fn line_before_rows(
        &mut self,
        line: &[u8],
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        let line = if self.line == 1 {
            refuse_utf_16(line)?;
            line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line)
        } else {
            line
        };
        let passed_over = self.line <= self.layout.skip_lines;
        if passed_over || line.first() == Some(&b'#') || line.trim_ascii().is_empty() {
            return Ok(());
        }
        let cells = cells_of(line, self.layout.delimiter);
        let names: Result<Vec<String>, _> = if self.layout.has_header {
            cells.into_iter().map(String::from_utf8).collect()
        } else {
            Ok((1..=cells.len()).map(|number| number.to_string()).collect())
        };
        let no_text =
            |names: &Vec<String>| names.iter().any(|name| name.contains(char::is_control));
        let names = names.ok().filter(|names| !no_text(names)).ok_or_else(|| {
            let what = "this is no text in UTF-8";
            TraceFileError::at(
                self.line,
                None,
                what,
                "name a trace file, saved as CSV in UTF-8",
            )
        })?;
        let header = Header::new(self.line, &names, &self.layout)?;
        let mut rows = Rows::new(header, self.line, &self.layout);
        if !self.layout.has_header {
            rows.row(self.line, line, true, sink)?;
        }
        self.state = Some(rows);
        Ok(())
    }
}

fn refuse_utf_16(line: &[u8]) -> Result<(), TraceFileError> {
    let marked = line.starts_with(&[0xFF, 0xFE]) || line.starts_with(&[0xFE, 0xFF]);
    let start = &line[..line.len().min(64)];
    let zeros = |odd: usize| {
        start
            .iter()
            .skip(odd)
            .step_by(2)
            .filter(|byte| **byte == 0)
            .count()
    };
    let half = start.len() / 2;
    let looks_so = half >= 4 && (zeros(0) * 4 > half * 3 || zeros(1) * 4 > half * 3);
    if marked || looks_so {
        let what = "the file is written in UTF-16";
        return Err(TraceFileError::at(1, None, what, "save it as UTF-8"));
    }
    Ok(())
}

/// How a column's number becomes what is given out.
#[derive(Debug, Clone)]
enum Conversion {
    AsItIs,
    Fahrenheit,
    Factor(f64),
    Millivolts(Box<Thermocouple>),
    Ignored,
}

/// Everything that reading rows needs.
#[derive(Debug)]
struct Rows {
    header: Header,
    header_line: u64,
    delimiter: u8,
    decimal_comma: bool,
    time: TimeParser,
    conversions: Vec<Conversion>,
    /// For each cell of a row, which column it is; the time is none.
    column_of: Vec<Option<usize>>,
    junction: Option<usize>,
    any_millivolts: bool,
    first: Option<Instant>,
    last: f64,
    cells: Vec<Cell>,
}

impl Rows {
    fn new(header: Header, header_line: u64, layout: &Layout) -> Rows {
        let conversion = |column: &Column| match column.kind {
            ColumnKind::Celsius | ColumnKind::Junction | ColumnKind::Count => Conversion::AsItIs,
            ColumnKind::Fahrenheit => Conversion::Fahrenheit,
            ColumnKind::Belt(factor) => Conversion::Factor(factor),
            ColumnKind::Thermocouple(kind) => {
                Conversion::Millivolts(Box::new(Thermocouple::new(kind)))
            }
            ColumnKind::Ignored => Conversion::Ignored,
        };
        let conversions: Vec<Conversion> = header.columns.iter().map(conversion).collect();
        let mut column_of = vec![None; header.cells];
        for (column, place) in header.places.iter().enumerate() {
            column_of[*place] = Some(column);
        }
        Rows {
            header_line,
            delimiter: layout.delimiter,
            decimal_comma: layout.decimal_comma,
            time: TimeParser::new(header.form.clone(), layout.decimal_comma),
            any_millivolts: conversions
                .iter()
                .any(|c| matches!(c, Conversion::Millivolts(_))),
            junction: header
                .columns
                .iter()
                .position(|c| c.kind == ColumnKind::Junction),
            cells: vec![Cell::Missing; conversions.len()],
            conversions,
            column_of,
            first: None,
            last: 0.0,
            header,
        }
    }

    #[inline]
    fn row(
        &mut self,
        line: u64,
        bytes: &[u8],
        quotes: bool,
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        if self.delimiter == b' ' || quotes && has_quoted_cell(bytes, self.delimiter) {
            let cells = cells_of(bytes, self.delimiter);
            return self.row_of(line, cells.iter().map(Vec::as_slice), sink);
        }
        let delimiter = self.delimiter;
        self.row_of(line, bytes.split(|byte| *byte == delimiter), sink)
    }

    #[inline]
    fn row_of<'b>(
        &mut self,
        line: u64,
        cells: impl Iterator<Item = &'b [u8]>,
        sink: &mut impl FnMut(f64, &[Cell]),
    ) -> Result<(), TraceFileError> {
        let mut time = None;
        let mut count = 0;
        for cell in cells {
            match self.column_of.get(count) {
                Some(Some(column)) => {
                    self.cells[*column] =
                        cell_of(cell, &self.conversions[*column], self.decimal_comma);
                }
                Some(None) => time = Some(self.time_of(line, cell)?),
                None => {}
            }
            count += 1;
        }
        let expected = self.header.cells;
        if count != expected {
            return Err(TraceFileError::at(
                line,
                None,
                format!("the row has {count} cells where the header names {expected}"),
                "mend the row, or the delimiter",
            ));
        }
        if self.any_millivolts {
            self.convert_millivolts();
        }
        sink(time.unwrap_or(self.last), &self.cells);
        Ok(())
    }

    #[inline]
    fn time_of(&mut self, line: u64, cell: &[u8]) -> Result<f64, TraceFileError> {
        let Some(instant) = self.time.parse(cell.trim_ascii()) else {
            let shown = String::from_utf8_lossy(&cell[..cell.len().min(40)]).into_owned();
            let what = if shown.trim().is_empty() {
                "the time is missing".to_owned()
            } else {
                format!("{shown:?} is not {}", self.time.expected())
            };
            let remedy = "mend the row, or say in which form the time is written";
            return Err(TraceFileError::at(
                line,
                Some(&self.header.time_header),
                what,
                remedy,
            ));
        };
        let seconds = instant.since(*self.first.get_or_insert(instant));
        if seconds < self.last {
            let back = self.last - seconds;
            return Err(TraceFileError::at(
                line,
                Some(&self.header.time_header),
                format!("time goes back by {back} s"),
                "put the rows in the order of their times",
            ));
        }
        self.last = seconds;
        Ok(seconds)
    }

    /// t = E⁻¹(mV + E(junction)), now that the whole row is there.
    fn convert_millivolts(&mut self) {
        let junction = match self.junction.map(|column| self.cells[column]) {
            None => Some(Celsius(0.0)),
            Some(Cell::Value(celsius))
                if (COOLEST_BELIEVED..=HOTTEST_BELIEVED).contains(&celsius) =>
            {
                Some(Celsius(celsius))
            }
            Some(_) => None,
        };
        for (cell, conversion) in self.cells.iter_mut().zip(&self.conversions) {
            if let (Conversion::Millivolts(thermocouple), Cell::Value(millivolts)) =
                (conversion, *cell)
            {
                let celsius = junction.and_then(|j| thermocouple.compensated(millivolts, j).ok());
                *cell = celsius.map_or(Cell::Bad, |celsius| Cell::Value(celsius.0));
            }
        }
    }
}

#[inline]
fn cell_of(cell: &[u8], conversion: &Conversion, decimal_comma: bool) -> Cell {
    if matches!(conversion, Conversion::Ignored) {
        return Cell::Missing;
    }
    let cell = trimmed(cell);
    if cell.is_empty() {
        return Cell::Missing;
    }
    let Some(value) = number(cell, decimal_comma).filter(|value| value.is_finite()) else {
        return Cell::Bad;
    };
    match conversion {
        Conversion::Fahrenheit => Cell::Value((value - 32.0) / 1.8),
        Conversion::Factor(factor) => Cell::Value(value * factor),
        _ => Cell::Value(value),
    }
}

#[inline]
fn trimmed(cell: &[u8]) -> &[u8] {
    match cell {
        [first, .., last] if *first > b' ' && *last > b' ' => cell,
        _ => cell.trim_ascii(),
    }
}

/// Whether a row has a cell in quotes, which may hold delimiters.
#[inline]
fn has_quoted_cell(row: &[u8], delimiter: u8) -> bool {
    memchr(b'"', row).is_some()
        && row
            .split(|byte| *byte == delimiter)
            .any(|cell| cell.trim_ascii_start().first() == Some(&b'"'))
}

/// A number as loggers write it.
#[inline]
pub(super) fn number(cell: &[u8], decimal_comma: bool) -> Option<f64> {
    let point = if decimal_comma { b',' } else { b'.' };
    if let Some(number) = plain_number(cell, point) {
        return Some(number);
    }
    if decimal_comma && memchr(b',', cell).is_some() {
        if cell.contains(&b'.') {
            return None;
        }
        let with_point: Vec<u8> = cell
            .iter()
            .map(|byte| if *byte == b',' { b'.' } else { *byte })
            .collect();
        return fast_float2::parse(with_point).ok();
    }
    fast_float2::parse(cell).ok()
}

/// Digits with at most one point, as nearly every cell is: the whole and the power of ten are both
/// exact, so that their quotient is the nearest number (Clinger 1990). `None` for anything else.
#[inline]
fn plain_number(cell: &[u8], point: u8) -> Option<f64> {
    const POWERS: [f64; 16] = [
        1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
    ];
    let (negative, digits) = match cell {
        [b'-', digits @ ..] => (true, digits),
        digits => (false, digits),
    };
    if digits.is_empty() || digits.len() > 15 {
        return None;
    }
    let mut whole = 0_u64;
    let mut decimals = None;
    for (place, byte) in digits.iter().enumerate() {
        let digit = byte.wrapping_sub(b'0');
        if digit <= 9 {
            whole = whole * 10 + u64::from(digit);
        } else if *byte == point && decimals.is_none() && digits.len() > 1 {
            decimals = Some(digits.len() - 1 - place);
        } else {
            return None;
        }
    }
    let number = whole as f64 / POWERS[decimals.unwrap_or(0)];
    Some(if negative { -number } else { number })
}

/// The cells of a line, quotes taken off (RFC 4180).
fn cells_of(line: &[u8], delimiter: u8) -> Vec<Vec<u8>> {
    if delimiter == b' ' {
        let parts = line.split(|byte| matches!(byte, b' ' | b'\t'));
        return parts
            .filter(|part| !part.is_empty())
            .map(<[u8]>::to_vec)
            .collect();
    }
    let mut reader = ReaderBuilder::new().delimiter(delimiter).build();
    let mut out = vec![0; line.len() + 1];
    let mut ends = vec![0; line.len() + 2];
    let (_, _, written, count) = match reader.read_record(line, &mut out, &mut ends) {
        (ReadRecordResult::InputEmpty, read, written, count) if read == line.len() => {
            // The end of input closes the last cell.
            let (result, _, more, cells) =
                reader.read_record(&[], &mut out[written..], &mut ends[count..]);
            (result, read, written + more, count + cells)
        }
        other => other,
    };
    let mut from = 0;
    ends[..count]
        .iter()
        .map(|end| {
            let cell = out[from.min(written)..(*end).min(written)].to_vec();
            from = *end;
            cell
        })
        .collect()
}
