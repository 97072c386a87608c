//! Reading quantities: a number with its unit, in one of a few spellings and no others.

use std::str::FromStr;

use thiserror::Error;

use crate::quantity::{
    Celsius, CelsiusDifference, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
    ZERO_CELSIUS_IN_KELVIN,
};

/// Why a text is no quantity, and how to write it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{what}; {remedy}")]
pub struct QuantityError {
    /// What is wrong.
    pub what: String,
    /// What to write instead.
    pub remedy: String,
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
        let converted = convert(value);
        let (least, most) = Self::RANGE;
        if !(least..=most).contains(&converted) {
            return Err(QuantityError {
                what: format!("{text:?} cannot be {}", Self::NAME),
                remedy: Self::EXAMPLE.to_owned(),
            });
        }
        Ok(Self::new(converted))
    }
}

fn number_of<Q: Quantity>(text: &str, number: &str) -> Result<f64, QuantityError> {
    let value = f64::from_str(number).ok().filter(|value| value.is_finite());
    value.ok_or_else(|| QuantityError {
        what: format!("{text:?} is not {}", Q::NAME),
        remedy: if number.contains(',') {
            format!("write a decimal point: \"{}\"", text.replace(',', "."))
        } else {
            Q::EXAMPLE.to_owned()
        },
    })
}

fn unknown_unit<Q: Quantity>(number: &str, unit: &str) -> QuantityError {
    let names: Vec<&str> = Q::UNITS
        .iter()
        .map(|(name, _)| *name)
        .filter(|name| !name.is_empty())
        .collect();
    if unit.is_empty() {
        return QuantityError {
            what: format!("{number} has no unit"),
            remedy: format!("write {}", Q::with_units(number)),
        };
    }
    let alike = names
        .iter()
        .find(|name| name.eq_ignore_ascii_case(unit))
        .copied();
    let near = alike.or_else(|| spelled_otherwise(unit).filter(|near| names.contains(near)));
    QuantityError {
        what: format!(
            "{unit:?} is no unit of {}",
            Q::NAME.trim_start_matches("a ").trim_start_matches("an ")
        ),
        remedy: match near {
            Some(near) => format!("write \"{number} {near}\""),
            None => format!("write one of {}", names.join(", ")),
        },
    }
}

/// What people write for a unit that is spelled otherwise here.
fn spelled_otherwise(unit: &str) -> Option<&'static str> {
    let near = match unit.to_lowercase().as_str() {
        "degc" | "celsius" | "deg c" | "ºc" | "℃" => "C",
        "degf" | "fahrenheit" | "deg f" | "ºf" | "℉" => "F",
        "kelvin" => "K",
        "sec" | "secs" | "second" | "seconds" => "s",
        "mins" | "minute" | "minutes" => "min",
        "hr" | "hrs" | "hour" | "hours" => "h",
        "µm" | "μm" | "micron" | "microns" => "um",
        "inch" | "inches" | "\"" => "in",
        "foot" | "feet" | "'" => "ft",
        "metre" | "metres" | "meter" | "meters" => "m",
        "fpm" | "ft/minute" => "ft/min",
        "ipm" | "in/minute" => "in/min",
        "mpm" | "m/minute" => "m/min",
        "gsm" | "g/m²" | "g/m^2" => "g/m2",
        "oz" | "oz/yd²" | "oz/yd^2" | "oz/sqyd" => "oz/yd2",
        "percent" => "%",
        _ => return None,
    };
    Some(near)
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

const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
/// An avoirdupois ounce in kilograms and a yard in metres, both exact (NIST Handbook 44, appendix C).
const OUNCE: f64 = 0.028_349_523_125;
const YARD: f64 = 0.9144;

fn celsius_of_fahrenheit(value: f64) -> f64 {
    (value - 32.0) / 1.8
}

fn same(value: f64) -> f64 {
    value
}

fn of_fahrenheit_difference(value: f64) -> f64 {
    value / 1.8
}

