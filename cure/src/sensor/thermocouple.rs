//! The letter-designated thermocouple types and the voltage each gives.
//!
//! A thermocouple whose junctions are at t and 0 °C gives the voltage E(t), its type's reference function
//! (NIST Monograph 175, IEC 60584-1; t in °C on ITS-90, E in mV). The way back is
//! [`super::Thermocouple`].
//!
//! E rises over its whole range for every type but B, whose voltage falls from 0 to −0.0026 mV at 21 °C
//! and is back at 0 near 42 °C: below that a voltage stands for two temperatures.

use std::str::FromStr;

use inkdwell_config::quantity::Celsius;
use thiserror::Error;

use super::reference_functions::{self as functions, Piece};

/// A letter-designated thermocouple type.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ThermocoupleType {
    /// Ni-Cr against Ni-Al.
    K,
    /// Fe against Cu-Ni.
    J,
    /// Cu against Cu-Ni.
    T,
    /// Ni-Cr-Si against Ni-Si.
    N,
    /// Ni-Cr against Cu-Ni.
    E,
    /// Pt-13 % Rh against Pt.
    R,
    /// Pt-10 % Rh against Pt.
    S,
    /// Pt-30 % Rh against Pt-6 % Rh.
    B,
}

/// A text that names no thermocouple type.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("“{0}” is no thermocouple type; the types are K, J, T, N, E, R, S and B")]
pub struct UnknownThermocoupleType(pub String);

impl FromStr for ThermocoupleType {
    type Err = UnknownThermocoupleType;

    /// The type of a letter, in either case.
    fn from_str(text: &str) -> Result<ThermocoupleType, UnknownThermocoupleType> {
        let mut letters = text.chars();
        match (letters.next(), letters.next()) {
            (Some(letter), None) => Self::from_letter(letter),
            _ => None,
        }
        .ok_or_else(|| UnknownThermocoupleType(text.to_owned()))
    }
}

/// What a signal cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum ThermocoupleError {
    /// No temperature of the type's range gives such a voltage.
    #[error("{millivolts} mV lies outside the reference function of type {kind:?}")]
    VoltageOutOfRange {
        /// The type.
        kind: ThermocoupleType,
        /// The voltage against a junction at 0 °C.
        millivolts: f64,
    },
    /// The type's reference function does not reach the temperature.
    #[error("{celsius} °C lies outside the reference function of type {kind:?}")]
    TemperatureOutOfRange {
        /// The type.
        kind: ThermocoupleType,
        /// The temperature.
        celsius: f64,
    },
}

impl ThermocoupleType {
    /// All types.
    pub const ALL: [ThermocoupleType; 8] = [
        Self::K,
        Self::J,
        Self::T,
        Self::N,
        Self::E,
        Self::R,
        Self::S,
        Self::B,
    ];

    /// The type of a letter, in either case.
    pub fn from_letter(letter: char) -> Option<ThermocoupleType> {
        let letter = letter.to_ascii_uppercase();
        Self::ALL.into_iter().find(|kind| kind.letter() == letter)
    }

    /// Its letter, in upper case.
    pub fn letter(self) -> char {
        match self {
            Self::K => 'K',
            Self::J => 'J',
            Self::T => 'T',
            Self::N => 'N',
            Self::E => 'E',
            Self::R => 'R',
            Self::S => 'S',
            Self::B => 'B',
        }
    }

    fn pieces(self) -> &'static [Piece] {
        match self {
            Self::K => functions::K,
            Self::J => functions::J,
            Self::T => functions::T,
            Self::N => functions::N,
            Self::E => functions::E,
            Self::R => functions::R,
            Self::S => functions::S,
            Self::B => functions::B,
        }
    }

    /// The range of the reference function.
    pub fn range(self) -> (Celsius, Celsius) {
        let pieces = self.pieces();
        let from = pieces.first().map_or(f64::NAN, |piece| piece.from);
        let to = pieces.last().map_or(f64::NAN, |piece| piece.to);
        (Celsius(from), Celsius(to))
    }

    /// The range in which a voltage is turned into a temperature: all of [`ThermocoupleType::range`],
    /// but from 50 °C for type B, safely above the 42 °C below which its voltage is ambiguous.
    pub fn inverse_range(self) -> (Celsius, Celsius) {
        let (from, to) = self.range();
        let coolest = if self == Self::B { 50.0 } else { from.0 };
        (Celsius(coolest), to)
    }

    /// The voltage in mV against a junction at 0 °C.
    ///
    /// # Errors
    /// When the temperature is outside the reference function, or no number.
    pub fn millivolts(self, temperature: Celsius) -> Result<f64, ThermocoupleError> {
        let celsius = temperature.0;
        let (from, to) = self.range();
        if !(from.0..=to.0).contains(&celsius) {
            return Err(ThermocoupleError::TemperatureOutOfRange {
                kind: self,
                celsius,
            });
        }
        Ok(self.value_and_slope(celsius).0)
    }

    /// E in mV and dE/dt in mV/°C at a temperature inside the range.
    pub(super) fn value_and_slope(self, celsius: f64) -> (f64, f64) {
        let pieces = self.pieces();
        let inside = pieces
            .iter()
            .find(|piece| celsius <= piece.to)
            .or(pieces.last());
        let Some(piece) = inside else {
            return (f64::NAN, f64::NAN);
        };
        let (mut value, mut slope) = (0.0, 0.0);
        for coefficient in piece.coefficients.iter().rev() {
            slope = slope * celsius + value;
            value = value * celsius + coefficient;
        }
        if let Some((a0, a1, a2)) = piece.bump {
            let bump = a0 * (a1 * (celsius - a2) * (celsius - a2)).exp();
            value += bump;
            slope += 2.0 * a1 * (celsius - a2) * bump;
        }
        (value, slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_letter_names_a_type_in_either_case() {
        for kind in ThermocoupleType::ALL {
            let letter = kind.letter().to_string();
            assert_eq!(letter.parse(), Ok(kind));
            assert_eq!(letter.to_lowercase().parse(), Ok(kind));
        }
        for wrong in ["", "c", "kk", "é", " k"] {
            let told = wrong.parse::<ThermocoupleType>();
            assert_eq!(told, Err(UnknownThermocoupleType(wrong.to_owned())));
        }
    }
}
