//! `--what-if`: the same fit, asked about another garment, film or chamber.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_config::station::Station;

use super::call::quantity;
use crate::failure::Failure;

const HOW: &str = "write mass=\"250 g/m2\", regain=0.1, film=\"60 um\", zone1=\"200 C\", panel2=\"450 C\", \
     slowest=\"1 m/min\" or fastest=\"5 m/min\"";

/// What a print is and where it goes through the heat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Setting {
    pub(crate) station: Station,
    pub(crate) ink: Ink,
    pub(crate) fabric: Fabric,
}

impl Setting {
    /// With every change of a call made.
    pub(super) fn changed(mut self, changes: &[String]) -> Result<Setting, Failure> {
        for change in changes {
            self.change(change)?;
        }
        Ok(self)
    }

    fn change(&mut self, change: &str) -> Result<(), Failure> {
        let refused = |why: &str| Failure::new(format!("--what-if: {change:?} {why}; {HOW}"));
        let (key, value) = change
            .split_once('=')
            .ok_or_else(|| refused("changes nothing"))?;
        let (key, value) = (key.trim(), value.trim().trim_matches('"'));
        let option = format!("--what-if {key}");
        match key {
            "mass" => self.fabric.mass = quantity(&option, value)?,
            "regain" => self.fabric.regain = quantity(&option, value)?,
            "film" => self.ink.film = Some(quantity(&option, value)?),
            "slowest" => {
                self.station.belt_slowest = Some(quantity::<MetresPerSecond>(&option, value)?)
            }
            "fastest" => {
                self.station.belt_fastest = Some(quantity::<MetresPerSecond>(&option, value)?)
            }
            zone => {
                let numbered = |name: &str| zone.strip_prefix(name)?.parse::<usize>().ok();
                let (number, is_air) = match (numbered("zone"), numbered("panel")) {
                    (Some(number), _) => (number, true),
                    (None, Some(number)) => (number, false),
                    (None, None) => return Err(refused("names nothing that can be changed")),
                };
                let celsius: Celsius = quantity(&option, value)?;
                let zone = number
                    .checked_sub(1)
                    .and_then(|place| self.station.zones.get_mut(place));
                let zone = zone.ok_or_else(|| refused("names a zone that the station has not"))?;
                let set = if is_air {
                    &mut zone.air
                } else {
                    &mut zone.panel
                };
                if set.is_none() {
                    return Err(refused("changes what that zone has not"));
                }
                *set = Some(celsius);
            }
        }
        Ok(())
    }
}
