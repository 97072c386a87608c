//! Expanded uncertainty as a function of temperature.

use inkdwell_config::quantity::CelsiusDifference;

/// An expanded uncertainty (k = 2) in °C: U(t) = √(max(a, b |t|)² + c²), where a and b come from a
/// tolerance and c from everything that does not depend on temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertainty {
    constant: f64,
    share: f64,
    beside: f64,
    /// Up to this |t| it is constant, in °C …
    level_until: f64,
    /// … and has this value.
    level: f64,
}

impl Uncertainty {
    /// Sure beyond doubt.
    pub const ZERO: Uncertainty = Uncertainty::from_parts(0.0, 0.0, 0.0);

    const fn from_parts(constant: f64, share: f64, beside: f64) -> Uncertainty {
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
            level: constant,
        }
    }

    /// The same at every temperature.
    pub fn constant(u: CelsiusDifference) -> Uncertainty {
        Uncertainty::from_parts(u.0.abs(), 0.0, 0.0)
    }

    /// From a tolerance that is the larger of a constant in °C and a share of |t|, taken as
    /// rectangular: U = 2 a/√3.
    pub(super) fn rectangular(constant: f64, share: f64) -> Uncertainty {
        let expanded = 2.0 / 3.0_f64.sqrt();
        Uncertainty::from_parts(expanded * constant, expanded * share, 0.0)
    }

    /// Together with an independent one that is the same at every temperature, in quadrature.
    #[must_use]
    pub fn combined(self, u: CelsiusDifference) -> Uncertainty {
        let beside = self.beside.hypot(u.0);
        let level = self.constant.hypot(beside);
        Uncertainty {
            beside,
            level,
            ..self
        }
    }

    /// Its value in °C at a temperature in °C.
    #[inline]
    pub fn at(&self, celsius: f64) -> f64 {
        if celsius.abs() <= self.level_until {
            self.level
        } else {
            (self.share * celsius).hypot(self.beside)
        }
    }
}
