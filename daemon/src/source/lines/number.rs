//! A written value becomes a number.

use crate::intake::Value;

/// So many characters are kept of what is no number.
const TEXT_KEPT: usize = 32;

/// The units that may stand behind a number, and their usual spelling. Letters' size counts for K alone: a
/// small k means a thousand.
const UNITS: [(&str, &str); 13] = [
    ("c", "C"),
    ("f", "F"),
    ("mv", "mV"),
    ("%", "%"),
    ("m/min", "m/min"),
    ("ft/min", "ft/min"),
    ("fpm", "ft/min"),
    ("in/min", "in/min"),
    ("ipm", "in/min"),
    ("m/s", "m/s"),
    ("cm/s", "cm/s"),
    ("degc", "C"),
    ("degf", "F"),
];

/// What was written, and the unit behind it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Written {
    pub value: Value,
    pub unit: Option<&'static str>,
}

/// Reads what stands where a value belongs; `None` where nothing does.
///
/// A number may have a sign, also apart from it; a decimal point, or a comma where `comma` allows it; an
/// exponent; and behind it a unit, as in `+168.2C`. The number is the one nearest to what is written.
/// `true` and `false` are 1 and 0. Everything else is a word, such as OPEN.
pub(super) fn read(text: &str, comma: bool) -> Option<Written> {
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    let plain = |value| Written { value, unit: None };
    if text.eq_ignore_ascii_case("true") {
        return Some(plain(Value::Number(1.0)));
    }
    if text.eq_ignore_ascii_case("false") {
        return Some(plain(Value::Number(0.0)));
    }
    Some(number_and_unit(text, comma).unwrap_or_else(|| plain(word(text))))
}

/// Something that is no number.
pub(super) fn word(text: &str) -> Value {
    let end = text.char_indices().nth(TEXT_KEPT);
    let kept = text.get(..end.map_or(text.len(), |(end, _)| end));
    Value::NoNumber(kept.unwrap_or_default().into())
}

/// The unit that a text is.
pub(super) fn unit(text: &str) -> Option<&'static str> {
    let bare = text.trim_start_matches(['°', 'º', '˚']).trim_start();
    if bare == "K" {
        return Some("K");
    }
    let mut known = UNITS.iter();
    let known = known.find(|(spelling, _)| bare.eq_ignore_ascii_case(spelling));
    known.map(|(_, usual)| *usual)
}

fn number_and_unit(text: &str, comma: bool) -> Option<Written> {
    let (negative, digits) = match text.as_bytes().first()? {
        b'-' => (true, text.get(1..)?.trim_start()),
        b'+' => (false, text.get(1..)?.trim_start()),
        _ => (false, text),
    };
    let end = number_end(digits.as_bytes(), comma)?;
    let (digits, rest) = digits.split_at_checked(end)?;
    let magnitude: f64 = match digits.contains(',') {
        true => digits.replacen(',', ".", 1).parse().ok()?,
        false => digits.parse().ok()?,
    };
    if !magnitude.is_finite() {
        return None;
    }
    let unit = match rest.trim_start() {
        "" => None,
        rest => Some(unit(rest)?),
    };
    let value = Value::Number(if negative { -magnitude } else { magnitude });
    Some(Written { value, unit })
}

