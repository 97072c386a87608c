//! The bare belt beside the prints: it went through the same heat and carries no garment.
//!
//! A thin mesh of heat capacity C (J/(m² K)) follows what surrounds it, above and below:
//!
//!   C dT/dt = q_top(T) + q_bottom(T).
//!
//! It is followed in short stretches of its way; on each it nears exponentially what it would become there. A
//! belt shows nothing of the garments, so that it tells a chamber that has changed from garments that
//! are wet or of other cloth.

use inkdwell_config::quantity::Metres;

use super::print::Passing;
use crate::heat::oven::{Backing, Oven};

/// Stretches along the belt, and how far before the heat it is followed from, in metres.
const STRETCH: f64 = 0.02;
const BEFORE: f64 = 0.25;

/// The bare belt's temperature (°C) as it passes so far beyond where the heat begins; no number where there is no
/// belt. It passes with a print that goes along it.
pub(super) fn bare_belt(oven: &Oven, passing: &Passing, place: Metres) -> f64 {
    let Backing::Belt(belt) = &oven.backing else {
        return f64::NAN;
    };
    let edges = oven.edges();
    let count = ((place.0 + BEFORE) / STRETCH).ceil().max(1.0);
    let stretch = (place.0 + BEFORE) / count;
    let mut celsius = belt.start.0;
    let mut since = passing.time_at(-BEFORE);
    for number in 0..(count as u32) {
        let from = -BEFORE + stretch * f64::from(number);
        let until = passing.time_at(from + stretch);
        let [_, bare] = oven.around(&edges, from + 0.5 * stretch);
        let (top, bottom) = (bare.top.heat(celsius), bare.bottom.heat(celsius));
        let (heat, slope) = (top.0 + bottom.0, top.1 + bottom.1);
        let lasting = (until - since).max(0.0) / belt.capacity;
        // Where nothing holds it back it warms in a straight line.
        celsius += if slope < 0.0 {
            heat / slope * (slope * lasting).exp_m1()
        } else {
            heat * lasting
        };
        since = until;
    }
    celsius
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::heat::HeatTransfer;
    use crate::heat::oven::{Belt, HeatZone, Room};
    use inkdwell_config::quantity::{Celsius, MetresPerSecond, Seconds, Share};

    #[test]
    fn without_radiation_it_nears_the_air_exponentially() {
        // Lumped capacity (Incropera, transient conduction): T − T∞ falls by exp(−h t/C), here with both faces
        // in the same air: h = 20 + 20 W/(m² K), C = 400 J/(m² K), 20 s at 0.1 m/s: e^−2.
        let oven = Oven {
            zones: vec![HeatZone {
                length: Metres(9.0),
                air: Celsius(200.0),
                convection: HeatTransfer(20.0),
                panel: Celsius(200.0),
                panel_share: Share(0.0),
                still_air: false,
            }],
            room: Room {
                temperature: Celsius(20.0),
                convection: HeatTransfer(0.0),
                humidity: Share(0.0),
            },
            humidity: Share(0.0),
            below: Share(1.0),
            belt_openness: Share(0.5),
            bare_absorptivity: Share(1.0),
            emissivity: Share(0.0),
            lewis: 1.0,
            lingering: Seconds(0.0),
            blur: Metres(0.001),
            backing: Backing::Belt(Belt {
                capacity: 400.0,
                start: Celsius(40.0),
                contact: HeatTransfer(80.0),
            }),
        };
        let passing = Passing::Steady(MetresPerSecond(0.1));
        let found = bare_belt(&oven, &passing, Metres(2.0));
        let expected = 200.0 - 160.0 * (-2.0_f64).exp();
        assert!((found - expected).abs() < 0.5, "{found} {expected}");
    }
}
