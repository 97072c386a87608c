//! The same fit, asked about what was not ridden.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::station::Station;

use super::Fit;
use crate::heat::oven::Oven;
use crate::heat::print::Print;

impl Fit {
    /// The fit with another garment, film or chamber in the place of the one that was ridden: what the
    /// rides taught (how strongly the chamber heats, how far its zones are from what they are set to) is
    /// kept, what is declared is new. The station has to have the same zones, set otherwise.
    #[must_use]
    pub fn imagined(&self, station: &Station, ink: &Ink, fabric: &Fabric) -> Fit {
        let mut fit = self.clone();
        fit.problem.base.oven = Oven::new(station, self.options.room);
        fit.problem.base.print = Print::new(ink, fabric);
        fit
    }
}
