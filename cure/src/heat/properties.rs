//! What air, water, cloth and ink are made of, as far as heat and vapour care.
//!
//! Handbook figures that are marked "from memory" are the usual middle of what handbooks give for
//! the material; a fit to rides corrects what matters of them.

use inkdwell_config::ink::Family;
use inkdwell_config::quantity::{Celsius, ZERO_CELSIUS_IN_KELVIN};

/// Stefan-Boltzmann constant in W/(m² K⁴). CODATA 2018.
pub const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;

/// Pressure of the standard atmosphere in Pa. ASHRAE Fundamentals, psychrometrics, at sea level.
pub const ATMOSPHERE: f64 = 101_325.0;

/// Gas constant of water vapour in J/(kg K): 8.314 462 618 J/(mol K) (CODATA 2018) over
/// 18.015 268 g/mol.
pub const VAPOUR_GAS_CONSTANT: f64 = 461.523;

/// Gas constant of dry air in J/(kg K). ASHRAE Fundamentals, psychrometrics.
pub const AIR_GAS_CONSTANT: f64 = 287.042;

/// Molar mass of water over that of dry air. ASHRAE Fundamentals, psychrometrics.
pub const MOLAR_MASS_RATIO: f64 = 0.621_945;

/// Specific heat of dry air in J/(kg K). ASHRAE Fundamentals, psychrometrics.
pub const AIR_SPECIFIC_HEAT: f64 = 1006.0;

/// Specific heat of water vapour in J/(kg K). ASHRAE Fundamentals, psychrometrics.
pub const VAPOUR_SPECIFIC_HEAT: f64 = 1860.0;

/// Specific heat of liquid water in J/(kg K). ASHRAE Fundamentals, psychrometrics.
pub const WATER_SPECIFIC_HEAT: f64 = 4186.0;

/// Heat that turns water at 0 °C into vapour at 0 °C, in J/kg. ASHRAE Fundamentals, psychrometrics.
pub const LATENT_HEAT_AT_ZERO: f64 = 2.501e6;

/// Density of liquid water in kg/m³.
pub const WATER_DENSITY: f64 = 1000.0;

/// Lewis number (thermal over vapour diffusivity) of water vapour in air near room temperature. From
/// memory: textbooks give 0.85 to 0.87, nearly the same at any temperature of a dryer's air.
pub const LEWIS_NUMBER: f64 = 0.865;

/// Specific heat of dry cotton in J/(kg K). From memory: handbooks give 1200 to 1350.
pub const COTTON_SPECIFIC_HEAT: f64 = 1300.0;

/// Conductivity of knitted cloth with the air in it, in W/(m K). From memory: 0.04 to 0.07.
pub const CLOTH_CONDUCTIVITY: f64 = 0.05;

/// Density of knitted cloth with the air in it, in kg/m³: jersey of 180 g/m² is about half a
/// millimetre thick. From memory.
pub const CLOTH_DENSITY: f64 = 340.0;

/// How much the tortuous way through cloth slows vapour, over the same way in free air. From memory:
/// the share of air in a knit (three quarters) and a little for the detour.
pub const CLOTH_VAPOUR_SHARE: f64 = 0.6;

/// Emissivity, and so absorptivity for heat, of cloth and ink in the far infrared. From memory:
/// 0.85 to 0.95 for both.
pub const EMISSIVITY: f64 = 0.9;

/// Pressure or partial pressure in Pa.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Pascals(pub f64);

/// Vapour pressure of water over liquid.
///
/// ln p = C₈/T + C₉ + C₁₀T + C₁₁T² + C₁₂T³ + C₁₃ ln T, T in kelvin: Hyland and Wexler as printed in
/// ASHRAE Fundamentals (psychrometrics, equation 6) for 0 to 200 °C. Outside that range the same
/// formula is carried on, which stays smooth and rising.
pub fn saturation_pressure(temperature: Celsius) -> Pascals {
    let kelvin = temperature.kelvin();
    Pascals(log_saturation(kelvin, 1.0 / kelvin).0.exp())
}

/// ln p (p in Pa) and its derivative by temperature, at a temperature in kelvin and one over it.
#[inline]
pub(crate) fn log_saturation(t: f64, inverse: f64) -> (f64, f64) {
    const C8: f64 = -5.800_220_6e3;
    const C9: f64 = 1.391_499_3;
    const C10: f64 = -4.864_023_9e-2;
    const C11: f64 = 4.176_476_8e-5;
    const C12: f64 = -1.445_209_3e-8;
    const C13: f64 = 6.545_967_3;
    (
        C8 * inverse + C9 + t * (C10 + t * (C11 + t * C12)) + C13 * t.ln(),
        -C8 * inverse * inverse + C10 + t * (2.0 * C11 + t * 3.0 * C12) + C13 * inverse,
    )
}

/// Heat that evaporates a kilogram of water at a temperature, in J/kg: the enthalpy of vapour less
/// that of liquid as ASHRAE Fundamentals has them, 2501 + 1.86 t − 4.186 t kJ/kg.
pub fn latent_heat(temperature: Celsius) -> f64 {
    LATENT_HEAT_AT_ZERO + (VAPOUR_SPECIFIC_HEAT - WATER_SPECIFIC_HEAT) * temperature.0
}

/// Humidity ratio (kilograms of vapour for each of dry air) at a vapour pressure.
///
/// W = 0.621945 p / (P − p), ASHRAE Fundamentals, psychrometrics, equation 20.
pub fn humidity_ratio(vapour: Pascals) -> f64 {
    MOLAR_MASS_RATIO * vapour.0 / (ATMOSPHERE - vapour.0)
}

