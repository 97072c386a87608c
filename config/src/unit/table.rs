//! The units that may be written for each quantity, with their exact conversions.

use std::str::FromStr;

use super::{Quantity, QuantityError, Units};
use crate::quantity::{
    Celsius, CelsiusDifference, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
    ZERO_CELSIUS_IN_KELVIN,
};

/// The international foot and inch in metres, both exact (NIST SP 811, appendix B.8).
const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
/// The avoirdupois ounce in kilograms and the yard in metres, both exact (NIST Handbook 44, appendix C).
const OUNCE: f64 = 0.028_349_523_125;
const YARD: f64 = 0.9144;

/// Five ninths rather than a division by 1.8, which no binary fraction holds: whole degrees stay whole.
fn celsius_of_fahrenheit(value: f64) -> f64 {
    (value - 32.0) * 5.0 / 9.0
}

fn same(value: f64) -> f64 {
    value
}

fn of_fahrenheit_difference(value: f64) -> f64 {
    value * 5.0 / 9.0
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
    const OUTSIDE: (&'static str, &'static str) = (
        "lies below absolute zero (-273.15 C, -459.67 F)",
        "is hotter than anything in a print shop",
    );
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
    const OUTSIDE: (&'static str, &'static str) = (
        "is no difference that heat makes",
        "is no difference that heat makes",
    );
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
    const OUTSIDE: (&'static str, &'static str) = ("is negative", "is longer than three centuries");
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
    const OUTSIDE: (&'static str, &'static str) = ("is negative", "is longer than any shop");
    fn with_units(number: &str) -> String {
        format!("\"{number} m\", \"{number} mm\", \"{number} um\" or \"{number} in\"")
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
    const OUTSIDE: (&'static str, &'static str) = ("is negative", "is faster than any belt");
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
    const OUTSIDE: (&'static str, &'static str) = ("weighs nothing", "is heavier than any cloth");
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
    const OUTSIDE: (&'static str, &'static str) = ("is negative", "is more than the whole");
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