impl Quantity for Celsius {
    const NAME: &'static str = "a temperature";
    const EXAMPLE: &'static str = "write for example \"160 C\" or \"320 F\"";
    const UNITS: Units = &[
        ("C", same),
        ("F", celsius_of_fahrenheit),
        ("°C", same),
        ("°F", celsius_of_fahrenheit),
        ("K", |value| value - ZERO_CELSIUS_IN_KELVIN),
    ];
    const RANGE: (f64, f64) = (-ZERO_CELSIUS_IN_KELVIN, 5000.0);
    fn with_units(number: &str) -> String {
        format!("\"{number} C\" or \"{number} F\"")
    }
    fn new(value: f64) -> Celsius {
        Celsius(value)
    }
}

impl Quantity for CelsiusDifference {
    const NAME: &'static str = "a temperature difference";
    const EXAMPLE: &'static str = "write for example \"1.5 C\" or \"2.7 F\"";
    const UNITS: Units = &[
        ("C", same),
        ("F", of_fahrenheit_difference),
        ("°C", same),
        ("°F", of_fahrenheit_difference),
        ("K", same),
    ];
    const RANGE: (f64, f64) = (-5000.0, 5000.0);
    fn with_units(number: &str) -> String {
        format!("\"{number} C\" or \"{number} F\"")
    }
    fn new(value: f64) -> CelsiusDifference {
        CelsiusDifference(value)
    }
}

impl Quantity for Seconds {
    const NAME: &'static str = "a time";
    const EXAMPLE: &'static str = "write for example \"90 s\", \"3 min\" or \"8 h\"";
    const UNITS: Units = &[
        ("s", same),
        ("min", |value| value * 60.0),
        ("h", |value| value * 3600.0),
    ];
    const RANGE: (f64, f64) = (0.0, 1e10);
    fn with_units(number: &str) -> String {
        format!("\"{number} s\" or \"{number} min\"")
    }
    fn new(value: f64) -> Seconds {
        Seconds(value)
    }
}

impl Quantity for Metres {
    const NAME: &'static str = "a length";
    const EXAMPLE: &'static str = "write for example \"2.4 m\", \"80 um\" or \"30 in\"";
    const UNITS: Units = &[
        ("m", same),
        ("cm", |value| value / 100.0),
        ("mm", |value| value / 1000.0),
        ("um", |value| value / 1e6),
        ("ft", |value| value * FOOT),
        ("in", |value| value * INCH),
    ];
    const RANGE: (f64, f64) = (0.0, 1e6);
    fn with_units(number: &str) -> String {
        format!("\"{number} m\", \"{number} mm\" or \"{number} in\"")
    }
    fn new(value: f64) -> Metres {
        Metres(value)
    }
}

impl Quantity for MetresPerSecond {
    const NAME: &'static str = "a speed";
    const EXAMPLE: &'static str = "write for example \"2.6 m/min\" or \"8.5 ft/min\"";
    const UNITS: Units = &[
        ("m/min", |value| value / 60.0),
        ("ft/min", |value| value * FOOT / 60.0),
        ("in/min", |value| value * INCH / 60.0),
        ("m/s", same),
        ("cm/s", |value| value / 100.0),
    ];
    const RANGE: (f64, f64) = (0.0, 1000.0);
    fn with_units(number: &str) -> String {
        format!("\"{number} m/min\" or \"{number} ft/min\"")
    }
    fn new(value: f64) -> MetresPerSecond {
        MetresPerSecond(value)
    }
}

impl Quantity for KilogramsPerSquareMetre {
    const NAME: &'static str = "a mass by area";
    const EXAMPLE: &'static str = "write for example \"180 g/m2\" or \"5.3 oz/yd2\"";
    const UNITS: Units = &[
        ("g/m2", |value| value / 1000.0),
        ("oz/yd2", |value| value * OUNCE / (YARD * YARD)),
    ];
    const RANGE: (f64, f64) = (1e-6, 1000.0);
    fn with_units(number: &str) -> String {
        format!("\"{number} g/m2\" or \"{number} oz/yd2\"")
    }
    fn new(value: f64) -> KilogramsPerSquareMetre {
        KilogramsPerSquareMetre(value)
    }
}

impl Quantity for Share {
    const NAME: &'static str = "a share";
    const EXAMPLE: &'static str = "write a number from 0 to 1, or for example \"10 %\"";
    const UNITS: Units = &[("", same), ("%", |value| value / 100.0)];
    const RANGE: (f64, f64) = (0.0, 1.0);
    fn with_units(number: &str) -> String {
        format!("{number} or \"{number} %\"")
    }
    fn new(value: f64) -> Share {
        Share(value)
    }
}