/// Where a number without a sign ends; `None` if the text does not begin with one.
fn number_end(text: &[u8], comma: bool) -> Option<usize> {
    let digits = |from: usize| {
        let rest = text.get(from..).unwrap_or_default();
        rest.iter().take_while(|byte| byte.is_ascii_digit()).count()
    };
    let mut end = digits(0);
    let mut any = end;
    let point = matches!(text.get(end), Some(b'.')) || comma && text.get(end) == Some(&b',');
    if point {
        let fraction = digits(end + 1);
        any += fraction;
        end += 1 + fraction;
    }
    if any == 0 {
        return None;
    }
    if matches!(text.get(end), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(text.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(end + 1 + signed);
        if exponent > 0 {
            end += 1 + signed + exponent;
        }
    }
    Some(end)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn number(text: &str, comma: bool) -> Option<(f64, Option<&'static str>)> {
        match read(text, comma)? {
            Written {
                value: Value::Number(number),
                unit,
            } => Some((number, unit)),
            Written { .. } => None,
        }
    }

    #[test]
    fn numbers_are_read_as_devices_write_them() {
        for (text, expected) in [
            ("168.2", 168.2),
            ("+168.2", 168.2),
            ("-12", -12.0),
            ("- 12.5", -12.5),
            ("  0168.20  ", 168.2),
            (".5", 0.5),
            ("5.", 5.0),
            ("1.682e2", 168.2),
            ("1682E-1", 168.2),
            ("168,2", 168.2),
            ("TRUE", 1.0),
            ("false", 0.0),
        ] {
            assert_eq!(number(text, true), Some((expected, None)), "{text}");
        }
    }

    #[test]
    fn a_unit_may_stand_behind_and_is_told() {
        for (text, expected) in [
            ("168.2C", (168.2, "C")),
            ("+168.2 C", (168.2, "C")),
            ("168,2 °C", (168.2, "C")),
            ("335f", (335.0, "F")),
            ("335 ºF", (335.0, "F")),
            ("335 degF", (335.0, "F")),
            ("441.35K", (441.35, "K")),
            ("6.138 mV", (6.138, "mV")),
            ("2.6 m/min", (2.6, "m/min")),
            ("8.5 FPM", (8.5, "ft/min")),
            ("50%", (50.0, "%")),
        ] {
            assert_eq!(
                number(text, true),
                Some((expected.0, Some(expected.1))),
                "{text}"
            );
        }
    }

    #[test]
    fn what_is_no_number_is_a_word() {
        for text in [
            "OPEN",
            "---",
            "0L",
            "OL",
            "nan",
            "NaN",
            "inf",
            "-inf",
            "infinity",
            "1e999",
            "0x1F",
            "168.2X",
            "168.2.1",
            "1 682",
            "12:30",
            "1,682.5",
            "1.2k",
            "168.2CC",
            "+",
            "-",
            ".",
            "e5",
            "1e",
            "--5",
            "168.2 C 5",
            "1_000",
        ] {
            assert_eq!(
                read(text, true).unwrap().value,
                Value::NoNumber(text.into()),
                "{text}"
            );
        }
        // Where the comma separates fields, it cannot stand in a number.
        assert_eq!(number("168,2", false), None);
        let long = "e".repeat(40);
        assert_eq!(
            read(&long, true).unwrap().value,
            Value::NoNumber(long[..32].into())
        );
        for nothing in ["", "  ", "\t"] {
            assert_eq!(read(nothing, true), None);
        }
    }

    /// The nearest double: 2^53 + 1 lies half-way and goes to the even neighbour 2^53 (IEEE 754, round half
    /// to even), and a little more goes up; 0.1 + 0.2 is not 0.3.
    #[test]
    fn the_nearest_number_is_taken() {
        let exact = |text: &str| number(text, false).unwrap().0;
        assert_eq!(
            exact("9007199254740993").to_bits(),
            9_007_199_254_740_992.0_f64.to_bits()
        );
        assert_eq!(
            exact("9007199254740993.00000000000000000000000000000000000001").to_bits(),
            9_007_199_254_740_994.0_f64.to_bits()
        );
        assert_eq!(
            exact("0.30000000000000004").to_bits(),
            (0.1_f64 + 0.2).to_bits()
        );
        assert!(exact("-0").is_sign_negative());
    }

    proptest! {
        #[test]
        fn what_a_number_prints_is_that_number(number: f64, comma: bool) {
            prop_assume!(number.is_finite());
            for text in [number.to_string(), format!("{number:e}"), format!("{number:+E} C")] {
                let text = if comma { text.replace('.', ",") } else { text };
                match read(&text, comma).map(|written| written.value) {
                    Some(Value::Number(read)) => prop_assert_eq!(read.to_bits(), number.to_bits()),
                    other => prop_assert!(false, "{} gave {:?}", text, other),
                }
            }
        }

        #[test]
        fn no_text_makes_it_panic(text: String, comma: bool) {
            if let Some(Written { value: Value::NoNumber(word), .. }) = read(&text, comma) {
                prop_assert!(word.chars().count() <= TEXT_KEPT);
            }
        }
    }
}
