//! The cells of a row: numbers, nothing, or text where a number should be.

use super::layout::DecimalMark;

/// What a cell holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell {
    /// A number, in °C, m/s or counts after its column's kind.
    Value(f64),
    /// An empty cell: no sample was taken, or nobody asked for the column.
    Missing,
    /// Something that is no number, such as OPEN, ERR, `---`, NaN or inf, or millivolts that mean
    /// no temperature.
    Bad,
}

impl Cell {
    /// The number, if it is one.
    pub fn value(self) -> Option<f64> {
        match self {
            Cell::Value(value) => Some(value),
            Cell::Missing | Cell::Bad => None,
        }
    }

    pub(crate) fn of_number(value: f64) -> Cell {
        if value.is_finite() {
            Cell::Value(value)
        } else {
            Cell::Bad
        }
    }

    /// The cell with its number changed, if it has one.
    pub(crate) fn map(self, change: impl FnOnce(f64) -> Cell) -> Cell {
        match self {
            Cell::Value(value) => change(value),
            other => other,
        }
    }
}

/// A number at the beginning of `text`, and how many bytes it takes.
#[inline]
pub(crate) fn leading_number(text: &[u8]) -> Option<(f64, usize)> {
    fast_float2::parse_partial::<f64, _>(text).ok()
}

/// A cell whose number has the other decimal mark: no bad sample, but a wrong choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct OtherMark;

/// The longest text that is tried as a number with a decimal comma; a double needs far less.
const LONGEST_NUMBER: usize = 64;

/// Reads a trimmed cell.
pub(crate) fn read(text: &[u8], mark: DecimalMark) -> Result<Cell, OtherMark> {
    if text.is_empty() {
        return Ok(Cell::Missing);
    }
    match mark {
        DecimalMark::Point => match number(text) {
            Some(value) => Ok(Cell::of_number(value)),
            None if with_point(text).is_some() => Err(OtherMark),
            None => Ok(Cell::Bad),
        },
        DecimalMark::Comma => match with_point(text) {
            Some(value) => Ok(Cell::of_number(value)),
            None if text.contains(&b'.') && number(text).is_some() => Err(OtherMark),
            None => Ok(number(text).map_or(Cell::Bad, Cell::of_number)),
        },
    }
}

fn number(text: &[u8]) -> Option<f64> {
    fast_float2::parse(text).ok()
}

/// The number of a text with one comma, read as its decimal mark.
fn with_point(text: &[u8]) -> Option<f64> {
    let comma = memchr::memchr(b',', text)?;
    let mut buffer = [0; LONGEST_NUMBER];
    let copy = buffer.get_mut(..text.len())?;
    copy.copy_from_slice(text);
    *copy.get_mut(comma)? = b'.';
    let has_point = text.contains(&b'.');
    number(copy).filter(|_| !has_point)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(text: &str) -> Result<Cell, OtherMark> {
        read(text.as_bytes(), DecimalMark::Point)
    }

    fn comma(text: &str) -> Result<Cell, OtherMark> {
        read(text.as_bytes(), DecimalMark::Comma)
    }

    #[test]
    fn text_is_bad_and_nothing_is_missing() {
        assert_eq!(point(""), Ok(Cell::Missing));
        for text in ["OPEN", "ERR", "---", "NaN", "inf", "-Infinity", "1e999", "12 C", "0x10", "1.2.3"] {
            assert_eq!(point(text), Ok(Cell::Bad), "{text}");
            assert_eq!(comma(text), Ok(Cell::Bad), "{text}");
        }
        for (text, value) in [("12.5", 12.5), ("-0.5", -0.5), ("+3", 3.0), (".5", 0.5), ("5.", 5.0), ("1.5e2", 150.0)] {
            assert_eq!(point(text), Ok(Cell::Value(value)), "{text}");
        }
    }

    #[test]
    fn the_other_decimal_mark_is_told_from_text() {
        assert_eq!(comma("168,24"), Ok(Cell::Value(168.24)));
        assert_eq!(comma("-3"), Ok(Cell::Value(-3.0)));
        assert_eq!(comma("168.24"), Err(OtherMark));
        assert_eq!(point("168,24"), Err(OtherMark));
        assert_eq!(point("1.168,24"), Ok(Cell::Bad));
        assert_eq!(comma("1.168,24"), Ok(Cell::Bad));
        assert_eq!(comma("1,168,24"), Ok(Cell::Bad));
    }

    proptest! {
        /// The reference is the standard library's parser, which rounds correctly.
        #[test]
        fn numbers_are_those_of_the_standard_library(text in "[+-]?[0-9]{0,18}\\.?[0-9]{0,18}([eE][+-]?[0-9]{1,3})?") {
            let expected = match text.parse::<f64>() {
                _ if text.is_empty() => Cell::Missing,
                Ok(value) if value.is_finite() => Cell::Value(value),
                _ => Cell::Bad,
            };
            prop_assert_eq!(point(&text), Ok(expected));
        }

        #[test]
        fn every_number_comes_back_as_it_was_written(value in any::<f64>().prop_filter("finite", |value| value.is_finite())) {
            let text = value.to_string();
            prop_assert_eq!(point(&text), Ok(Cell::Value(value)));
            let (leading, taken) = leading_number(format!("{text},7").as_bytes()).unwrap();
            prop_assert_eq!((leading, taken), (value, text.len()));
        }
    }
}
