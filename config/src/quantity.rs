//! Quantities that must not be mixed, each a newtype over the internal unit.
//!
//! Inside Inkdwell every number is in °C, seconds, metres, kilograms and watts. What a person writes
//! carries its unit and becomes one of these types once, at the edge.

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// The number in the internal unit.
            pub const fn value(self) -> f64 {
                self.0
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> f64 {
                quantity.0
            }
        }
    };
}

quantity!(
    /// A temperature in degrees Celsius.
    Celsius
);
quantity!(
    /// A difference of temperatures in kelvin (or, what is the same size, degrees Celsius).
    CelsiusDifference
);
quantity!(
    /// A duration in seconds.
    Seconds
);
quantity!(
    /// A length or thickness in metres.
    Metres
);
quantity!(
    /// A speed in metres a second.
    MetresPerSecond
);
quantity!(
    /// The mass of a sheet by its area, in kilograms a square metre.
    KilogramsPerSquareMetre
);
quantity!(
    /// A share of a whole, 1 being all of it.
    Share
);

/// 0 °C on the kelvin scale.
pub const ZERO_CELSIUS_IN_KELVIN: f64 = 273.15;

impl Celsius {
    /// The same temperature on the kelvin scale.
    pub const fn kelvin(self) -> f64 {
        self.0 + ZERO_CELSIUS_IN_KELVIN
    }
}
