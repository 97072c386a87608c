//! What truly lies on the belt: film, cloth and the water in both.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::{Family, Ink};
use inkdwell_config::quantity::{Celsius, KilogramsPerSquareMetre, Metres, Share};

use super::water::Fibre;

/// A film of ink as it really was printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueFilm {
    /// Thickness when wet.
    pub thickness: Metres,
    /// Density of what is no water, in kg/m³.
    pub solids_density: f64,
    /// Specific heat of what is no water, in J/(kg K).
    pub specific_heat: f64,
    /// Conductivity of what is no water, in W/(m K).
    pub conductivity: f64,
    /// Water as a share of the wet mass.
    pub water: Share,
    /// Water for each kilogram of solids below which the ink holds it back.
    pub bound: Share,
    /// Diffusivity of water in the wet film at 60 °C, in m²/s.
    pub diffusivity: f64,
    /// Share of the panels' heat that the printed surface takes.
    pub absorptivity: Share,
    /// Depth in which the panels' heat falls to 1/e.
    pub depth: Metres,
    /// Heat that gelling and fusing takes, in J/kg of solids.
    pub fusing_heat: f64,
}

/// Cloth as it really is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueCloth {
    /// Mass of one layer with its regain at 65 % relative humidity.
    pub mass: KilogramsPerSquareMetre,
    /// Layers that lie on each other.
    pub layers: u8,
    /// Density with the air in it, in kg/m³.
    pub density: f64,
    /// Specific heat of the dry fibre in J/(kg K).
    pub specific_heat: f64,
    /// Conductivity with the air in it, in W/(m K).
    pub conductivity: f64,
    /// How the fibre holds water: its regain at 65 % relative humidity.
    pub regain: Share,
    /// Water that it brings along, for each kilogram of dry fibre.
    pub moisture: Share,
    /// How freely vapour passes, over the same way in free air.
    pub openness: Share,
    /// Seconds in which the fibre's core gives its water to its skin, at 60 °C.
    pub core_delay: f64,
    /// Share of the panels' heat that unprinted cloth takes.
    pub absorptivity: Share,
    /// Depth in which the panels' heat falls to 1/e.
    pub depth: Metres,
    /// Air between two layers.
    pub gap: Metres,
}

/// One garment with its print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueGarment {
    /// The print.
    pub film: TrueFilm,
    /// What it is printed on.
    pub cloth: TrueCloth,
    /// Its temperature when it is laid on the belt.
    pub start: Celsius,
}

impl TrueFilm {
    /// The usual film of an ink: what the ink declares, the rest at the middle of what is common.
    ///
    /// Plasticised PVC: 1200 kg/m³, 1300 J/(kg K), 0.17 W/(m K); acrylic solids alike; silicone rubber
    /// 0.2 W/(m K); the heat of fusing 8 kJ/kg; all from memory, no source.
    pub fn usual(ink: &Ink) -> TrueFilm {
        let wet = matches!(ink.family, Family::WaterBased | Family::Discharge);
        let usual_water = if wet { 0.58 } else { 0.0 };
        TrueFilm {
            thickness: ink.film.unwrap_or(Metres(if wet { 60e-6 } else { 80e-6 })),
            solids_density: if wet { 1180.0 } else { 1220.0 },
            specific_heat: if wet { 1500.0 } else { 1350.0 },
            conductivity: if ink.family == Family::Silicone {
                0.2
            } else {
                0.17
            },
            water: ink.water.unwrap_or(Share(usual_water)),
            bound: Share(0.22),
            diffusivity: 4e-10,
            absorptivity: Share(0.85),
            depth: Metres(40e-6),
            fusing_heat: if ink.family == Family::Plastisol {
                8e3
            } else {
                0.0
            },
        }
    }

    /// Whether it lets no water through.
    pub fn seals(&self) -> bool {
        self.water.0 <= 0.0
    }
}

impl TrueCloth {
    /// The usual cloth of a fabric: what it declares, the rest at the middle of what is common.
    ///
    /// Fibre of high regain (cotton) 1300 J/(kg K), of low regain (polyester, nylon) 1400; a knit is
    /// three quarters air, 0.05 W/(m K). From memory, no source.
    pub fn usual(fabric: &Fabric) -> TrueCloth {
        let thirsty = fabric.regain.0 > 0.06;
        TrueCloth {
            mass: fabric.mass,
            layers: fabric.layers,
            density: 340.0,
            specific_heat: if thirsty { 1300.0 } else { 1400.0 },
            conductivity: 0.05,
            regain: fabric.regain,
            moisture: fabric.regain,
            openness: Share(0.55),
            core_delay: 4.0,
            absorptivity: Share(0.8),
            depth: Metres(150e-6),
            gap: Metres(0.35e-3),
        }
    }

    /// The water that its fibre holds in air of a relative humidity at 20 °C, for each kilogram of it.
    pub fn moisture_in_air(&self, relative_humidity: Share) -> Share {
        Share(Fibre::of_regain(self.regain.0).in_air(relative_humidity.0))
    }

    /// Dry mass of one layer in kg/m².
    pub fn dry_mass(&self) -> f64 {
        self.mass.0 / (1.0 + self.regain.0)
    }

    /// Thickness of one layer in metres.
    pub fn thickness(&self) -> f64 {
        self.mass.0 / self.density
    }
}
