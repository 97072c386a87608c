//! Reading quantities: a number with its unit, in one of a few spellings and no others.

mod spelling;
mod table;

use std::str::FromStr;

use thiserror::Error;

use crate::problem::quoted;

/// Why a text is no quantity, and how to write it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{what}; {remedy}")]
pub struct QuantityError {
    /// What is wrong.
    pub what: String,
    /// What to write instead.
    pub remedy: String,
}

impl QuantityError {
    fn new(what: String, remedy: impl Into<String>) -> QuantityError {
        QuantityError {
            what,
            remedy: remedy.into(),
        }
    }
}

/// The spellings of a unit, each with its conversion to the internal unit.
pub type Units = &'static [(&'static str, fn(f64) -> f64)];

/// A quantity that people write with a unit.
pub trait Quantity: Sized {
    /// What it is, with its article, such as `a temperature`.
    const NAME: &'static str;
    /// Examples of how to write it, such as `write "160 C" or "320 F"`.
    const EXAMPLE: &'static str;
    /// How a bare number is to be written, given the number.
    fn with_units(number: &str) -> String;
    /// The units that may be written, each with its conversion to the internal unit.
    const UNITS: Units;
    /// The least and the largest value that make sense, in the internal unit.
    const RANGE: (f64, f64);
    /// What is wrong with a value below and with one above that range.
    const OUTSIDE: (&'static str, &'static str);
    /// From the internal unit.
    fn new(value: f64) -> Self;

    /// Reads a number with its unit.
    ///
    /// # Errors
    /// When the number, the unit or the value is not one.
    fn parse(text: &str) -> Result<Self, QuantityError> {
        let (number, unit) = split(text);
        let value = number_of::<Self>(text, number)?;
        let Some((_, convert)) = Self::UNITS.iter().find(|(name, _)| *name == unit) else {
            return Err(unknown_unit::<Self>(number, unit));
        };
        within::<Self>(text, convert(value)).map(Self::new)
    }
}

fn number_of<Q: Quantity>(text: &str, number: &str) -> Result<f64, QuantityError> {
    let refuse = |remedy: &str| {
        let what = format!("{} is not {}", quoted(text), Q::NAME);
        Err(QuantityError::new(what, remedy))
    };
    match f64::from_str(number) {
        Ok(value) if value.is_finite() => Ok(value),
        _ if number.contains(',') => {
            let pointed = quoted(&text.replace(',', "."));
            refuse(&format!(
                "write a decimal point and no thousands mark: {pointed}"
            ))
        }
        _ => refuse(Q::EXAMPLE),
    }
}

/// The value, if it makes sense; what rounding alone put outside is put back.
fn within<Q: Quantity>(text: &str, value: f64) -> Result<f64, QuantityError> {
    let (least, most) = Q::RANGE;
    let rounding = 1e-12 * value.abs();
    let nearest = value.clamp(least, most);
    if (value - nearest).abs() <= rounding {
        return Ok(nearest);
    }
    let (below, above) = Q::OUTSIDE;
    let wrong = if value < least { below } else { above };
    let what = format!("{} {wrong}", quoted(text));
    Err(QuantityError::new(what, Q::EXAMPLE))
}

fn unknown_unit<Q: Quantity>(number: &str, unit: &str) -> QuantityError {
    if number.len() > 40 {
        let what = format!("{} is too long a number", quoted(number));
        return QuantityError::new(what, Q::EXAMPLE);
    }
    if unit.is_empty() {
        let remedy = format!("write {}", Q::with_units(number));
        return QuantityError::new(format!("{number} has no unit"), remedy);
    }
    let names = || {
        let named = Q::UNITS.iter().map(|(name, _)| *name);
        named.filter(|name| !name.is_empty())
    };
    let same_letters = names().find(|name| name.eq_ignore_ascii_case(unit));
    let listed = || spelling::listed(unit).filter(|near| names().any(|name| name == *near));
    let remedy = match same_letters.or_else(listed) {
        Some(near) => format!("write \"{number} {near}\""),
        None => format!("units are {}", names().collect::<Vec<_>>().join(", ")),
    };
    let quantity = Q::NAME.trim_start_matches("a ");
    QuantityError::new(format!("{} is no unit of {quantity}", quoted(unit)), remedy)
}

