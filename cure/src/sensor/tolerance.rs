//! Tolerance classes of thermocouples, IEC 60584-1:2013, table 12 (1, 2 and 3).
//!
//! | types | class 1 | class 2 | class 3 |
//! |---|---|---|---|
//! | K, N, E, J | 1.5 °C or 0.4 % | 2.5 °C or 0.75 % | 2.5 °C or 1.5 % (not J) |
//! | T | 0.5 °C or 0.4 % | 1 °C or 0.75 % | 1 °C or 1.5 % |
//! | R, S | 1 °C, above 1100 °C [1 + 0.003 (t − 1100)] | 1.5 °C or 0.25 % | |
//! | B | | 0.25 % | 4 °C or 0.5 % |
//!
//! whichever is larger, a share being one of |t|. Where the standard's class ends its formula is
//! carried on, since a doubt that stops growing would be the worse guess.

use inkdwell_config::quantity::{Celsius, CelsiusDifference};

use super::thermocouple::ThermocoupleType;
use super::uncertainty::Uncertainty;

/// A tolerance class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToleranceClass {
    /// The narrowest.
    One,
    /// The usual one.
    Two,
    /// For low temperatures, and type B.
    Three,
}

/// The half-width of a type's tolerance as (°C, share of |t|); `None` where the standard has no such
/// class.
pub(super) fn half_width(kind: ThermocoupleType, class: ToleranceClass) -> Option<(f64, f64)> {
    use ThermocoupleType::{B, E, J, K, N, R, S, T};
    use ToleranceClass::{One, Three, Two};
    match (kind, class) {
        (K | N | E | J, One) => Some((1.5, 0.004)),
        (K | N | E | J, Two) => Some((2.5, 0.0075)),
        (K | N | E, Three) => Some((2.5, 0.015)),
        (T, One) => Some((0.5, 0.004)),
        (T, Two) => Some((1.0, 0.0075)),
        (T, Three) => Some((1.0, 0.015)),
        // Above 1100 °C class 1 grows; nothing here is as hot.
        (R | S, One) => Some((1.0, 0.0)),
        (R | S, Two) => Some((1.5, 0.0025)),
        (B, Two) => Some((0.0, 0.0025)),
        (B, Three) => Some((4.0, 0.005)),
        (J | R | S, Three) | (B, One) => None,
    }
}

/// How far a thermocouple of a type and class may be off at a temperature: the half-width of its
/// tolerance. `None` where the standard has no such class.
pub fn tolerance(
    kind: ThermocoupleType,
    class: ToleranceClass,
    temperature: Celsius,
) -> Option<CelsiusDifference> {
    let (constant, share) = half_width(kind, class)?;
    Some(CelsiusDifference(constant.max(share * temperature.0.abs())))
}

/// The expanded uncertainty (k = 2) of a thermocouple of a type and class: its tolerance a taken as
/// rectangular, U = 2 a/√3 (JCGM 100:2008, 4.3.7). `None` where the standard has no such class.
pub fn expanded_uncertainty(kind: ThermocoupleType, class: ToleranceClass) -> Option<Uncertainty> {
    let (constant, share) = half_width(kind, class)?;
    Some(Uncertainty::rectangular(constant, share))
}
