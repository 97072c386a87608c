//! The true oven: uneven zones that leak into each other and out of both ends.

use inkdwell_config::quantity::{Celsius, Metres, Share, ZERO_CELSIUS_IN_KELVIN};

use super::water::{push, saturation};

/// Stefan-Boltzmann constant in W/(m² K⁴), CODATA 2018.
pub(crate) const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;

/// A radiant panel above the belt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TruePanel {
    /// Its temperature.
    pub temperature: Celsius,
    /// Its height above the print.
    pub height: Metres,
    /// Share of the width that it fills, times its emissivity.
    pub strength: Share,
}

/// A stretch of the chamber as it really is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueZone {
    /// Its length along the belt.
    pub length: Metres,
    /// Temperature of its air.
    pub air: Celsius,
    /// Convection at the print's surface, in W/(m² K).
    pub convection: f64,
    /// Its panel, if it has one.
    pub panel: Option<TruePanel>,
    /// Height of hot and cold spots in the air along the belt, in °C.
    pub unevenness: f64,
    /// Where along their wave the spots begin, in radians.
    pub phase: f64,
}

/// What the print lies on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueBelt {
    /// Heat capacity by area in J/(m² K).
    pub capacity: f64,
    /// Contact with the cloth in W/(m² K).
    pub contact: f64,
    /// Share of the cloth's underside that breathes through the mesh.
    pub openness: Share,
    /// Seconds in which the returning belt loses 63 % of its warmth.
    pub return_cooling: f64,
}

/// A belt dryer as it really is.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueOven {
    /// Its zones in the order in which a print meets them.
    pub zones: Vec<TrueZone>,
    /// How far the warm air reaches out of both ends.
    pub vestibule: Metres,
    /// How far a zone leaks into its neighbour.
    pub leak: Metres,
    /// Convection below the belt as a share of that above.
    pub below: Share,
    /// How much cooler the air is below the belt, in °C.
    pub below_cooler: f64,
    /// Relative humidity of the room.
    pub room_humidity: Share,
    /// Vapour in the chamber's air: its partial pressure in Pa.
    pub chamber_vapour: f64,
    /// Temperature of the room.
    pub room: Celsius,
    /// Convection in the room in W/(m² K).
    pub room_convection: f64,
    /// The belt.
    pub belt: TrueBelt,
}

/// By how much a zone is off at some moment, in °C.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ZoneShift {
    /// Of its air.
    pub air: f64,
    /// Of its panel.
    pub panel: f64,
}

/// Emissivity of cloth and ink for what walls and air radiate. From memory: 0.85 to 0.95.
pub(crate) const EMISSIVITY: f64 = 0.9;

/// What a print sees at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Surroundings {
    /// Air above, in °C.
    pub(crate) air: f64,
    /// Convection above, in W/(m² K).
    pub(crate) convection: f64,
    /// What the panels send down, in W/m².
    pub(crate) panels: f64,
    /// What walls and room send down, as a black body's emission in W/m².
    pub(crate) walls: f64,
    /// Air below.
    pub(crate) below_air: f64,
    /// Convection below.
    pub(crate) below_convection: f64,
    /// What comes up from below, as `walls`.
    pub(crate) below_walls: f64,
    /// Push ψ of the vapour in the air, in Pa.
    pub(crate) vapour: f64,
}

pub(crate) fn black_body(celsius: f64) -> f64 {
    STEFAN_BOLTZMANN * (celsius + ZERO_CELSIUS_IN_KELVIN).powi(4)
}

impl TrueOven {
    /// The heated length in metres.
    pub fn heated_length(&self) -> f64 {
        self.zones.iter().map(|zone| zone.length.0).sum()
    }

    /// Partial pressure of the vapour in the room's air, in Pa.
    pub(crate) fn room_vapour(&self) -> f64 {
        self.room_humidity.0 * saturation(self.room.0).0
    }

