//! Fabrics: what each can take.

use crate::law::Law;
use crate::quantity::{KilogramsPerSquareMetre, Share};

/// A way in which heat harms a fabric.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Harm {
    /// The fibre yellows or browns.
    Scorch,
    /// The garment's dye moves into the ink.
    DyeMigration,
    /// The cloth draws in.
    Shrinkage,
    /// The fibre softens or glazes.
    Melt,
}

/// What a fabric can take of one harm: a dose of 1 under `law` is the limit.
#[derive(Debug, Clone, PartialEq)]
pub struct HarmLimit {
    /// The harm.
    pub harm: Harm,
    /// The law whose dose counts.
    pub law: Law,
}

/// A fabric and its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Fabric {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read.
    pub name: String,
    /// Mass of one layer by area.
    pub mass: KilogramsPerSquareMetre,
    /// Water held in equilibrium with room air, as a share of the dry mass.
    pub regain: Share,
    /// Layers of cloth that lie on the belt under a print: two for a shirt.
    pub layers: u8,
    /// The harms whose limits are known; none means that no limit is known.
    pub harms: Vec<HarmLimit>,
    /// Where the figures come from.
    pub source: String,
}
