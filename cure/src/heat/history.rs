//! What became of a print: temperatures over time, and the books of heat and water.

use inkdwell_config::quantity::{Celsius, Metres, MetresPerSecond, Seconds};

use super::curve::Curve;
use super::march::Totals;

/// The books of a column by area: what came, what went, what stayed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Books {
    /// Heat in through the faces, vapour's not counted, in J/m².
    pub heat_in: f64,
    /// Enthalpy that vapour took along, in J/m².
    pub vapour_heat: f64,
    /// Change of the heat held, in J/m².
    pub heat_gained: f64,
    /// Water out, in kg/m².
    pub water_out: f64,
    /// Change of the water held, in kg/m².
    pub water_gained: f64,
    /// Water held at the end, in kg/m².
    pub water_left: f64,
}

impl Books {
    pub(crate) fn new(before: [f64; 2], after: [f64; 2], totals: &Totals) -> Books {
        Books {
            heat_in: totals.heat_top + totals.heat_bottom,
            vapour_heat: totals.vapour_heat,
            heat_gained: after[0] - before[0],
            water_out: totals.water_top + totals.water_bottom,
            water_gained: after[1] - before[1],
            water_left: after[1],
        }
    }

    /// What the heat's account lacks, as a share of the heat that came in.
    pub fn heat_lacking(&self) -> f64 {
        (self.heat_in - self.vapour_heat - self.heat_gained) / self.heat_in.abs().max(1.0)
    }

    /// What the water's account lacks, as a share of the water that moved.
    pub fn water_lacking(&self) -> f64 {
        let moved = self.water_out.abs() + self.water_gained.abs();
        (self.water_out + self.water_gained) / moved.max(1e-9)
    }
}

/// A printed column's history.
#[derive(Debug, Clone, PartialEq)]
pub struct PrintHistory {
    /// The film's surface.
    pub film_top: Curve,
    /// Where ink meets cloth: the coldest of the film while it heats.
    pub film_bottom: Curve,
    /// The cloth's underside on the belt.
    pub underside: Curve,
    /// Its books.
    pub books: Books,
}

/// An unprinted column's history.
#[derive(Debug, Clone, PartialEq)]
pub struct ClothHistory {
    /// The upper face.
    pub top: Curve,
    /// Wherever through the thickness the cloth is hottest.
    pub hottest: Curve,
    /// Its books.
    pub books: Books,
}

/// One trip through the heat. Time runs from where the heat begins.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// The print.
    pub print: PrintHistory,
    /// The cloth beside it, if that was asked for.
    pub cloth: Option<ClothHistory>,
    /// When the heated stretch ended.
    pub exit: Seconds,
}

impl History {
    /// The print's surface when it passes an exit probe so far beyond the heated stretch.
    pub fn surface_at_exit(&self, distance: Metres, speed: MetresPerSecond) -> Celsius {
        let time = Seconds(self.exit.0 + distance.0 / speed.0);
        self.print.film_top.at(time)
    }
}
