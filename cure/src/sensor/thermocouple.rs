//! Thermocouples: millivolts to temperature and back, with cold-junction compensation.
//!
//! A thermocouple whose junctions are at t and tⱼ gives E(t) − E(tⱼ), so that t = E⁻¹(mV + E(tⱼ)) with
//! the reference function E of its type (NIST Monograph 175, IEC 60584-1, both on ITS-90). The inverse
//! is solved on the reference function itself: a table of it gives a start within a fraction of a
//! degree, and Newton's method the rest, to below 0.0001 °C.

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

    /// The range in which a voltage is turned into a temperature: where the function rises enough to
    /// tell, from −200 °C at the coolest and from 50 °C for type B, whose function turns at 21 °C.
    pub fn inverse_range(self) -> (Celsius, Celsius) {
        let (from, to) = self.range();
        let coolest = if self == Self::B { 50.0 } else { -200.0 };
        (Celsius(from.0.max(coolest)), to)
    }

    /// The voltage in mV against a junction at 0 °C.
    ///
    /// # Errors
    /// When the temperature is outside the reference function.
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

    /// E and dE/dt at a temperature inside the range.
    fn value_and_slope(self, celsius: f64) -> (f64, f64) {
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

/// A table's step in °C.
const STEP: f64 = 20.0;
/// Newton's method has long converged after these.
const MOST_STEPS: usize = 8;

/// A thermocouple with the table that its inverse starts from.
#[derive(Debug, Clone)]
pub struct Thermocouple {
    kind: ThermocoupleType,
    /// Voltages every [`STEP`] from the inverse range's cool end; the last entry is at its hot end.
    table: Vec<f64>,
}

impl Thermocouple {
    /// A thermocouple of a type.
    pub fn new(kind: ThermocoupleType) -> Thermocouple {
        let (from, to) = kind.inverse_range();
        let steps = ((to.0 - from.0) / STEP).ceil() as u32;
        let table = (0..=steps)
            .map(|step| (from.0 + f64::from(step) * STEP).min(to.0))
            .map(|celsius| kind.value_and_slope(celsius).0)
            .collect();
        Thermocouple { kind, table }
    }

    /// Its type.
    pub fn kind(&self) -> ThermocoupleType {
        self.kind
    }

    /// The temperature of the measuring junction from the voltage against a junction at 0 °C.
    ///
    /// # Errors
    /// When no temperature of [`ThermocoupleType::inverse_range`] gives this voltage.
    pub fn temperature(&self, millivolts: f64) -> Result<Celsius, ThermocoupleError> {
        let out = ThermocoupleError::VoltageOutOfRange {
            kind: self.kind,
            millivolts,
        };
        let (from, to) = self.kind.inverse_range();
        let above = self.table.partition_point(|entry| *entry < millivolts);
        if above == 0 && self.table.first() == Some(&millivolts) {
            return Ok(from);
        }
        let (Some(low), Some(high)) =
            (self.table.get(above.wrapping_sub(1)), self.table.get(above))
        else {
            return Err(out);
        };
        let cool = from.0 + (above - 1) as f64 * STEP;
        let hot = (cool + STEP).min(to.0);
        let mut celsius = cool + (hot - cool) * (millivolts - low) / (high - low);
        for _ in 0..MOST_STEPS {
            let (value, slope) = self.kind.value_and_slope(celsius);
            let change = (value - millivolts) / slope;
            celsius = (celsius - change).clamp(cool, hot);
            if change.abs() < 1e-5 {
                break;
            }
        }
        Ok(Celsius(celsius))
    }

    /// The temperature of the measuring junction from a voltage and the reference junction's own
    /// temperature.
    ///
    /// # Errors
    /// When either lies outside the reference function.
    pub fn compensated(
        &self,
        millivolts: f64,
        junction: Celsius,
    ) -> Result<Celsius, ThermocoupleError> {
        self.temperature(millivolts + self.kind.millivolts(junction)?)
    }
}
