//! Stations: the heat sources that prints pass.

use crate::quantity::{Celsius, Metres, MetresPerSecond, Seconds};

/// What kind of heat source a station is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StationKind {
    /// Prints ride a belt through a heated chamber.
    BeltDryer,
    /// A lamp heats a print that lies still on its platen.
    FlashUnit,
}

/// A stretch of the chamber (or the lamp of a flash unit) with its own set temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    /// Its length along the belt.
    pub length: Metres,
    /// Set temperature of the air; `None` where the zone only radiates.
    pub air: Option<Celsius>,
    /// Set temperature of the radiant panel; `None` where the zone only blows.
    pub panel: Option<Celsius>,
}

/// A belt dryer or a flash unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read; the id where none is given.
    pub name: String,
    /// Belt dryer or flash unit.
    pub kind: StationKind,
    /// Length of the heated stretch.
    pub heated_length: Metres,
    /// Nominal belt speed, where no signal reports it.
    pub belt: Option<MetresPerSecond>,
    /// The slowest belt the drive can run.
    pub belt_slowest: Option<MetresPerSecond>,
    /// The fastest belt the drive can run.
    pub belt_fastest: Option<MetresPerSecond>,
    /// From print to print along one lane.
    pub print_pitch: Option<Metres>,
    /// Prints side by side on the belt.
    pub lanes: u32,
    /// The zones in the order in which a print meets them.
    pub zones: Vec<Zone>,
    /// Samples further apart than this are a gap; `None`: the default of 5 s.
    pub max_gap: Option<Seconds>,
    /// The temperature above which a print counts as on its way through the heat; `None`: 45 °C.
    pub wake: Option<Celsius>,
}
