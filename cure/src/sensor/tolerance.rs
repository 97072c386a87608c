//! Tolerance classes of thermocouples, IEC 60584-1:2013 (the figures are those of IEC 60584-2:1982, which
//! it took in).
//!
//! | types | class 1 | class 2 | class 3 |
//! |---|---|---|---|
//! | K, N | 1.5 or 0.004 t, −40 to 1000 | 2.5 or 0.0075 t, −40 to 1200 | 2.5 or 0.015 t, −200 to 40 |
//! | E | 1.5 or 0.004 t, −40 to 800 | 2.5 or 0.0075 t, −40 to 900 | 2.5 or 0.015 t, −200 to 40 |
//! | J | 1.5 or 0.004 t, −40 to 750 | 2.5 or 0.0075 t, −40 to 750 | |
//! | T | 0.5 or 0.004 t, −40 to 350 | 1 or 0.0075 t, −40 to 350 | 1 or 0.015 t, −200 to 40 |
//! | R, S | 1, above 1100: 1 + 0.003 (t − 1100), 0 to 1600 | 1.5 or 0.0025 t, 0 to 1600 | |
//! | B | | 0.0025 t, 600 to 1700 | 4 or 0.005 t, 600 to 1700 |
//!
//! All in °C, plus or minus, t standing for |t|, and the larger of two counts. The standard promises nothing
//! outside the range; here the formula is carried on there, since a doubt that stops growing would be the
//! worse guess, except that type B keeps its value at 600 °C below it, since its formula would come down
//! to no doubt at all.
//!
//! A tolerance says that the error lies within ± a and no more, so it is taken as rectangular: standard
//! uncertainty a/√3 (JCGM 100:2008, 4.3.7), expanded with k = 2 to U = 2 a/√3.

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

/// Above this, in °C, class 1 of types R and S grows …
const NOBLE_GROWS_FROM: f64 = 1100.0;
/// … by this for every °C.
const NOBLE_GROWTH: f64 = 0.003;

/// The half-width of a type's tolerance as (°C, share of |t|), the growth of class 1 of types R and S
/// apart; `None` where the standard has no such class.
fn half_width(kind: ThermocoupleType, class: ToleranceClass) -> Option<(f64, f64)> {
    use ThermocoupleType::{B, E, J, K, N, R, S, T};
    use ToleranceClass::{One, Three, Two};
    match (kind, class) {
        (K | N | E | J, One) => Some((1.5, 0.004)),
        (K | N | E | J, Two) => Some((2.5, 0.0075)),
        (K | N | E, Three) => Some((2.5, 0.015)),
        (T, One) => Some((0.5, 0.004)),
        (T, Two) => Some((1.0, 0.0075)),
        (T, Three) => Some((1.0, 0.015)),
        (R | S, One) => Some((1.0, 0.0)),
        (R | S, Two) => Some((1.5, 0.0025)),
        // 0.0025 of the 600 °C where the class begins.
        (B, Two) => Some((1.5, 0.0025)),
        (B, Three) => Some((4.0, 0.005)),
        (J | R | S, Three) | (B, One) => None,
    }
}

/// The temperatures for which the standard states a class; `None` where it has no such class.
pub fn range(kind: ThermocoupleType, class: ToleranceClass) -> Option<(Celsius, Celsius)> {
    use ThermocoupleType::{B, E, J, K, N, R, S, T};
    use ToleranceClass::{One, Three, Two};
    let (from, to) = match (kind, class) {
        (K | N, One) => (-40.0, 1000.0),
        (K | N, Two) => (-40.0, 1200.0),
        (E, One) => (-40.0, 800.0),
        (E, Two) => (-40.0, 900.0),
        (J, One | Two) => (-40.0, 750.0),
        (T, One | Two) => (-40.0, 350.0),
        (K | N | E | T, Three) => (-200.0, 40.0),
        (R | S, One | Two) => (0.0, 1600.0),
        (B, Two | Three) => (600.0, 1700.0),
        (J | R | S, Three) | (B, One) => return None,
    };
    Some((Celsius(from), Celsius(to)))
}

/// How far a thermocouple of a type and class may be off at a temperature, to either side. `None` where
/// the standard has no such class; outside [`range`] the formula is carried on as the module says.
pub fn tolerance(
    kind: ThermocoupleType,
    class: ToleranceClass,
    temperature: Celsius,
) -> Option<CelsiusDifference> {
    let (constant, share) = half_width(kind, class)?;
    let larger = constant.max(share * temperature.0.abs());
    let growth = match (kind, class) {
        (ThermocoupleType::R | ThermocoupleType::S, ToleranceClass::One) => {
            NOBLE_GROWTH * (temperature.0 - NOBLE_GROWS_FROM).max(0.0)
        }
        _ => 0.0,
    };
    Some(CelsiusDifference(larger + growth))
}

