//! How the things of a shop really are, given what the shop says of them.
//!
//! A station declares set temperatures, an ink its film, a fabric its mass. What is really there is drawn
//! around that. The spreads are common practice, without a source.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, KilogramsPerSquareMetre, Metres, Share};
use inkdwell_config::station::{Station, Zone};

use crate::chance::Chance;
use crate::physics::{
    TrueBelt, TrueCloth, TrueFilm, TrueFlash, TrueGarment, TrueOven, TruePanel, TrueZone,
};

/// A batch of garments: what its garments have in common, and how far one differs from the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// The garment in the middle.
    pub nominal: TrueGarment,
    /// Relative deviation of the cloth's mass.
    pub mass_spread: f64,
    /// Relative deviation of the film's thickness.
    pub film_spread: f64,
    /// Deviation of the moisture, in kilograms of water for each of dry fibre.
    pub moisture_spread: f64,
}

impl Batch {
    /// Draws how a batch really is.
    pub fn likely(ink: &Ink, fabric: &Fabric, room: Celsius, chance: &mut Chance) -> Batch {
        let thirst = fabric.regain.0;
        Batch {
            nominal: TrueGarment {
                film: likely_film(ink, chance),
                cloth: likely_cloth(fabric, chance),
                start: room,
            },
            mass_spread: chance.between(0.01, 0.03),
            film_spread: chance.between(0.02, 0.06),
            moisture_spread: thirst * chance.between(0.02, 0.06),
        }
    }

    /// The batch in which everything is as declared or usual, and every garment the same.
    pub fn usual(ink: &Ink, fabric: &Fabric, room: Celsius) -> Batch {
        Batch {
            nominal: TrueGarment {
                film: TrueFilm::usual(ink),
                cloth: TrueCloth::usual(fabric),
                start: room,
            },
            mass_spread: 0.0,
            film_spread: 0.0,
            moisture_spread: 0.0,
        }
    }

    /// One garment of the batch.
    pub fn garment(&self, chance: &mut Chance) -> TrueGarment {
        let mut garment = self.nominal;
        garment.cloth.mass.0 *= chance.factor(self.mass_spread);
        garment.film.thickness.0 *= chance.factor(self.film_spread);
        let moisture = chance.about(garment.cloth.moisture.0, self.moisture_spread);
        garment.cloth.moisture = Share(moisture.max(0.0));
        garment
    }
}

fn likely_film(ink: &Ink, chance: &mut Chance) -> TrueFilm {
    let usual = TrueFilm::usual(ink);
    let water = if usual.seals() {
        0.0
    } else {
        (usual.water.0 * chance.factor(0.05)).min(0.75)
    };
    TrueFilm {
        thickness: Metres(usual.thickness.0 * chance.factor(0.1)),
        solids_density: usual.solids_density * chance.factor(0.05),
        specific_heat: usual.specific_heat * chance.factor(0.05),
        conductivity: usual.conductivity * chance.factor(0.1),
        water: Share(water),
        bound: Share(usual.bound.0 * chance.factor(0.25)),
        diffusivity: usual.diffusivity * chance.factor(0.5),
        // White ink takes less of the panels' heat than black.
        absorptivity: Share(chance.between(0.7, 0.95)),
        depth: Metres(usual.depth.0 * chance.factor(0.3)),
        fusing_heat: usual.fusing_heat * chance.factor(0.3),
    }
}

fn likely_cloth(fabric: &Fabric, chance: &mut Chance) -> TrueCloth {
    let usual = TrueCloth::usual(fabric);
    let humidity = chance.between(0.4, 0.7);
    TrueCloth {
        mass: KilogramsPerSquareMetre(usual.mass.0 * chance.factor(0.04)),
        density: usual.density * chance.factor(0.1),
        specific_heat: usual.specific_heat * chance.factor(0.04),
        conductivity: usual.conductivity * chance.factor(0.1),
        moisture: usual.moisture_in_air(Share(humidity)),
        openness: Share(chance.between(0.45, 0.65)),
        core_delay: usual.core_delay * chance.factor(0.4),
        absorptivity: Share(chance.between(0.65, 0.95)),
        depth: Metres(usual.depth.0 * chance.factor(0.3)),
        gap: Metres(usual.gap.0 * chance.factor(0.3)),
        ..usual
    }
}