macro_rules! from_str {
    ($($quantity:ty),*) => {
        $(impl FromStr for $quantity {
            type Err = QuantityError;
            fn from_str(text: &str) -> Result<Self, QuantityError> {
                <$quantity as Quantity>::parse(text)
            }
        })*
    };
}

from_str!(
    Celsius,
    CelsiusDifference,
    Seconds,
    Metres,
    MetresPerSecond,
    KilogramsPerSquareMetre,
    Share
);

#[cfg(test)]
mod tests {
    use super::*;

    fn close(value: f64, expected: f64) {
        assert!(
            (value - expected).abs() <= 1e-12 * expected.abs().max(1.0),
            "{value} {expected}"
        );
    }

    /// Conversion factors: NIST SP 811 (2008), appendix B.8; NIST Handbook 44, appendix C.
    #[test]
    fn every_unit_converts_by_its_published_factor() {
        for text in [
            "320 F",
            "320F",
            "320 °F",
            "160 C",
            "160C",
            " 160 °C ",
            "433.15 K",
        ] {
            let celsius: Celsius = text.parse().unwrap();
            assert!((celsius.0 - 160.0).abs() < 1e-9, "{text} {celsius:?}");
        }
        close("2.7 F".parse::<CelsiusDifference>().unwrap().0, 1.5);
        close("1.5K".parse::<CelsiusDifference>().unwrap().0, 1.5);
        close("3 min".parse::<Seconds>().unwrap().0, 180.0);
        close("8h".parse::<Seconds>().unwrap().0, 28_800.0);
        close("80 um".parse::<Metres>().unwrap().0, 80e-6);
        close("1 ft".parse::<Metres>().unwrap().0, 0.3048);
        close("10 in".parse::<Metres>().unwrap().0, 0.254);
        close("35 cm".parse::<Metres>().unwrap().0, 0.35);
        close("60 m/min".parse::<MetresPerSecond>().unwrap().0, 1.0);
        close("1 ft/min".parse::<MetresPerSecond>().unwrap().0, 5.08e-3);
        close(
            "1 in/min".parse::<MetresPerSecond>().unwrap().0,
            4.233_333_333_333_333e-4,
        );
        close("2 cm/s".parse::<MetresPerSecond>().unwrap().0, 0.02);
        close(
            "180 g/m2".parse::<KilogramsPerSquareMetre>().unwrap().0,
            0.18,
        );
        // One ounce a square yard is 33.905 75 g/m² (SP 811).
        let ounce = "1 oz/yd2".parse::<KilogramsPerSquareMetre>().unwrap().0;
        assert!((ounce - 0.033_905_75).abs() < 1e-8, "{ounce}");
        close("10 %".parse::<Share>().unwrap().0, 0.1);
        close("0.085".parse::<Share>().unwrap().0, 0.085);
        close("1.6e2 C".parse::<Celsius>().unwrap().0, 160.0);
    }

    #[test]
    fn what_is_wrong_comes_with_how_to_write_it() {
        for (text, words) in [
            ("160", "\"160 C\" or \"160 F\""),
            ("160 c", "\"160 C\""),
            ("160 degC", "\"160 C\""),
            ("160 R", "one of C, F"),
            ("hot", "\"160 C\""),
            ("", "\"160 C\""),
            ("160,5 C", "\"160.5 C\""),
            ("-300 C", "\"160 C\""),
            ("1e999 C", "\"160 C\""),
        ] {
            let error = text.parse::<Celsius>().unwrap_err().to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
        assert!(
            "80 µm"
                .parse::<Metres>()
                .unwrap_err()
                .to_string()
                .contains("\"80 um\"")
        );
        assert!(
            "8 fpm"
                .parse::<MetresPerSecond>()
                .unwrap_err()
                .to_string()
                .contains("8 ft/min")
        );
        assert!("-1 s".parse::<Seconds>().is_err());
        assert!("NaN C".parse::<Celsius>().is_err());
        assert!("inf C".parse::<Celsius>().is_err());
        assert!("120 %".parse::<Share>().is_err());
    }
}