    /// What a print sees at a position (metres from where the heated length begins) while each zone is
    /// off by its shift.
    pub(crate) fn around(&self, position: f64, shifts: &[ZoneShift]) -> Surroundings {
        let inside = self.inside(position);
        let mut mixed = Mixed::default();
        let mut start = 0.0;
        for (number, zone) in self.zones.iter().enumerate() {
            let end = start + zone.length.0;
            let shift = shifts.get(number).copied().unwrap_or_default();
            mixed.add(
                zone,
                shift,
                self.share(position, start, end),
                position,
                start,
            );
            start = end;
        }
        self.blend(&mixed, inside)
    }

    /// How much of the air at a position is the chamber's: 1 inside, dying away outside.
    fn inside(&self, position: f64) -> f64 {
        let outside = (-position).max(position - self.heated_length());
        if outside > 0.0 {
            // Half of the air at either mouth is the room's.
            0.5 * (-outside / self.vestibule.0).exp()
        } else {
            1.0 - 0.5 * (outside / self.vestibule.0).exp()
        }
    }

    /// How much a zone has to say at a position, over its neighbours.
    fn share(&self, position: f64, start: f64, end: f64) -> f64 {
        let edge = |at: f64| ((position - at) / self.leak.0).tanh();
        let length = self.heated_length();
        let before = if start <= 0.0 { 1.0 } else { edge(start) };
        let after = if end >= length - 1e-9 {
            -1.0
        } else {
            edge(end)
        };
        0.5 * (before - after)
    }

    fn blend(&self, mixed: &Mixed, inside: f64) -> Surroundings {
        let room = self.room.0;
        let air = room + inside * (mixed.air - room);
        let below_air = room + inside * (mixed.air - self.below_cooler - room);
        let convection = self.room_convection + inside * (mixed.convection - self.room_convection);
        let calm = self.room_convection * (1.0 - inside);
        let vapour = self.room_vapour() + inside * (self.chamber_vapour - self.room_vapour());
        let open = 1.0 - mixed.seen.min(1.0);
        Surroundings {
            air,
            convection,
            panels: mixed.panels,
            walls: open * black_body(air),
            below_air,
            below_convection: calm + inside * self.below.0 * mixed.convection,
            below_walls: black_body(below_air),
            vapour: push(vapour).0,
        }
    }
}

/// What the zones add up to at a position.
#[derive(Debug, Default)]
struct Mixed {
    air: f64,
    convection: f64,
    panels: f64,
    /// How much of what the print sees is panel.
    seen: f64,
}

impl Mixed {
    fn add(&mut self, zone: &TrueZone, shift: ZoneShift, share: f64, position: f64, start: f64) {
        let along = (position - start) / zone.length.0;
        let spots = zone.unevenness * (std::f64::consts::TAU * 1.3 * along + zone.phase).sin();
        self.air += share * (zone.air.0 + shift.air + spots);
        // Jets blow hardest in the middle of a zone.
        let profile = 1.0 + 0.15 * (1.0 - (2.0 * along.clamp(0.0, 1.0) - 1.0).powi(2) - 2.0 / 3.0);
        self.convection += share * zone.convection * profile;
        if let Some(panel) = zone.panel {
            let seen = strip_seen(position, start, start + zone.length.0, panel.height.0);
            let seen = seen * panel.strength.0;
            self.seen += seen;
            self.panels += seen * black_body(panel.temperature.0 + shift.panel);
        }
    }
}

/// How much of what a point sees is a strip above it, across the belt without end:
/// F = (sin φ₂ − sin φ₁)/2 with the angles to its edges (view factor of an element to an infinite strip
/// in a parallel plane; Siegel and Howell).
pub(crate) fn strip_seen(position: f64, start: f64, end: f64, height: f64) -> f64 {
    let sine = |edge: f64| (edge - position) / (edge - position).hypot(height);
    0.5 * (sine(end) - sine(start))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_view_of_a_strip_is_the_textbooks() {
        // Siegel and Howell: directly under the middle of a strip as wide as it is high, the half angle
        // is atan(1/2) and F = sin = 0.4472; under the edge of a half plane F = 1/2.
        assert!((strip_seen(0.5, 0.0, 1.0, 1.0) - 0.447_213_595).abs() < 1e-9);
        assert!((strip_seen(0.0, 0.0, 1e9, 1.0) - 0.5).abs() < 1e-9);
    }
}
