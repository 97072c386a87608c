//! What a channel is judged against, and how.

use inkdwell_config::fabric::{Fabric, Harm};
use inkdwell_config::ink::{GelWindow, Ink};
use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use crate::law::{Counts, Rate};
use crate::sensor::Uncertainty;

/// Samples further apart than this are a gap, unless the station or the call says otherwise.
pub const DEFAULT_MAX_GAP: Seconds = Seconds(5.0);
/// A print above this is on its way through the heat, unless the station or the call says otherwise:
/// above most platens, below most plateaus at which wet prints hang.
pub const DEFAULT_WAKE: Celsius = Celsius(45.0);

/// The laws of one ink on one fabric, ready for integration.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct PrintLaws {
    /// Where a pass's time above begins.
    pub threshold: Celsius,
    /// What the ink needs.
    pub cure: Rate,
    /// The ink's window for flashing between colours.
    pub gel: Option<GelWindow>,
    /// What the fabric can take, in its own order.
    pub harms: Vec<(Harm, Rate)>,
}

impl PrintLaws {
    /// Makes the laws of an ink on a fabric ready.
    pub fn new(ink: &Ink, fabric: &Fabric) -> PrintLaws {
        PrintLaws {
            threshold: ink.threshold,
            cure: Rate::new(&ink.cure, Counts::Cure),
            gel: ink.gel,
            harms: fabric
                .harms
                .iter()
                .map(|limit| (limit.harm, Rate::new(&limit.law, Counts::Harm)))
                .collect(),
        }
    }
}

/// How sure a probe is of what it says.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct ProbeDoubt {
    /// Expanded uncertainty (k = 2) by temperature.
    pub uncertainty: Uncertainty,
    /// Letter of the thermocouple type whose class 2 was assumed, where nothing was given.
    pub assumed: Option<char>,
}

/// What a channel's probe sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Watch {
    /// The wet ink at the fabric, on its way through a dryer.
    Ride,
    /// The surface of a print under a flash unit, between colours.
    FlashGel,
    /// The surface of a print under a flash unit that is its last heat.
    FlashFinal,
}

/// How one channel is judged.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ChannelPlan {
    /// The ink and fabric that the channel's prints share.
    pub laws: PrintLaws,
    /// What the probe sees.
    pub watch: Watch,
    /// How sure it is.
    pub doubt: ProbeDoubt,
    /// Good samples further apart than this are a gap.
    pub max_gap: Seconds,
    /// A ride's pass lies above this.
    pub wake: Celsius,
}

/// Whether a harm strikes where the cloth is hottest, which is beside the print. (Dye migrates under it.)
pub fn strikes_bare_cloth(harm: Harm) -> bool {
    match harm {
        Harm::Scorch | Harm::Shrinkage | Harm::Melt => true,
        Harm::DyeMigration => false,
    }
}