/// The number and the unit of a text.
fn split(text: &str) -> (&str, &str) {
    let text = text.trim();
    let bytes = text.as_bytes();
    let exponent = |at: usize| {
        let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
        let signed = matches!(bytes.get(at + 1), Some(b'+' | b'-')) && digit(at + 2);
        at > 0 && (digit(at + 1) || signed)
    };
    let unit_at = text.char_indices().find(|(at, letter)| {
        let belongs = letter.is_ascii_digit() || matches!(letter, '+' | '-' | '.' | ',');
        let is_exponent = matches!(letter, 'e' | 'E') && exponent(*at);
        !(belongs || is_exponent)
    });
    let (number, unit) = text.split_at(unit_at.map_or(text.len(), |(at, _)| at));
    (number, unit.trim())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{
        Celsius, CelsiusDifference, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds,
        Share,
    };

    fn error<Q: FromStr<Err = QuantityError> + std::fmt::Debug>(text: &str) -> String {
        text.parse::<Q>().unwrap_err().to_string()
    }

    /// To twelve figures: what is compared are exact definitions.
    fn same(value: f64, expected: f64) {
        let error = (value - expected).abs();
        assert!(error <= 1e-12 * expected.abs(), "{value} {expected}");
    }

    /// t/°C = (t/°F - 32)/1.8 and T/K = t/°C + 273.15 (NIST SP 811, appendix B.8). Fixed points of
    /// water and absolute zero by definition of the scales; whole degrees come out whole.
    #[test]
    fn temperatures_convert_by_the_definition_of_their_scales() {
        for (text, celsius) in [
            ("32 F", 0.0),
            ("212 F", 100.0),
            ("-40 F", -40.0),
            ("320 F", 160.0),
            ("320F", 160.0),
            ("320 °F", 160.0),
            ("160 C", 160.0),
            ("160C", 160.0),
            (" 160 °C ", 160.0),
            ("+160 C", 160.0),
            ("1.6e2 C", 160.0),
            ("273.15 K", 0.0),
            ("433.15 K", 160.0),
            ("0 K", -273.15),
            ("-459.67 F", -273.15),
        ] {
            assert_eq!(text.parse::<Celsius>(), Ok(Celsius(celsius)), "{text}");
        }
    }

    /// A kelvin and a degree Celsius are one size, a degree Fahrenheit five ninths of it (SP 811, B.8).
    #[test]
    fn differences_have_no_zero_point() {
        for text in ["1.5 C", "1.5K", "1.5 °C", "2.7 F", "2.7 °F"] {
            same(text.parse::<CelsiusDifference>().unwrap().0, 1.5);
        }
        same("-9 F".parse::<CelsiusDifference>().unwrap().0, -5.0);
    }

    /// Factors of NIST SP 811 (2008), appendix B.8, as printed there where it lists the unit
    /// (foot 3.048 E-01, inch 2.54 E-02, foot per minute 5.08 E-03, all exact); the inch a minute is the
    /// exact inch over 60 s.
    #[test]
    fn lengths_times_and_speeds_convert_by_published_factors() {
        let length = |text: &str| text.parse::<Metres>().unwrap().0;
        same(length("1 ft"), 3.048e-1);
        same(length("1 in"), 2.54e-2);
        same(length("35 cm"), 0.35);
        same(length("30 mm"), 0.03);
        same(length("80 um"), 8e-5);
        same(length("2.4m"), 2.4);
        let time = |text: &str| text.parse::<Seconds>().unwrap().0;
        same(time("90 s"), 90.0);
        same(time("3 min"), 180.0);
        same(time("8h"), 28_800.0);
        let speed = |text: &str| text.parse::<MetresPerSecond>().unwrap().0;
        same(speed("1 ft/min"), 5.08e-3);
        same(speed("60 in/min"), 2.54e-2);
        same(speed("60 m/min"), 1.0);
        same(speed("2 m/s"), 2.0);
        same(speed("2 cm/s"), 0.02);
    }

    /// NIST SP 811 (2008), appendix B.8: ounce per square yard, 3.390 575 E-02 kg/m2, rounded to the
    /// figures printed.
    #[test]
    fn mass_by_area_converts_by_its_published_factor() {
        let mass = |text: &str| text.parse::<KilogramsPerSquareMetre>().unwrap().0;
        let ounce = mass("1 oz/yd2");
        assert!((ounce - 3.390_575e-2).abs() <= 0.5e-8, "{ounce}");
        same(mass("180 g/m2"), 0.18);
    }

    #[test]
    fn a_share_is_a_number_or_per_cent() {
        for text in ["0.1", "10 %", "10%", " 1e-1 "] {
            same(text.parse::<Share>().unwrap().0, 0.1);
        }
        assert!(error::<Share>("120 %").contains("more than the whole"));
        assert!(error::<Share>("-0.1").contains("negative"));
        assert!(error::<Share>("10 C").contains("units are %"));
    }

    #[test]
    fn what_is_wrong_comes_with_how_to_write_it() {
        for (text, expected) in [
            ("160", "160 has no unit; write \"160 C\" or \"160 F\""),
            ("160 c", "\"c\" is no unit of temperature; write \"160 C\""),
            (
                "160degC",
                "\"degC\" is no unit of temperature; write \"160 C\"",
            ),
            ("160 Fahrenheit", "write \"160 F\""),
            ("160 R", "units are C, F, °C, °F, K"),
            (
                "hot",
                "\"hot\" is not a temperature; write for example \"160 C\"",
            ),
            ("", "\"\" is not a temperature"),
            ("160,5 C", "write a decimal point"),
            ("-300 C", "\"-300 C\" lies below absolute zero"),
            ("-1 K", "lies below absolute zero"),
            ("9000 C", "hotter than anything"),
            ("1e999 C", "is not a temperature"),
            ("NaN C", "is not a temperature"),
            ("inf C", "is not a temperature"),
            ("160 C C", "no unit of temperature"),
            ("160 C\n160 C", "no unit of temperature"),
        ] {
            let error = error::<Celsius>(text);
            assert!(error.contains(expected), "{text}: {error}");
            assert!(!error.contains('\n'), "{error}");
        }
        assert!(error::<Metres>("80 µm").ends_with("write \"80 um\""));
        assert!(error::<Metres>("80 μm").ends_with("write \"80 um\""));
        assert!(error::<MetresPerSecond>("8 fpm").ends_with("write \"8 ft/min\""));
        assert!(error::<KilogramsPerSquareMetre>("180 gsm").ends_with("write \"180 g/m2\""));
        assert!(error::<KilogramsPerSquareMetre>("0 g/m2").contains("weighs nothing"));
        assert!(error::<Seconds>("-1 s").contains("is negative"));
        assert!(error::<Seconds>("90 C").contains("units are s, min, h"));
    }

    /// A unit of another size is never offered as a spelling: its number would be wrong.
    #[test]
    fn no_other_size_is_offered() {
        for text in ["8 ft/s", "8 km/h", "8 mph"] {
            assert!(error::<MetresPerSecond>(text).contains("units are m/min"));
        }
        assert!(error::<Seconds>("5 ms").contains("units are s"));
        assert!(error::<Metres>("5 yd").contains("units are m"));
    }

    #[test]
    fn a_long_text_is_cut_short() {
        assert!(error::<Celsius>(&"x".repeat(100_000)).len() < 200);
        assert!(error::<Celsius>(&format!("1 {}", "x".repeat(100_000))).len() < 200);
        assert!(error::<Celsius>(&"1".repeat(100_000)).len() < 200);
        assert!(error::<Celsius>(&"0".repeat(100_000)).len() < 200);
    }
}
