//! How figures are written for people, in the units that the shop or the call chose.

use crate::quantity::{Celsius, CelsiusDifference, MetresPerSecond};

/// The units in which people are shown temperatures and belt speeds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// °C and metres a minute.
    #[default]
    Metric,
    /// °F and feet a minute.
    Us,
}

impl Units {
    /// The sign of the temperature scale, `°C` or `°F`.
    pub fn degree(self) -> &'static str {
        match self {
            Units::Metric => "°C",
            Units::Us => "°F",
        }
    }

    /// The number of a temperature on the chosen scale.
    pub fn temperature_number(self, temperature: Celsius) -> f64 {
        match self {
            Units::Metric => temperature.0,
            Units::Us => temperature.0 * 1.8 + 32.0,
        }
    }

    /// The number of a temperature difference on the chosen scale.
    pub fn difference_number(self, difference: CelsiusDifference) -> f64 {
        match self {
            Units::Metric => difference.0,
            Units::Us => difference.0 * 1.8,
        }
    }

    /// A temperature as people read it, such as `168.2 °C` (one decimal, none if it is whole).
    pub fn temperature(self, temperature: Celsius) -> String {
        format!(
            "{} {}",
            short(self.temperature_number(temperature)),
            self.degree()
        )
    }

    /// A temperature difference as people read it, such as `2.3 °C`.
    pub fn difference(self, difference: CelsiusDifference) -> String {
        format!(
            "{} {}",
            short(self.difference_number(difference)),
            self.degree()
        )
    }

    /// A belt speed as people read it, such as `2.60 m/min`.
    pub fn speed(self, speed: MetresPerSecond) -> String {
        match self {
            Units::Metric => format!("{:.2} m/min", speed.0 * 60.0),
            Units::Us => format!("{:.2} ft/min", speed.0 * 60.0 / 0.3048),
        }
    }
}

/// One decimal, or none where it would be `.0`.
fn short(number: f64) -> String {
    let text = format!("{number:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
