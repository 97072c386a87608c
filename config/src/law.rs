//! Laws as they are declared: how long a temperature has to last, for curing or for harm.

use crate::quantity::{Celsius, Seconds};

/// A time-temperature law. Cure and harm use the same two kinds.
///
/// A value of this type is valid: what is declared was checked when it was read.
#[derive(Debug, Clone, PartialEq)]
pub enum Law {
    /// Enough is `duration` at or above `at`.
    Hold {
        /// The temperature that counts.
        at: Celsius,
        /// How long it has to last; more than zero.
        duration: Seconds,
    },
    /// Enough is `t` seconds at `T`, for each point `(T, t)`; between two points ln t is linear in
    /// 1/T with T in kelvin. At least two points, rising in T and falling in t.
    Equivalents {
        /// The points in rising order of temperature.
        points: Vec<(Celsius, Seconds)>,
    },
}
