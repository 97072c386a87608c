//! Expanded uncertainty as a function of temperature.
//!
//!   U(t) = √(max(a, b |t|)² + c²)
//!
//! with U, a, c in °C and t in °C, all at k = 2: a and b come from a tolerance that is the larger of a
//! constant and a share of |t|, c from everything beside it that does not depend on temperature. Independent
//! parts add in quadrature (JCGM 100:2008, 5.1.2).

use inkdwell_config::quantity::CelsiusDifference;
use serde::{Deserialize, Serialize};

use super::thermocouple::ThermocoupleType;
use super::tolerance::{self, ToleranceClass};

/// An expanded uncertainty (k = 2) in °C, as a function of temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Uncertainty {
    /// a in °C.
    constant: f64,
    /// b.
    share: f64,
    /// c in °C.
    beside: f64,
    /// Up to this |t| it is constant, in °C …
    level_until: f64,
    /// … and has this value.
    level: f64,
}

impl Uncertainty {
    /// Sure beyond doubt.
    pub const ZERO: Uncertainty = Uncertainty {
        constant: 0.0,
        share: 0.0,
        beside: 0.0,
        level_until: f64::INFINITY,
        level: 0.0,
    };

    fn from_parts(constant: f64, share: f64, beside: f64) -> Uncertainty {
        let level_until = if share > 0.0 {
            constant / share
        } else {
            f64::INFINITY
        };
        Uncertainty {
            constant,
            share,
            beside,
            level_until,
            level: (constant * constant + beside * beside).sqrt(),
        }
    }

    /// The same at every temperature. The sign of `u` does not count.
    pub fn constant(u: CelsiusDifference) -> Uncertainty {
        Uncertainty::from_parts(u.0.abs(), 0.0, 0.0)
    }

    /// That of a thermocouple of a type and class; `None` where the standard has no such class. See
    /// [`tolerance::expanded_uncertainty`].
    pub fn thermocouple(kind: ThermocoupleType, class: ToleranceClass) -> Option<Uncertainty> {
        tolerance::expanded_uncertainty(kind, class)
    }

    /// From a tolerance that is the larger of a constant in °C and a share of |t|, taken as
    /// rectangular: U = 2 a/√3.
    pub(super) fn rectangular(constant: f64, share: f64) -> Uncertainty {
        let expanded = 2.0 / 3.0_f64.sqrt();
        Uncertainty::from_parts(expanded * constant, expanded * share, 0.0)
    }

    /// Together with an independent one that is the same at every temperature, in quadrature. Called
    /// again it takes in another.
    #[must_use]
    pub fn combined(self, u: CelsiusDifference) -> Uncertainty {
        Uncertainty::from_parts(self.constant, self.share, self.beside.hypot(u.0))
    }

    /// Its value in °C at a temperature in °C.
    #[inline]
    pub fn at(&self, celsius: f64) -> f64 {
        let shared = self.share * celsius;
        let grown = (shared * shared + self.beside * self.beside).sqrt();
        if celsius.abs() <= self.level_until {
            self.level
        } else {
            grown
        }
    }

    /// The |t| in °C up to which it is constant: infinite where it does not depend on temperature.
    pub fn constant_below(&self) -> f64 {
        self.level_until
    }

    /// Its value in °C at every |t| up to [`Uncertainty::constant_below`]; nowhere is it smaller.
    pub fn level(&self) -> f64 {
        self.level
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// IEC 60584-1, type K class 2: 2.5 °C or 0.0075 t, which meet at 333.3 °C; rectangular as in JCGM
    /// 100:2008, 4.3.7, so 2 × 2.5/√3 = 2.886 75 °C.
    #[test]
    fn a_thermocouple_is_level_until_its_share_takes_over() {
        let u = Uncertainty::thermocouple(ThermocoupleType::K, ToleranceClass::Two).unwrap();
        assert!((u.constant_below() - 1000.0 / 3.0).abs() < 1e-9);
        assert!((u.level() - 2.886_751_345_9).abs() < 1e-9);
        assert_eq!(u.at(-40.0), u.level());
        assert_eq!(u.at(333.0), u.level());
        // 0.0075 × 600 °C = 4.5 °C.
        assert!((u.at(600.0) - 9.0 / 3.0_f64.sqrt()).abs() < 1e-12);
        let none = Uncertainty::thermocouple(ThermocoupleType::J, ToleranceClass::Three);
        assert_eq!(none, None);
    }

    /// 2² + 3² + 6² = 7².
    #[test]
    fn several_add_in_quadrature() {
        let u = Uncertainty::constant(CelsiusDifference(2.0))
            .combined(CelsiusDifference(3.0))
            .combined(CelsiusDifference(6.0));
        assert!((u.at(160.0) - 7.0).abs() < 1e-12);
        assert_eq!(u.constant_below(), f64::INFINITY);
        assert_eq!(Uncertainty::ZERO.at(600.0), 0.0);
        let only = Uncertainty::ZERO.combined(CelsiusDifference(1.5));
        assert_eq!(only.at(160.0), 1.5);
        // Type K class 1 at 500 °C: 0.004 × 500 = 2 °C, U² = 4 × 4/3; beside it 1 °C.
        let class = Uncertainty::thermocouple(ThermocoupleType::K, ToleranceClass::One).unwrap();
        let both = class.combined(CelsiusDifference(1.0));
        assert!((both.at(500.0) - (19.0_f64 / 3.0).sqrt()).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn further_from_zero_is_no_surer(
            number in 0..ThermocoupleType::ALL.len(),
            beside in 0.0..10.0,
            near in 0.0..600.0,
            further in 0.0..600.0,
        ) {
            let kind = ThermocoupleType::ALL[number];
            let class = Uncertainty::thermocouple(kind, ToleranceClass::Two).unwrap();
            let u = class.combined(CelsiusDifference(beside));
            prop_assert!(u.at(near + further) >= u.at(near) - 1e-12);
            prop_assert!(u.at(near) >= u.level() - 1e-12);
            prop_assert_eq!(u.at(-near), u.at(near));
            prop_assert!(u.at(near) >= beside);
        }
    }
}
