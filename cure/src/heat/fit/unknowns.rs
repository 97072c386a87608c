//! What a fit may change, and how far each is likely to be from what was declared.
//!
//! Each unknown is z times its spread away from its usual value, as a factor exp(spread z) or as a
//! difference. z = 0 is what the shop declared or what is usual; |z| rarely passes 2, and a bend in the
//! scale keeps it under 5 however hard the readings pull. The z themselves are fitted, with the standard
//! normal distribution as what is known before: that is what lets one ride be enough.

use inkdwell_config::quantity::{Celsius, Seconds, Share};

use crate::heat::HeatTransfer;
use crate::heat::oven::{Backing, Oven};
use crate::heat::print::Print;

/// One thing that is not known well enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unknown {
    /// Convection in all zones.
    Convection,
    /// Convection of one zone against the others.
    ZoneConvection(usize),
    /// Real against declared temperature of a zone: its air or, where none is declared, its panel.
    ZoneTemperature(usize),
    /// How much of the panels the prints see.
    Panels,
    /// Air that is not heated by itself, between room and panel.
    StillAir,
    /// Vapour in the chamber's air.
    Humidity,
    /// Heat below the belt.
    Below,
    /// The belt as it comes round, or the platen.
    Backing,
    /// Contact between cloth and belt or platen.
    Contact,
    /// Heat that the belt takes up.
    BeltCapacity,
    /// How freely the underside breathes.
    Openness,
    /// How much longer than asked prints are under a lamp.
    Lingering,
    /// How far heat spills out at the ends.
    Blur,
    /// Convection and so cooling outside.
    RoomConvection,
    /// Thickness of the film.
    Film,
    /// Water in the ink.
    InkWater,
    /// Where the ink begins to hold its water back.
    BoundWater,
    /// Mass of the batch's cloth.
    Mass,
    /// Water in the batch's cloth.
    Moisture,
    /// Air between two layers.
    Gap,
    /// Unprinted cloth under panels.
    BareAbsorptivity,
    /// Lag of the ride's junction.
    Lag,
}

/// An oven, a print and a probe: a point in the space of the unknowns.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Guess {
    pub(crate) oven: Oven,
    pub(crate) print: Print,
    pub(crate) lag: Seconds,
}

/// Where |z| is bent back.
const BEND: f64 = 5.0;

/// Lag of a fine junction in ink, on a belt. Common practice, no source.
const JUNCTION_LAG: Seconds = Seconds(0.4);
/// Lag of an infrared probe that looks at a surface under a lamp. Common practice, no source.
const INFRARED_LAG: Seconds = Seconds(0.1);

/// The lag that is usual where prints lie on a backing.
pub(crate) fn usual_lag(backing: &Backing) -> Seconds {
    match backing {
        Backing::Platen(_) => INFRARED_LAG,
        Backing::Belt(_) | Backing::Open => JUNCTION_LAG,
    }
}

/// Scatter of the mass of one batch's garments: one standard deviation as a share (half of 10 % at k = 2).
pub(crate) const MASS_SCATTER: f64 = 0.05;

/// The same for water in the cloth: half of 0.02, of the dry mass.
pub(crate) const MOISTURE_SCATTER: f64 = 0.01;

impl Unknown {
    /// Those that matter for an oven and a print.
    pub(crate) fn of(oven: &Oven, print: &Print) -> Vec<Unknown> {
        use Unknown::{
            Backing as Under, BareAbsorptivity, Below, BeltCapacity, Blur, BoundWater, Contact,
            Convection, Film, Gap, Humidity, InkWater, Lag, Lingering, Mass, Moisture, Openness,
            Panels, RoomConvection, StillAir, ZoneConvection, ZoneTemperature,
        };
        let zones = oven.zones.len();
        let mut all = vec![Convection];
        if zones > 1 {
            all.extend((0..zones).map(ZoneConvection));
        }
        all.extend((0..zones).map(ZoneTemperature));
        let panels = oven.zones.iter().any(|zone| zone.panel_share.0 > 0.0);
        if panels {
            all.push(Panels);
        }
        if oven.zones.iter().any(|zone| zone.still_air) {
            all.push(StillAir);
        }
        all.extend([Humidity, Under, Contact, Blur, RoomConvection]);
        if matches!(oven.backing, Backing::Belt(_)) {
            all.extend([Below, BeltCapacity, Openness]);
        }
        if matches!(oven.backing, Backing::Platen(_)) {
            all.push(Lingering);
        }
        if let Some(film) = &print.film {
            all.push(Film);
            if film.water.0 > 0.0 {
                all.extend([InkWater, BoundWater]);
            }
        }
        all.extend([Mass, Moisture]);
        if print.cloth.layers > 1 {
            all.push(Gap);
        }
        if panels {
            all.push(BareAbsorptivity);
        }
        all.push(Lag);
        all
    }

