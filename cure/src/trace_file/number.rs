//! Numbers as loggers write them.

/// The longest text with a decimal comma that is tried as a number; a double needs far less.
const LONGEST: usize = 64;

/// The powers of ten by which fifteen digits may be divided, all of them exact doubles.
const POWERS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// What a cell is that should be a number and is not empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Number {
    /// A finite number.
    Value(f64),
    /// A number whose decimal mark is the other one: no bad sample, but a wrong choice of layout.
    OtherMark,
    /// Anything else.
    Text,
}

/// The mark between a number's whole part and its fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DecimalMark {
    comma: bool,
}

impl DecimalMark {
    pub(super) fn new(comma: bool) -> DecimalMark {
        DecimalMark { comma }
    }

    pub(super) fn byte(self) -> u8 {
        if self.comma { b',' } else { b'.' }
    }

    /// Reads a whole cell, spaces around it taken off.
    pub(super) fn read(self, cell: &[u8]) -> Number {
        match (self.comma, with_point(cell)) {
            (false, None) => number(cell),
            (true, Some(value)) => value,
            (false, Some(Number::Value(_))) => Number::OtherMark,
            (false, Some(_)) => Number::Text,
            (true, None) => match number(cell) {
                Number::Value(_) if cell.contains(&b'.') => Number::OtherMark,
                other => other,
            },
        }
    }
}

fn number(text: &[u8]) -> Number {
    match fast_float2::parse::<f64, _>(text) {
        Ok(value) if value.is_finite() => Number::Value(value),
        _ => Number::Text,
    }
}

/// What a text with a comma is, were it a decimal point; `None` where there is no comma.
fn with_point(text: &[u8]) -> Option<Number> {
    let comma = memchr::memchr(b',', text)?;
    let mut buffer = [0; LONGEST];
    let copy = match buffer.get_mut(..text.len()) {
        Some(copy) if !text.contains(&b'.') => copy,
        _ => return Some(Number::Text),
    };
    copy.copy_from_slice(text);
    if let Some(byte) = copy.get_mut(comma) {
        *byte = b'.';
    }
    Some(number(copy))
}

/// The digits at the beginning of `text`, with at most one mark among them, and how many bytes they
/// take; `None` where there are none or more than fifteen.
///
/// Nearly every cell is such a number. Its digits and the power of ten are both exact, so that their
/// quotient is the nearest double (W. D. Clinger, How to read floating point numbers accurately,
/// PLDI 1990). Whoever calls looks at what follows: an exponent or a letter makes it another number,
/// or none.
#[inline]
pub(super) fn leading(text: &[u8], mark: u8) -> Option<(f64, usize)> {
    let negative = text.first() == Some(&b'-');
    let start = usize::from(negative);
    let (mut digits, mut at) = run_of_digits(text, start, 0);
    let mut count = at - start;
    let mut decimals = 0;
    if text.get(at) == Some(&mark) {
        let from = at + 1;
        (digits, at) = run_of_digits(text, from, digits);
        decimals = at - from;
        count += decimals;
    }
    if count == 0 || count > 15 {
        return None;
    }
    let value = digits as f64 / POWERS.get(decimals)?;
    Some((if negative { -value } else { value }, at))
}

/// Goes on over digits from a place on; what more than nineteen of them make is nonsense, and unused.
#[inline]
fn run_of_digits(text: &[u8], from: usize, mut digits: u64) -> (u64, usize) {
    let mut at = from;
    while let Some(byte) = text.get(at) {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        digits = digits.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    (digits, at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(text: &str) -> Number {
        DecimalMark::new(false).read(text.as_bytes())
    }

    fn comma(text: &str) -> Number {
        DecimalMark::new(true).read(text.as_bytes())
    }

    #[test]
    fn text_and_infinities_are_no_numbers() {
        for text in [
            "OPEN",
            "ERR",
            "---",
            "NaN",
            "inf",
            "-Infinity",
            "1e999",
            "12 C",
            "0x10",
            "1.2.3",
            "OL,",
        ] {
            assert_eq!(point(text), Number::Text, "{text}");
            assert_eq!(comma(text), Number::Text, "{text}");
        }
        for (text, value) in [
            ("12.5", 12.5),
            ("-0.5", -0.5),
            ("+3", 3.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("1.5e2", 150.0),
        ] {
            assert_eq!(point(text), Number::Value(value), "{text}");
            assert_eq!(
                comma(&text.replace('.', ",")),
                Number::Value(value),
                "{text}"
            );
        }
    }

    #[test]
    fn the_other_decimal_mark_is_told_from_text() {
        assert_eq!(comma("168.24"), Number::OtherMark);
        assert_eq!(point("168,24"), Number::OtherMark);
        for text in ["1.168,24", "1,168,24", "1,168.24"] {
            assert_eq!(point(text), Number::Text, "{text}");
            assert_eq!(comma(text), Number::Text, "{text}");
        }
    }

    proptest! {
        /// The reference is the standard library's parser, which rounds correctly.
        #[test]
        fn numbers_are_those_of_the_standard_library(
            text in "[+-]?[0-9]{0,18}\\.?[0-9]{0,18}([eE][+-]?[0-9]{1,3})?", tail in "[,;x]?",
        ) {
            let expected = match text.parse::<f64>() {
                Ok(value) if value.is_finite() => Number::Value(value),
                _ => Number::Text,
            };
            prop_assert_eq!(point(&text), expected);
            if let Some((value, taken)) = leading(format!("{text}{tail}").as_bytes(), b'.') {
                prop_assert_eq!(text[..taken].parse::<f64>(), Ok(value));
            }
        }

        #[test]
        fn short_numbers_are_read_at_once(whole in 0..10_000_000_u32, decimals in "[0-9]{0,8}", negative: bool) {
            let text = format!("{}{whole}.{decimals}", if negative { "-" } else { "" });
            let expected = text.parse::<f64>().map(|value| (value, text.len()));
            prop_assert_eq!(leading(format!("{text};").as_bytes(), b'.').ok_or(()), expected.map_err(|_| ()));
        }
    }
}
