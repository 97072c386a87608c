//! Inks: what each needs to be cured.

use crate::law::Law;
use crate::quantity::{Celsius, Metres, Seconds, Share};

/// The chemistry of an ink, as far as its heat is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// PVC in plasticiser: no water, fuses.
    Plastisol,
    /// Dispersion in water: dries, then cures.
    WaterBased,
    /// Water-based with a reducing agent that takes the garment's dye out in the dryer.
    Discharge,
    /// Two-part silicone.
    Silicone,
    /// Anything else.
    Other,
}

/// The surface temperatures between which a flashed print is gelled: dry to the touch, not yet fused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GelWindow {
    /// Below it the print is still wet.
    pub from: Celsius,
    /// Above it the next colour no longer bonds.
    pub to: Celsius,
}

/// An ink and its cure law.
#[derive(Debug, Clone, PartialEq)]
pub struct Ink {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read.
    pub name: String,
    /// Its chemistry.
    pub family: Family,
    /// The temperature above which a pass reports its time: `at` of a hold law.
    pub threshold: Celsius,
    /// What cures it.
    pub cure: Law,
    /// Thickness of the wet film as printed.
    pub film: Option<Metres>,
    /// Water (or other volatile) in the wet ink, as a share of its mass; `None`: taken from the family.
    pub water: Option<Share>,
    /// The window for flashing between colours.
    pub gel: Option<GelWindow>,
    /// How long the mixed ink lives.
    pub pot_life: Option<Seconds>,
    /// Whether its fumes need a proved exhaust.
    pub needs_exhaust: bool,
    /// Where the figures come from.
    pub source: String,
}