/// Density of dry air in kg/m³ at the standard atmosphere (ideal gas).
pub fn air_density(temperature: Celsius) -> f64 {
    ATMOSPHERE / (AIR_GAS_CONSTANT * temperature.kelvin())
}

/// Conductivity of air in W/(m K). From memory: a straight line through 0.0263 at 300 K and 0.0338 at
/// 400 K (Incropera, thermophysical properties of air).
pub fn air_conductivity(temperature: Celsius) -> f64 {
    0.0263 + 7.5e-5 * (temperature.kelvin() - 300.0)
}

/// Diffusivity of water vapour in air in m²/s: 2.178e-5 (T / 273.15 K)^1.81 (Massman 1998,
/// Atmospheric Environment 32; from memory).
pub fn vapour_diffusivity(temperature: Celsius) -> f64 {
    2.178e-5 * (temperature.kelvin() / ZERO_CELSIUS_IN_KELVIN).powf(1.81)
}

/// The dry part of a film of ink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InkMaterial {
    /// Density of the wet ink in kg/m³.
    pub density: f64,
    /// Specific heat of what is no water in it, in J/(kg K).
    pub specific_heat: f64,
    /// Conductivity of the film in W/(m K).
    pub conductivity: f64,
    /// Water as a share of the wet ink's mass, where the ink does not say.
    pub water: f64,
    /// Whether the film lets no vapour through.
    pub seals: bool,
}

/// The material of an ink by its chemistry.
///
/// Plasticised PVC: conductivity 0.15 to 0.19, specific heat 1000 to 1500, density about 1200. Wet
/// water-based ink is about half water, whose conductivity of 0.6 makes the wet film's about 0.4.
/// Silicone rubber: 0.2, 1300, 1100. All from memory.
pub fn ink_material(family: Family) -> InkMaterial {
    let dry = InkMaterial {
        density: 1200.0,
        specific_heat: 1300.0,
        conductivity: 0.17,
        water: 0.0,
        seals: true,
    };
    match family {
        Family::Plastisol | Family::Other => dry,
        Family::WaterBased => InkMaterial {
            density: 1080.0,
            specific_heat: 1500.0,
            conductivity: 0.35,
            water: 0.5,
            seals: false,
        },
        Family::Discharge => InkMaterial {
            density: 1060.0,
            specific_heat: 1500.0,
            conductivity: 0.35,
            water: 0.6,
            seals: false,
        },
        Family::Silicone => InkMaterial {
            density: 1100.0,
            conductivity: 0.2,
            ..dry
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vapour_pressure_is_that_of_the_psychrometric_chart() {
        // PsychroLib GetSatVapPres (SI), which carries the ASHRAE equations.
        for (celsius, pascals) in [
            (0.01, 611.657_024_390_876_6),
            (20.0, 2_338.803_700_073_981_4),
            (50.0, 12_349.856_466_723_748),
            (80.0, 47_411.611_463_138_135),
            (100.0, 101_418.716_827_991_25),
            (150.0, 476_197.875_942_201_6),
            (200.0, 1_555_073.745_636_215),
        ] {
            // Below 0 °C PsychroLib changes to ice; above it the two are one formula.
            let ours = saturation_pressure(Celsius(celsius)).0;
            assert!(
                (ours / pascals - 1.0).abs() < 1e-4,
                "{celsius}: {ours} {pascals}"
            );
        }
    }

    #[test]
    fn the_slope_of_vapour_pressure_obeys_clausius_and_clapeyron() {
        // d ln p/dT = latent heat / (R T²) for an ideal vapour; near room temperature that holds to
        // 0.2 % (any thermodynamics text).
        for celsius in [10.0, 20.0, 30.0, 40.0] {
            let kelvin = celsius + ZERO_CELSIUS_IN_KELVIN;
            let (_, slope) = log_saturation(kelvin, 1.0 / kelvin);
            let ideal = latent_heat(Celsius(celsius)) / (VAPOUR_GAS_CONSTANT * kelvin * kelvin);
            assert!((slope / ideal - 1.0).abs() < 3e-3, "{celsius}");
        }
    }

    #[test]
    fn humidity_and_latent_heat_are_the_handbooks() {
        // PsychroLib GetVapPresFromHumRatio(0.008, 101325 Pa) is 1286.779 Pa.
        assert!((humidity_ratio(Pascals(1_286.779_004_501_626_7)) - 0.008).abs() < 1e-8);
        // Steam tables (from memory): 2453.5 kJ/kg at 20 °C, 2256.4 at 100 °C; the linear form of
        // the psychrometric chart stays within 0.6 %.
        assert!((latent_heat(Celsius(20.0)) / 2453.5e3 - 1.0).abs() < 1e-3);
        assert!((latent_heat(Celsius(100.0)) / 2256.4e3 - 1.0).abs() < 6e-3);
    }

    #[test]
    fn air_has_the_lewis_number_of_textbooks() {
        // Incropera, air at 350 K: conductivity 0.030, density 0.995 (from memory).
        let warm = Celsius(350.0 - ZERO_CELSIUS_IN_KELVIN);
        assert!((air_conductivity(warm) - 0.030).abs() < 1e-4);
        assert!((air_density(warm) - 0.995).abs() < 0.015);
        let diffusivity = air_conductivity(warm) / (air_density(warm) * AIR_SPECIFIC_HEAT);
        let lewis = diffusivity / vapour_diffusivity(warm);
        assert!((lewis / LEWIS_NUMBER - 1.0).abs() < 0.06, "{lewis}");
    }
}