/// Draws how a belt dryer really is: zones off by up to 10 °C, panels by up to 15, and everything that no
/// station declares.
pub fn likely_oven(station: &Station, room: Celsius, chance: &mut Chance) -> TrueOven {
    let zones: Vec<TrueZone> = station
        .zones
        .iter()
        .map(|zone| {
            let mut zone = usual_zone(zone, room);
            zone.air.0 += chance.between(-10.0, 10.0);
            zone.convection *= chance.factor(0.2);
            zone.unevenness = chance.between(1.0, 5.0);
            zone.phase = chance.between(0.0, std::f64::consts::TAU);
            if let Some(panel) = &mut zone.panel {
                panel.temperature.0 += chance.between(-15.0, 15.0);
                panel.strength.0 *= chance.factor(0.15);
                panel.height.0 *= chance.factor(0.15);
            }
            zone
        })
        .collect();
    TrueOven {
        zones,
        vestibule: Metres(chance.between(0.06, 0.18)),
        leak: Metres(chance.between(0.05, 0.15)),
        below: Share(chance.between(0.35, 0.7)),
        below_cooler: chance.between(2.0, 14.0),
        room_humidity: Share(chance.between(0.35, 0.6)),
        chamber_vapour: chance.between(1500.0, 5000.0),
        room,
        room_convection: chance.between(7.0, 12.0),
        belt: TrueBelt {
            capacity: 450.0 * chance.factor(0.2),
            contact: 80.0 * chance.factor(0.25),
            openness: Share(chance.between(0.35, 0.65)),
            return_cooling: chance.between(60.0, 180.0),
        },
    }
}

/// The oven in which everything is as declared or usual.
pub fn usual_oven(station: &Station, room: Celsius) -> TrueOven {
    TrueOven {
        zones: station
            .zones
            .iter()
            .map(|zone| usual_zone(zone, room))
            .collect(),
        vestibule: Metres(0.12),
        leak: Metres(0.1),
        below: Share(0.5),
        below_cooler: 8.0,
        room_humidity: Share(0.45),
        chamber_vapour: 2500.0,
        room,
        room_convection: 9.0,
        belt: TrueBelt {
            capacity: 450.0,
            contact: 80.0,
            openness: Share(0.5),
            return_cooling: 110.0,
        },
    }
}

/// A declared zone with what is usual for its kind: moving air 38 W/(m² K), moving air under panels 24,
/// panels alone 13 with air that they warm.
fn usual_zone(zone: &Zone, room: Celsius) -> TrueZone {
    let (air, convection, strength) = match (zone.air, zone.panel) {
        (Some(air), None) => (air.0, 38.0, 0.0),
        (Some(air), Some(_)) => (air.0, 24.0, 0.26),
        (None, Some(panel)) => (room.0 + 0.3 * (panel.0 - room.0), 13.0, 0.42),
        (None, None) => (room.0, 9.0, 0.0),
    };
    TrueZone {
        length: zone.length,
        air: Celsius(air),
        convection,
        panel: zone.panel.map(|panel| TruePanel {
            temperature: panel,
            height: Metres(0.12),
            strength: Share(strength),
        }),
        unevenness: 2.0,
        phase: 1.0,
    }
}

/// Draws how a flash unit really is.
pub fn likely_flash(station: &Station, room: Celsius, chance: &mut Chance) -> TrueFlash {
    let usual = usual_flash(station, room);
    TrueFlash {
        panel: Celsius(usual.panel.0 + chance.between(-15.0, 15.0)),
        height: Metres(usual.height.0 * chance.factor(0.15)),
        strength: Share((usual.strength.0 * chance.factor(0.08)).min(1.0)),
        air: Celsius(usual.air.0 + chance.between(-10.0, 10.0)),
        convection: usual.convection * chance.factor(0.2),
        room_humidity: Share(chance.between(0.35, 0.6)),
        contact: usual.contact * chance.factor(0.25),
        ..usual
    }
}

/// The flash unit in which everything is as declared or usual.
pub fn usual_flash(station: &Station, room: Celsius) -> TrueFlash {
    let panel = station
        .zones
        .iter()
        .find_map(|zone| zone.panel)
        .unwrap_or(Celsius(500.0));
    TrueFlash {
        panel,
        length: station.heated_length,
        height: Metres(0.08),
        strength: Share(0.8),
        air: Celsius(room.0 + 30.0),
        convection: 12.0,
        room,
        room_humidity: Share(0.45),
        room_convection: 9.0,
        contact: 110.0,
        swing: 0.8,
    }
}
