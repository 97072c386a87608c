//! What a print travels through: zones of hot air and hot panels, the room, the belt or platen below.

use inkdwell_config::quantity::{Celsius, Metres, Seconds, Share, ZERO_CELSIUS_IN_KELVIN};
use inkdwell_config::station::{Station, StationKind, Zone};

use super::HeatTransfer;
use super::properties::{
    AIR_SPECIFIC_HEAT, EMISSIVITY, LEWIS_NUMBER, STEFAN_BOLTZMANN, VAPOUR_SPECIFIC_HEAT,
};
use super::surroundings::{Breath, Face, Surroundings};

/// Room temperature where nobody says otherwise.
pub const USUAL_ROOM: Celsius = Celsius(22.0);

/// A stretch of the chamber.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatZone {
    /// Its length along the belt.
    pub length: Metres,
    /// Temperature of the air that blows or stands in it.
    pub air: Celsius,
    /// Convection from that air.
    pub convection: HeatTransfer,
    /// Temperature of the panel above; the air's where there is none.
    pub panel: Celsius,
    /// How much of what the print sees is panel; the rest is wall at the temperature of the air.
    pub panel_share: Share,
    /// Whether nobody declares the air: it then is what panel and room make of it.
    pub still_air: bool,
}

/// The air outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Its temperature, and that of what stands around.
    pub temperature: Celsius,
    /// Convection to it.
    pub convection: HeatTransfer,
    /// Kilograms of vapour for each of dry air.
    pub humidity: Share,
}

/// A belt: an open mesh that the print lies on and that is heated along with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belt {
    /// Heat capacity by area in J/(m² K).
    pub capacity: f64,
    /// Temperature with which it comes round to the loading end.
    pub start: Celsius,
    /// Contact between cloth and belt.
    pub contact: HeatTransfer,
}

/// A platen: so massive that one print does not change it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Platen {
    /// Its temperature, which climbs over a run.
    pub temperature: Celsius,
    /// Contact between cloth and platen, its adhesive and pad included.
    pub contact: HeatTransfer,
}

/// What a print lies on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Backing {
    /// The belt of a dryer.
    Belt(Belt),
    /// The platen under a flash unit.
    Platen(Platen),
    /// Nothing: both sides see the same surroundings.
    Open,
}

/// A dryer or flash unit with all that the heat model needs of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Oven {
    /// Zones in the order in which a print meets them.
    pub zones: Vec<HeatZone>,
    /// The air around.
    pub room: Room,
    /// Kilograms of vapour for each of dry air in the chamber.
    pub humidity: Share,
    /// Convection and radiation below the belt, as a share of those above.
    pub below: Share,
    /// How much of the cloth's underside breathes through the belt's mesh.
    pub belt_openness: Share,
    /// Absorptivity of unprinted cloth for the panels' heat over that of the print.
    pub bare_absorptivity: Share,
    /// Emissivity of the print and the cloth.
    pub emissivity: Share,
    /// Lewis number of the air: with 1 a wet print hangs at the thermodynamic wet bulb of air that
    /// is its only source of heat.
    pub lewis: f64,
    /// How much longer than asked a print is really under a lamp that swings in and out.
    pub lingering: Seconds,
    /// How far heat spills over the edges of a zone.
    pub blur: Metres,
    /// What the print lies on.
    pub backing: Backing,
}

impl Oven {
    /// An oven as far as a station declares it, the rest at what is usual.
    ///
    /// Transfer strengths are the middle of what is common (no source); rides correct them.
    pub fn new(station: &Station, room: Celsius) -> Oven {
        let backing = match station.kind {
            StationKind::BeltDryer => Backing::Belt(Belt {
                // Coated glass mesh of 450 g/m² at 1 kJ/(kg K), which comes back still warm.
                capacity: 450.0,
                start: Celsius(room.0 + 20.0),
                contact: HeatTransfer(80.0),
            }),
            StationKind::FlashUnit => Backing::Platen(Platen {
                temperature: Celsius(room.0 + 13.0),
                contact: HeatTransfer(120.0),
            }),
        };
        Oven {
            zones: station.zones.iter().map(|zone| usual(zone, room)).collect(),
            room: Room {
                temperature: room,
                convection: HeatTransfer(9.0),
                // About half of saturation at 22 °C.
                humidity: Share(0.008),
            },
            humidity: Share(0.015),
            below: Share(0.5),
            belt_openness: Share(0.5),
            bare_absorptivity: Share(1.0),
            emissivity: Share(EMISSIVITY),
            lewis: LEWIS_NUMBER,
            lingering: Seconds(0.0),
            // A mouth lets the heat out, and the room in, over a decimetre or so.
            blur: Metres(0.1),
            backing,
        }
    }

    /// Length of all zones.
    pub fn heated_length(&self) -> Metres {
        Metres(self.zones.iter().map(|zone| zone.length.0).sum())
    }

    /// Where zones begin and end, from the entry; at least the entry.
    pub(crate) fn edges(&self) -> Vec<f64> {
        let mut edges = vec![0.0];
        let mut end = 0.0;
        for zone in &self.zones {
            end += zone.length.0;
            edges.push(end);
        }
        edges
    }

