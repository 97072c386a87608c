//! What is printed at a station, as far as alarms are concerned.

use inkdwell_config::fabric::{Fabric, Harm};
use inkdwell_config::ink::Ink;
use inkdwell_config::law::Law;
use inkdwell_config::quantity::{Celsius, Seconds};
use serde::{Deserialize, Serialize};

use crate::live::Micros;

/// An open batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Job {
    /// Its number.
    pub batch: u64,
    /// Whether its ink's fumes need a proved exhaust.
    pub needs_exhaust: bool,
    /// When its ink was mixed, in the steady time.
    pub ink_mixed: Option<Micros>,
    /// How long the mixed ink lives.
    pub pot_life: Option<Seconds>,
    /// Where dye migration begins by its fabric's law; `None` for a fabric that does not migrate.
    pub migrates_from: Option<Celsius>,
    /// Where its ink has to get to, if its law is that of a hold: below it there is no cure at all.
    pub cured_at: Option<Celsius>,
    /// After how long another ride is due.
    pub ride_every: Option<Seconds>,
}

impl Job {
    /// A batch of an ink on a fabric.
    pub fn new(batch: u64, ink: &Ink, fabric: &Fabric) -> Job {
        let migration = fabric
            .harms
            .iter()
            .find(|limit| limit.harm == Harm::DyeMigration);
        Job {
            batch,
            needs_exhaust: ink.needs_exhaust,
            ink_mixed: None,
            pot_life: ink.pot_life,
            migrates_from: migration.map(|limit| limit.law.coolest().0),
            cured_at: match ink.cure {
                Law::Hold { at, .. } => Some(at),
                Law::Equivalents { .. } => None,
            },
            ride_every: None,
        }
    }
}
