//! Whether a station keeps to the recipe of its batch.

use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use serde::{Deserialize, Serialize};

use super::event::Departure;
use super::plan::LockedSettings;

/// What was off is back once it is this share of what is allowed away.
const BACK_AT: f64 = 0.8;

/// A recipe's settings, and which of them are off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Kept {
    settings: LockedSettings,
    belt_off: bool,
    /// In the order of the recipe's zones.
    zones_off: Vec<bool>,
    exit_off: bool,
}

/// What a reading changes.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Change {
    Left(Departure),
    /// All is as locked again.
    Met,
}

/// Whether something is off, given how far it is away as a share of what is allowed, and whether it was.
fn is_off(share: f64, was: bool) -> bool {
    share > if was { BACK_AT } else { 1.0 }
}

impl Kept {
    pub(super) fn new(settings: LockedSettings) -> Kept {
        Kept {
            zones_off: vec![false; settings.zones.len()],
            settings,
            belt_off: false,
            exit_off: false,
        }
    }

    pub(super) fn recipe(&self) -> u64 {
        self.settings.recipe
    }

    fn any_off(&self) -> bool {
        self.belt_off || self.exit_off || self.zones_off.contains(&true)
    }

    pub(super) fn belt(&mut self, speed: f64) -> Option<Change> {
        let locked = self.settings.belt?;
        let share = ((speed / locked.0 - 1.0) / self.settings.belt_drift).abs();
        let was = self.belt_off;
        self.belt_off = is_off(share, was);
        let departure = Departure::Belt {
            now: MetresPerSecond(speed),
            locked,
        };
        self.change(was, self.belt_off, departure)
    }

    pub(super) fn zone(&mut self, probe: &str, now: Celsius) -> Option<Change> {
        let zones = self.settings.zones.iter();
        let number = zones.into_iter().position(|(id, _)| id == probe)?;
        let locked = self.settings.zones[number].1;
        let share = (now.0 - locked.0).abs() / self.settings.zone_drift;
        let (was, is) = (
            self.zones_off[number],
            is_off(share, self.zones_off[number]),
        );
        self.zones_off[number] = is;
        let probe = probe.to_owned();
        self.change(was, is, Departure::Zone { probe, now, locked })
    }

    /// What an exit probe showed of a print.
    pub(super) fn exit(&mut self, probe: &str, now: Celsius) -> Option<Change> {
        let (id, locked) = self.settings.exit.clone()?;
        if id != probe {
            return None;
        }
        let share = (now.0 - locked.0).abs() / self.settings.exit_drift;
        let was = self.exit_off;
        self.exit_off = is_off(share, was);
        let probe = probe.to_owned();
        self.change(was, self.exit_off, Departure::Exit { probe, now, locked })
    }

    fn change(&self, was: bool, is: bool, departure: Departure) -> Option<Change> {
        match (was, is) {
            (false, true) => Some(Change::Left(departure)),
            (true, false) if !self.any_off() => Some(Change::Met),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept() -> Kept {
        Kept::new(LockedSettings {
            recipe: 3,
            belt: Some(MetresPerSecond(0.05)),
            belt_drift: 0.05,
            zones: vec![("zone-1".to_owned(), Celsius(190.0))],
            zone_drift: 8.0,
            exit: Some(("exit".to_owned(), Celsius(120.0))),
            exit_drift: 6.0,
            ride_every: None,
        })
    }

    #[test]
    fn a_departure_is_said_once_and_so_is_its_end() {
        let mut kept = kept();
        assert_eq!(kept.belt(0.0524), None);
        assert!(matches!(
            kept.belt(0.053),
            Some(Change::Left(Departure::Belt { .. }))
        ));
        assert_eq!(
            kept.belt(0.0524),
            None,
            "not yet back: the edge would flicker"
        );
        assert_eq!(kept.belt(0.0505), Some(Change::Met));
    }

    #[test]
    fn the_recipe_is_met_once_nothing_is_off_any_more() {
        let mut kept = kept();
        assert!(kept.zone("zone-1", Celsius(180.0)).is_some());
        assert!(kept.exit("exit", Celsius(112.0)).is_some());
        assert_eq!(kept.zone("zone-1", Celsius(190.0)), None);
        assert_eq!(kept.exit("exit", Celsius(119.0)), Some(Change::Met));
        assert_eq!(kept.zone("zone-9", Celsius(20.0)), None);
    }
}