    /// One standard deviation of what is likely before any ride: a share for what is scaled, else in
    /// its own unit. Common practice, no source, unless trade figures are named.
    pub(crate) fn spread(self) -> f64 {
        match self {
            Unknown::Convection => 0.4,
            Unknown::ZoneConvection(_) => 0.15,
            Unknown::ZoneTemperature(_) => 7.0,
            Unknown::Panels => 0.5,
            Unknown::StillAir => 0.3,
            Unknown::Humidity
            | Unknown::Below
            | Unknown::BoundWater
            | Unknown::Blur
            | Unknown::Openness => 0.5,
            Unknown::Backing => 12.0,
            Unknown::Contact => 0.4,
            Unknown::BeltCapacity | Unknown::RoomConvection => 0.25,
            Unknown::Lingering => 0.25,
            Unknown::Film => 0.2,
            Unknown::InkWater => 0.15,
            // Cloth weighs what it says to some per cent.
            Unknown::Mass => 0.04,
            Unknown::Moisture => 0.15,
            Unknown::Gap => 0.4,
            Unknown::BareAbsorptivity => 0.15,
            Unknown::Lag => 0.6,
        }
    }

    /// How far z moves it, in spreads: z itself, bent back where it is large.
    pub(crate) fn bent(z: f64) -> (f64, f64) {
        let bent = (z / BEND).tanh();
        (BEND * bent, 1.0 - bent * bent)
    }

    /// Changes a guess by z spreads.
    pub(crate) fn apply(self, guess: &mut Guess, z: f64) {
        let difference = self.spread() * Unknown::bent(z).0;
        let factor = difference.exp();
        let scale = |value: &mut Share| value.0 *= factor;
        let (oven, print) = (&mut guess.oven, &mut guess.print);
        match self {
            Unknown::Convection => oven
                .zones
                .iter_mut()
                .for_each(|zone| zone.convection.0 *= factor),
            Unknown::ZoneConvection(number) => oven.zones[number].convection.0 *= factor,
            Unknown::ZoneTemperature(number) => shift_zone(oven, number, difference),
            Unknown::Panels => oven
                .zones
                .iter_mut()
                .for_each(|zone| zone.panel_share.0 *= factor),
            Unknown::StillAir => warm_still_air(oven, factor),
            Unknown::Humidity => scale(&mut oven.humidity),
            Unknown::Below => scale(&mut oven.below),
            Unknown::Openness => scale(&mut oven.belt_openness),
            Unknown::BareAbsorptivity => scale(&mut oven.bare_absorptivity),
            Unknown::Lingering => oven.lingering.0 += difference,
            Unknown::Blur => oven.blur.0 *= factor,
            Unknown::RoomConvection => oven.room.convection.0 *= factor,
            Unknown::Backing => match &mut oven.backing {
                Backing::Belt(belt) => belt.start.0 += difference,
                Backing::Platen(platen) => platen.temperature.0 += difference,
                Backing::Open => {}
            },
            Unknown::Contact => match &mut oven.backing {
                Backing::Belt(belt) => belt.contact.0 *= factor,
                Backing::Platen(platen) => platen.contact.0 *= factor,
                Backing::Open => {}
            },
            Unknown::BeltCapacity => {
                if let Backing::Belt(belt) = &mut oven.backing {
                    belt.capacity *= factor;
                }
            }
            Unknown::Film => {
                if let Some(film) = &mut print.film {
                    film.thickness.0 *= factor;
                }
            }
            Unknown::InkWater => {
                if let Some(film) = &mut print.film {
                    film.water.0 = more_water(film.water.0, factor);
                }
            }
            Unknown::BoundWater => {
                if let Some(film) = &mut print.film {
                    scale(&mut film.bound);
                }
            }
            Unknown::Mass => print.cloth.mass.0 *= factor,
            Unknown::Moisture => scale(&mut print.cloth.moisture),
            Unknown::Gap => print.cloth.gap = HeatTransfer(print.cloth.gap.0 * factor),
            Unknown::Lag => guess.lag.0 *= factor,
        }
    }
}

/// A zone that is hotter than declared. Where it blows, its air is; its panel too if it has none of
/// its own. Where it only radiates, its panel is, and three times as far: panels run hotter.
fn shift_zone(oven: &mut Oven, number: usize, difference: f64) {
    let zone = &mut oven.zones[number];
    if zone.still_air {
        zone.panel.0 += 2.0 * difference;
        return;
    }
    zone.air.0 += difference;
    if zone.panel_share.0 == 0.0 {
        zone.panel.0 += difference;
    }
}

fn warm_still_air(oven: &mut Oven, factor: f64) {
    let room = oven.room.temperature.0;
    for zone in oven.zones.iter_mut().filter(|zone| zone.still_air) {
        zone.air = Celsius(room + factor * (zone.air.0 - room));
    }
}

/// A water content whose odds (water to solids) are scaled: it stays between none and all.
fn more_water(water: f64, factor: f64) -> f64 {
    let odds = factor * factor * water / (1.0 - water).max(1e-6);
    odds / (1.0 + odds)
}
