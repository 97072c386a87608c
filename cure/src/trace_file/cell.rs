//! The cells of a row, and what makes the numbers in them readings.

use inkdwell_config::quantity::Celsius;

use super::column::{Column, ColumnKind};
use super::number::{DecimalMark, Number};
use crate::sensor::Thermocouple;
use crate::sieve::{COOLEST_BELIEVED, HOTTEST_BELIEVED};

/// One cell of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell {
    /// A number, in the unit that the column's kind gives out.
    Value(f64),
    /// An empty cell: nothing was sampled.
    Missing,
    /// Something that is no number: the sensor said so.
    Bad,
}

/// A number whose decimal mark is not the layout's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct OtherMark;

/// Reads a cell without the spaces around it, as it is written.
pub(super) fn read(cell: &[u8], mark: DecimalMark) -> Result<Cell, OtherMark> {
    if cell.is_empty() {
        return Ok(Cell::Missing);
    }
    match mark.read(cell) {
        Number::Value(value) => Ok(Cell::Value(value)),
        Number::Text => Ok(Cell::Bad),
        Number::OtherMark => Err(OtherMark),
    }
}

/// How the number of a column becomes what is given out.
#[derive(Debug, Clone)]
enum Conversion {
    Fahrenheit,
    Factor(f64),
    Millivolts(Box<Thermocouple>),
}

/// The conversions of a row.
#[derive(Debug)]
pub(super) struct Conversions {
    /// Columns that are not given out as they are written, the junction before the thermocouples.
    conversions: Vec<(usize, Conversion)>,
    junction: Option<usize>,
}

impl Conversions {
    pub(super) fn new(columns: &[Column], fahrenheit_junction: bool) -> Conversions {
        let conversion = |column: &Column| match column.kind {
            ColumnKind::Fahrenheit => Some(Conversion::Fahrenheit),
            ColumnKind::Junction if fahrenheit_junction => Some(Conversion::Fahrenheit),
            ColumnKind::Belt(factor) => Some(Conversion::Factor(factor)),
            ColumnKind::Thermocouple(kind) => {
                Some(Conversion::Millivolts(Box::new(Thermocouple::new(kind))))
            }
            _ => None,
        };
        let mut conversions: Vec<_> = columns
            .iter()
            .enumerate()
            .filter_map(|(place, column)| Some((place, conversion(column)?)))
            .collect();
        conversions.sort_by_key(|(_, conversion)| matches!(conversion, Conversion::Millivolts(_)));
        let junction = columns
            .iter()
            .position(|column| column.kind == ColumnKind::Junction);
        Conversions {
            conversions,
            junction,
        }
    }

    /// Turns the numbers of a row into °C, m/s and counts.
    #[inline]
    pub(super) fn apply(&self, cells: &mut [Cell]) {
        for (place, conversion) in &self.conversions {
            let junction = self
                .junction
                .and_then(|junction| cells.get(junction).copied());
            let Some(cell) = cells.get_mut(*place) else {
                continue;
            };
            let Cell::Value(value) = *cell else { continue };
            *cell = match conversion {
                Conversion::Fahrenheit => Cell::Value((value - 32.0) / 1.8),
                Conversion::Factor(factor) => Cell::Value(value * factor),
                Conversion::Millivolts(thermocouple) => {
                    compensated(thermocouple, value, junction.unwrap_or(Cell::Value(0.0)))
                }
            };
        }
    }
}

/// t = E⁻¹(mV + E(junction)); bad where the junction is, and where no temperature gives the voltage.
fn compensated(thermocouple: &Thermocouple, millivolts: f64, junction: Cell) -> Cell {
    match junction {
        Cell::Value(celsius) if (COOLEST_BELIEVED..=HOTTEST_BELIEVED).contains(&celsius) => {
            thermocouple
                .compensated(millivolts, Celsius(celsius))
                .map_or(Cell::Bad, |celsius| Cell::Value(celsius.0))
        }
        _ => Cell::Bad,
    }
}