    /// What surrounds a printed column at a place along the belt, and beside it an unprinted one.
    pub(crate) fn around(&self, edges: &[f64], position: f64) -> [Surroundings; 2] {
        let rise = |edge: &f64| 0.5 + 0.5 * ((position - edge) / self.blur.0).tanh();
        let mut mixed = Mixed::default();
        let mut inside = edges.first().map_or(0.0, rise);
        let mut outside = 1.0 - inside;
        for (zone, edge) in self.zones.iter().zip(&edges[1..]) {
            let beyond = rise(edge);
            mixed.add_zone(zone, inside - beyond, self.humidity.0);
            inside = beyond;
        }
        outside += inside;
        mixed.add_room(&self.room, outside);
        // Vapour follows heat through the same air.
        let moist = AIR_SPECIFIC_HEAT + VAPOUR_SPECIFIC_HEAT * self.humidity.0;
        let vapour = 1.0 / (moist * self.lewis.powf(2.0 / 3.0));
        [1.0, self.bare_absorptivity.0]
            .map(|absorptivity| self.surroundings(&mixed, absorptivity, vapour))
    }

    fn surroundings(&self, mixed: &Mixed, absorptivity: f64, vapour: f64) -> Surroundings {
        let breath = |share: f64| Breath {
            g: share * vapour * mixed.convection,
            gw: share * vapour * mixed.humidity,
        };
        let grey = self.emissivity.0 * STEFAN_BOLTZMANN;
        let face = |share: f64, panels: f64| Face {
            a: share * mixed.convective,
            b: share * mixed.convection,
            r: share * grey * (mixed.walls + panels * mixed.panels),
            emission: share * grey * (1.0 - mixed.panel_share * (1.0 - panels)),
        };
        let top = face(1.0, absorptivity);
        let (bottom, below) = match &self.backing {
            Backing::Belt(_) => (
                Face {
                    // Below the belt there are walls alone.
                    a: self.below.0 * mixed.convective,
                    b: self.below.0 * mixed.convection,
                    r: self.below.0 * grey * mixed.walls_alone,
                    emission: self.below.0 * grey,
                },
                // Heat and vapour cross the same air.
                self.below.0 * self.belt_openness.0,
            ),
            Backing::Platen(platen) => (
                Face {
                    a: platen.contact.0 * platen.temperature.0,
                    b: platen.contact.0,
                    ..Face::default()
                },
                0.0,
            ),
            Backing::Open => (top, 1.0),
        };
        Surroundings {
            top,
            bottom,
            top_breath: breath(1.0),
            bottom_breath: breath(below),
        }
    }
}

/// Zones and room mixed by how much of each reaches a place.
#[derive(Debug, Clone, Copy, Default)]
struct Mixed {
    /// Σ h T.
    convective: f64,
    /// Σ h.
    convection: f64,
    /// Σ h W.
    humidity: f64,
    /// Σ T⁴ of walls as far as they are seen, in K⁴.
    walls: f64,
    /// Σ T⁴ of walls where there is no panel, in K⁴.
    walls_alone: f64,
    /// Σ T⁴ of panels as far as they are seen, in K⁴.
    panels: f64,
    /// Σ of the panels' shares.
    panel_share: f64,
}

impl Mixed {
    fn add_zone(&mut self, zone: &HeatZone, weight: f64, humidity: f64) {
        let convection = weight * zone.convection.0;
        self.convection += convection;
        self.convective += convection * zone.air.0;
        self.humidity += convection * humidity;
        let wall = weight * fourth_power(zone.air);
        self.walls += (1.0 - zone.panel_share.0) * wall;
        self.walls_alone += wall;
        self.panels += zone.panel_share.0 * weight * fourth_power(zone.panel);
        self.panel_share += weight * zone.panel_share.0;
    }

    fn add_room(&mut self, room: &Room, weight: f64) {
        let convection = weight * room.convection.0;
        self.convection += convection;
        self.convective += convection * room.temperature.0;
        self.humidity += convection * room.humidity.0;
        let wall = weight * fourth_power(room.temperature);
        self.walls += wall;
        self.walls_alone += wall;
    }
}

fn fourth_power(temperature: Celsius) -> f64 {
    (temperature.0 + ZERO_CELSIUS_IN_KELVIN).powi(4)
}

/// A declared zone with the transfer that is usual for its kind (common practice, no source).
fn usual(zone: &Zone, room: Celsius) -> HeatZone {
    let (air, convection) = match (zone.air, zone.panel) {
        (Some(air), None) => (air, 40.0),
        (Some(air), Some(_)) => (air, 25.0),
        // Air that nobody heats is warmed by the panel and drawn in from the room.
        (None, Some(panel)) => (Celsius(room.0 + 0.3 * (panel.0 - room.0)), 12.0),
        (None, None) => (room, 9.0),
    };
    HeatZone {
        length: zone.length,
        air,
        convection: HeatTransfer(convection),
        panel: zone.panel.unwrap_or(air),
        panel_share: Share(zone.panel.map_or(0.0, |_| 0.45)),
        still_air: zone.air.is_none(),
    }
}
