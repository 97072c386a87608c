//! Taking a line apart into cells.

use std::ops::Range;

use csv_core::{ReadRecordResult, ReaderBuilder, Terminator};
use memchr::{memchr, memchr_iter};

/// A cell in quotes that the line's end does not close.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct OpenQuote;

/// Takes lines apart; keeps its buffers from line to line.
#[derive(Debug)]
pub(super) struct Splitter {
    delimiter: u8,
    /// What reads cells in quotes, from the first line on that has any.
    quoted: Option<Box<csv_core::Reader>>,
    /// The text of cells whose quotes have been taken off.
    text: Vec<u8>,
    ends: Vec<usize>,
    cells: Vec<Range<usize>>,
}

/// The cells of a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cells<'a> {
    text: &'a [u8],
    cells: &'a [Range<usize>],
}

impl<'a> Cells<'a> {
    pub(super) fn count(&self) -> usize {
        self.cells.len()
    }

    /// A cell without the spaces around it; empty where there is none.
    pub(super) fn get(&self, place: usize) -> &'a [u8] {
        let cell = self.cells.get(place).cloned();
        cell.and_then(|cell| self.text.get(cell))
            .unwrap_or_default()
            .trim_ascii()
    }

    pub(super) fn iter(self) -> impl Iterator<Item = &'a [u8]> {
        (0..self.count()).map(move |place| self.get(place))
    }
}

impl Splitter {
    /// A splitter at a character; a space stands for any run of spaces and tabs.
    pub(super) fn new(delimiter: u8) -> Splitter {
        Splitter {
            delimiter,
            quoted: None,
            text: Vec::new(),
            ends: Vec::new(),
            cells: Vec::new(),
        }
    }

    /// The cells of a line.
    pub(super) fn split<'a>(&'a mut self, line: &'a [u8]) -> Result<Cells<'a>, OpenQuote> {
        self.cells.clear();
        let has_quotes = memchr(b'"', line).is_some();
        let text = if has_quotes && !self.quotes_are_letters(line) {
            self.split_quoted(line)?;
            &self.text
        } else {
            self.split_plain(line);
            line
        };
        if self.delimiter == b' ' {
            self.cells.retain(|cell| !cell.is_empty());
        }
        let cells = &self.cells;
        Ok(Cells { text, cells })
    }

    /// Whether no cell begins with a quote, so that quotes mean themselves, as in `5" wide`.
    fn quotes_are_letters(&self, line: &[u8]) -> bool {
        memchr_iter(b'"', line).all(|at| {
            let before = line.get(..at).unwrap_or_default().trim_ascii_end();
            let delimiter = line.get(..at).unwrap_or_default().last();
            !(before.is_empty()
                || before.last() == Some(&self.delimiter)
                || delimiter == Some(&self.delimiter))
        })
    }

    fn split_plain(&mut self, line: &[u8]) {
        let mut from = 0;
        let mut add = |end: usize| {
            self.cells.push(from..end);
            from = end + 1;
        };
        match self.delimiter {
            b' ' => memchr::memchr2_iter(b' ', b'\t', line).for_each(&mut add),
            other => memchr_iter(other, line).for_each(&mut add),
        }
        add(line.len());
    }

    /// Quotes as RFC 4180 has them; spaces before an opening quote are let pass.
    fn split_quoted(&mut self, line: &[u8]) -> Result<(), OpenQuote> {
        let delimiter = self.delimiter;
        let reader = self.quoted.get_or_insert_with(|| {
            let mut builder = ReaderBuilder::new();
            builder
                .delimiter(delimiter)
                .terminator(Terminator::Any(b'\n'));
            Box::new(builder.build())
        });
        reader.reset();
        self.text.resize(line.len() + 1, 0);
        self.ends.resize(line.len() + 2, 0);
        let spaced = without_space_before_quotes(line, delimiter);
        let (_, _, written, count) = reader.read_record(&spaced, &mut self.text, &mut self.ends);
        let text = self.text.get_mut(written..).unwrap_or_default();
        let ends = self.ends.get_mut(count..).unwrap_or_default();
        // Inside quotes the line's end would belong to the cell.
        let (result, _, _, more) = reader.read_record(b"\n", text, ends);
        if result != ReadRecordResult::Record {
            return Err(OpenQuote);
        }
        let mut from = 0;
        for end in self.ends.iter().take(count + more) {
            self.cells.push(from..*end);
            from = *end;
        }
        Ok(())
    }
}

/// The line with the spaces between a delimiter and an opening quote taken out, and with spaces for
/// tabs where spaces separate.
fn without_space_before_quotes(line: &[u8], delimiter: u8) -> Vec<u8> {
    let mut out: Vec<u8> = Vec::with_capacity(line.len());
    let mut in_quotes = false;
    for byte in line {
        match byte {
            b'"' => {
                if !in_quotes {
                    let text = out.trim_ascii_end().len();
                    let opens = text == 0 || out.get(text - 1) == Some(&delimiter);
                    if opens && delimiter != b' ' && !out.ends_with(&[delimiter]) {
                        out.truncate(text);
                    }
                }
                in_quotes = !in_quotes;
                out.push(b'"');
            }
            b'\t' if delimiter == b' ' && !in_quotes => out.push(b' '),
            other => out.push(*other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(delimiter: u8, line: &str) -> Result<Vec<String>, OpenQuote> {
        let mut splitter = Splitter::new(delimiter);
        let cells = splitter.split(line.as_bytes())?;
        Ok(cells
            .iter()
            .map(|cell| String::from_utf8_lossy(cell).into_owned())
            .collect())
    }

    #[test]
    fn plain_lines_are_cut_at_each_delimiter() {
        assert_eq!(cells(b',', "0, 20 ,").unwrap(), ["0", "20", ""]);
        assert_eq!(cells(b';', "0;20,5").unwrap(), ["0", "20,5"]);
        assert_eq!(cells(b'\t', "0\t\t5").unwrap(), ["0", "", "5"]);
        assert_eq!(cells(b' ', "  0 \t 20   x ").unwrap(), ["0", "20", "x"]);
        assert_eq!(cells(b',', "5\" wide,b").unwrap(), ["5\" wide", "b"]);
    }

    /// The examples of RFC 4180, section 2, points 5 to 7.
    #[test]
    fn quotes_are_taken_off() {
        assert_eq!(
            cells(b',', "\"aaa\",\"bbb\",\"ccc\"").unwrap(),
            ["aaa", "bbb", "ccc"]
        );
        assert_eq!(
            cells(b',', "zzz,yyy,\"x,xx\"").unwrap(),
            ["zzz", "yyy", "x,xx"]
        );
        assert_eq!(
            cells(b',', "\"aaa\",\"b\"\"bb\",\"ccc\"").unwrap(),
            ["aaa", "b\"bb", "ccc"]
        );
        assert_eq!(cells(b',', "\"aaa\",\"b").unwrap_err(), OpenQuote);
        assert_eq!(cells(b',', "\"a\",").unwrap(), ["a", ""]);
    }

    #[test]
    fn spaces_around_quotes_are_let_pass() {
        assert_eq!(cells(b',', "0, \"x, y\" ,3").unwrap(), ["0", "x, y", "3"]);
        assert_eq!(cells(b'\t', "0\t\"x\ty\"").unwrap(), ["0", "x\ty"]);
        assert_eq!(
            cells(b' ', "\"Temp 1\"\t \"Temp 2\"").unwrap(),
            ["Temp 1", "Temp 2"]
        );
    }
}
