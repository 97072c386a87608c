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
    let text = text.strip_suffix(".0").unwrap_or(&text);
    // What rounds to nothing has no sign.
    if text == "-0" { "0" } else { text }.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fixed points of water, and 320 F, which is 160 C (NIST SP 811, appendix B.8).
    #[test]
    fn temperatures_are_written_on_either_scale() {
        let both = |celsius| {
            let written = |units: Units| units.temperature(Celsius(celsius));
            (written(Units::Metric), written(Units::Us))
        };
        let expected = |metric: &str, us: &str| (metric.to_owned(), us.to_owned());
        assert_eq!(both(0.0), expected("0 °C", "32 °F"));
        assert_eq!(both(100.0), expected("100 °C", "212 °F"));
        assert_eq!(both(160.0), expected("160 °C", "320 °F"));
        assert_eq!(both(168.24), expected("168.2 °C", "334.8 °F"));
        assert_eq!(both(-0.04), expected("0 °C", "31.9 °F"));
    }

    /// A kelvin is 1.8 degrees Fahrenheit; a foot 0.3048 m (SP 811, appendix B.8).
    #[test]
    fn differences_have_no_zero_point_and_speeds_two_decimals() {
        assert_eq!(Units::Metric.difference(CelsiusDifference(1.5)), "1.5 °C");
        assert_eq!(Units::Us.difference(CelsiusDifference(1.5)), "2.7 °F");
        assert_eq!(Units::Us.difference(CelsiusDifference(0.0)), "0 °F");
        assert_eq!(Units::Metric.speed(MetresPerSecond(0.05)), "3.00 m/min");
        assert_eq!(
            Units::Us.speed(MetresPerSecond(0.3048 / 6.0)),
            "10.00 ft/min"
        );
    }
}
