//! `--what-if`: the same fit, asked about another garment, film or chamber.

use inkdwell_config::Quantity;
use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, KilogramsPerSquareMetre, Metres, MetresPerSecond, Share};
use inkdwell_config::station::Station;
use inkdwell_cure::heat::mesh::Mesh;

use super::call::quantity;
use crate::failure::Failure;

const HOW: &str = "write mass=\"250 g/m2\", regain=\"8 %\", film=\"60 um\", mesh=\"230/48 um\", strokes=2, \
     zone1=\"200 C\", panel2=\"450 C\", slowest=\"1 m/min\" or fastest=\"5 m/min\"";

/// What a print is and where it goes through the heat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Setting {
    pub(crate) station: Station,
    pub(crate) ink: Ink,
    pub(crate) fabric: Fabric,
}

/// A screen as far as the changes tell.
#[derive(Debug, Default)]
struct Screen {
    mesh: Option<Mesh>,
    strokes: Option<u8>,
}

impl Setting {
    /// With every change of a call made.
    pub(super) fn changed(mut self, changes: &[String]) -> Result<Setting, Failure> {
        let mut screen = Screen::default();
        for change in changes {
            self.change(change, &mut screen)?;
        }
        match screen {
            Screen {
                mesh: Some(mesh),
                strokes,
            } => self.ink.film = Some(mesh.film(strokes.unwrap_or(1))),
            Screen {
                strokes: Some(_), ..
            } => {
                return Err(Failure::new(
                    "--what-if strokes: strokes tell nothing without the screen; add --what-if \
                     mesh=\"230/48 um\"",
                ));
            }
            _ => {}
        }
        if let (Some(slowest), Some(fastest)) =
            (self.station.belt_slowest, self.station.belt_fastest)
            && slowest.0 >= fastest.0
        {
            return Err(Failure::new(
                "--what-if: the slowest belt is not slower than the fastest; change slowest or fastest",
            ));
        }
        Ok(self)
    }

    fn change(&mut self, change: &str, screen: &mut Screen) -> Result<(), Failure> {
        let refused = |why: &str| Failure::new(format!("--what-if: {change:?} {why}; {HOW}"));
        let (key, value) = change
            .split_once('=')
            .ok_or_else(|| refused("changes nothing"))?;
        let (key, value) = (key.trim(), value.trim().trim_matches('"'));
        match key {
            "mass" => {
                let mass: KilogramsPerSquareMetre = within(change, value, "20 to 3000 g/m2")?;
                self.fabric.mass = mass;
            }
            "regain" => self.fabric.regain = within::<Share>(change, value, "0 to 40 %")?,
            "film" => self.ink.film = Some(within::<Metres>(change, value, "1 um to 5 mm")?),
            "mesh" => screen.mesh = Some(mesh(value).ok_or_else(|| refused("is no screen"))?),
            "strokes" => {
                let strokes: Option<u8> = value.parse().ok().filter(|number| *number >= 1);
                screen.strokes = Some(strokes.ok_or_else(|| refused("is no number of strokes"))?);
            }
            "slowest" => {
                let speed: MetresPerSecond = within(change, value, "a speed above zero")?;
                self.station.belt_slowest = Some(speed);
            }
            "fastest" => {
                let speed: MetresPerSecond = within(change, value, "a speed above zero")?;
                self.station.belt_fastest = Some(speed);
            }
            zone => self.set_zone(zone, change, value)?,
        }
        Ok(())
    }

    fn set_zone(&mut self, zone: &str, change: &str, value: &str) -> Result<(), Failure> {
        let refused = |why: &str| Failure::new(format!("--what-if: {change:?} {why}; {HOW}"));
        let numbered = |name: &str| zone.strip_prefix(name)?.parse::<usize>().ok();
        let (number, is_air) = match (numbered("zone"), numbered("panel")) {
            (Some(number), _) => (number, true),
            (None, Some(number)) => (number, false),
            (None, None) => return Err(refused("names nothing that can be changed")),
        };
        let celsius: Celsius = within(change, value, "20 to 900 C")?;
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
        Ok(())
    }
}

/// A quantity of a change that lies where such things can lie. (Common practice, no source.)
trait Bounded: Quantity {
    fn is_plausible(&self) -> bool;
}

impl Bounded for KilogramsPerSquareMetre {
    fn is_plausible(&self) -> bool {
        (0.02..=3.0).contains(&self.0)
    }
}

impl Bounded for Share {
    fn is_plausible(&self) -> bool {
        (0.0..=0.4).contains(&self.0)
    }
}

impl Bounded for Metres {
    fn is_plausible(&self) -> bool {
        (1e-6..=5e-3).contains(&self.0)
    }
}

impl Bounded for MetresPerSecond {
    fn is_plausible(&self) -> bool {
        self.0 > 0.0
    }
}

impl Bounded for Celsius {
    fn is_plausible(&self) -> bool {
        (20.0..=900.0).contains(&self.0)
    }
}

fn within<Q: Bounded>(change: &str, value: &str, range: &str) -> Result<Q, Failure> {
    let key = change.split('=').next().unwrap_or_default().trim();
    let read: Q = quantity(&format!("--what-if {key}"), value)?;
    if read.is_plausible() {
        return Ok(read);
    }
    Err(Failure::new(format!(
        "--what-if {key}: {value:?} is beyond what can be; write {range}"
    )))
}

/// A screen: threads an inch, a stroke, and the diameter of a thread.
fn mesh(text: &str) -> Option<Mesh> {
    let (count, thread) = text.split_once('/')?;
    let count: f64 = count.trim().parse().ok()?;
    let mesh = Mesh::by_count(count, Metres::parse(thread.trim()).ok()?);
    let is_woven = count.is_finite() && count > 0.0 && mesh.thread.0 > 0.0;
    (is_woven && mesh.opening().0 > 0.0).then_some(mesh)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_screen_is_its_count_and_thread() {
        // By hand: 25.4 mm / 127 is 200 um; threads of 50 um leave 150 um.
        let mesh = mesh("127/50 um").expect("a screen");
        assert!((mesh.opening().0 - 150e-6).abs() < 1e-12);
        for wrong in [
            "127",
            "127/50",
            "0/50 um",
            "x/50 um",
            "600/50 um",
            "-1/5 um",
        ] {
            assert!(super::mesh(wrong).is_none(), "{wrong}");
        }
    }
}