/// The expanded uncertainty (k = 2) of a thermocouple of a type and class, U = 2 a/√3 with its
/// [`tolerance`] a. `None` where the standard has no such class.
///
/// For class 1 of types R and S it holds up to 1100 °C, far above any print.
pub fn expanded_uncertainty(kind: ThermocoupleType, class: ToleranceClass) -> Option<Uncertainty> {
    let (constant, share) = half_width(kind, class)?;
    Some(Uncertainty::rectangular(constant, share))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ThermocoupleType::{B, E, J, K, N, R, S, T};
    use ToleranceClass::{One, Three, Two};

    fn half_width_at(kind: ThermocoupleType, class: ToleranceClass, celsius: f64) -> f64 {
        tolerance(kind, class, Celsius(celsius)).unwrap().0
    }

    /// IEC 60584-2:1982 as JIS C 1602 and makers' tables reprint it: the temperatures, in whole degrees, at
    /// which the share takes over from the constant, and the constant.
    #[test]
    fn the_share_takes_over_where_the_standard_says() {
        for (kinds, class, at, constant, share) in [
            ([K, N, E, J].as_slice(), One, 375.0, 1.5, 0.004),
            (&[K, N, E, J], Two, 333.0, 2.5, 0.0075),
            (&[K, N, E], Three, -167.0, 2.5, 0.015),
            (&[T], One, 125.0, 0.5, 0.004),
            (&[T], Two, 133.0, 1.0, 0.0075),
            (&[T], Three, -67.0, 1.0, 0.015),
            (&[R, S], Two, 600.0, 1.5, 0.0025),
            (&[B], Three, 800.0, 4.0, 0.005),
        ] {
            for kind in kinds {
                assert_eq!(half_width_at(*kind, class, 0.98 * at), constant, "{kind:?}");
                let beyond = half_width_at(*kind, class, 1.02 * at);
                assert!(
                    (beyond - 1.02 * share * f64::abs(at)).abs() < 1e-12,
                    "{kind:?}"
                );
                assert!((half_width_at(*kind, class, at) - constant).abs() < 0.006);
            }
        }
    }

    /// The same tables: types R and S in class 1 have 1 °C to 1100 °C and 1 + 0.003 (t − 1100) above, which
    /// is 2.5 °C at 1600 °C; type B in class 2 has 0.0025 t from 600 °C.
    #[test]
    fn noble_metals_have_their_own_formulas() {
        for kind in [R, S] {
            assert_eq!(half_width_at(kind, One, 25.0), 1.0);
            assert_eq!(half_width_at(kind, One, 1100.0), 1.0);
            assert!((half_width_at(kind, One, 1600.0) - 2.5).abs() < 1e-12);
        }
        assert!((half_width_at(B, Two, 1700.0) - 4.25).abs() < 1e-12);
        assert!((half_width_at(B, Two, 600.0) - 1.5).abs() < 1e-12);
        // Below the class's range the value at its end is kept: our choice.
        assert_eq!(half_width_at(B, Two, 20.0), 1.5);
    }

    /// The same tables, columns of temperature ranges.
    #[test]
    fn ranges_are_those_of_the_standard() {
        for (kind, class, expected) in [
            (K, One, Some((-40.0, 1000.0))),
            (N, Two, Some((-40.0, 1200.0))),
            (K, Three, Some((-200.0, 40.0))),
            (E, One, Some((-40.0, 800.0))),
            (E, Two, Some((-40.0, 900.0))),
            (J, Two, Some((-40.0, 750.0))),
            (J, Three, None),
            (T, One, Some((-40.0, 350.0))),
            (T, Three, Some((-200.0, 40.0))),
            (R, One, Some((0.0, 1600.0))),
            (S, Three, None),
            (B, One, None),
            (B, Two, Some((600.0, 1700.0))),
        ] {
            let ours = range(kind, class).map(|(from, to)| (from.0, to.0));
            assert_eq!(ours, expected, "{kind:?} {class:?}");
        }
    }

    #[test]
    fn a_class_has_a_range_where_it_has_a_tolerance() {
        for kind in ThermocoupleType::ALL {
            for class in [One, Two, Three] {
                let stated = range(kind, class).is_some();
                assert_eq!(tolerance(kind, class, Celsius(600.0)).is_some(), stated);
                assert_eq!(expanded_uncertainty(kind, class).is_some(), stated);
            }
        }
    }
}
