//! How water leaves: its vapour pressure, how cloth and ink hold it, and the heat that it takes.

use inkdwell_config::quantity::ZERO_CELSIUS_IN_KELVIN;

/// Pressure of the standard atmosphere in Pa (ISO 2533).
pub(crate) const ATMOSPHERE: f64 = 101_325.0;
/// Gas constant of water vapour in J/(kg K): CODATA 2018 over 18.015 268 g/mol.
pub(crate) const GAS_CONSTANT: f64 = 461.523;
/// Specific heat of liquid water in J/(kg K), mean of 20 to 100 °C in steam tables, from memory.
pub(crate) const LIQUID_HEAT: f64 = 4190.0;
/// Specific heat of vapour in J/(kg K), from memory: textbooks give 1860 to 2000.
pub(crate) const VAPOUR_HEAT: f64 = 1880.0;
/// Enthalpy of vapour at 0 °C over liquid at 0 °C in J/kg (steam tables: 2500.9 kJ/kg).
pub(crate) const VAPOUR_AT_ZERO: f64 = 2.5009e6;

/// Enthalpy of vapour at a temperature in °C, over liquid at 0 °C, in J/kg.
pub(crate) fn vapour_enthalpy(celsius: f64) -> f64 {
    VAPOUR_AT_ZERO + VAPOUR_HEAT * celsius
}

/// A figure and its slopes by temperature and by the water held.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sloped {
    pub(crate) value: f64,
    pub(crate) by_celsius: f64,
    pub(crate) by_water: f64,
}

/// Vapour pressure over free water in Pa at a temperature in °C, and d ln p/dT.
///
/// ln(p/p_c) = (T_c/T)(a₁τ + a₂τ^1.5 + a₃τ³ + a₄τ^3.5 + a₅τ⁴ + a₆τ^7.5), τ = 1 − T/T_c: Wagner and
/// Pruss, IAPWS SR1-86(1992), from the triple to the critical point.
pub fn saturation(celsius: f64) -> (f64, f64) {
    const A: [f64; 6] = [
        -7.859_517_83,
        1.844_082_59,
        -11.786_649_7,
        22.680_741_1,
        -15.961_871_9,
        1.801_225_02,
    ];
    const CRITICAL_KELVIN: f64 = 647.096;
    const CRITICAL_PASCAL: f64 = 22.064e6;
    let kelvin = (celsius + ZERO_CELSIUS_IN_KELVIN).clamp(200.0, 640.0);
    let t = 1.0 - kelvin / CRITICAL_KELVIN;
    let root = t.sqrt();
    let (t2, t3) = (t * t, t * t * t);
    let t6 = t3 * t3;
    let sum =
        t * (A[0] + root * A[1]) + t3 * (A[2] + root * A[3] + t * A[4] + t3 * t * root * A[5]);
    let slope = A[0]
        + 1.5 * root * A[1]
        + t2 * (3.0 * A[2] + 3.5 * root * A[3] + 4.0 * t * A[4])
        + 7.5 * t6 * root * A[5];
    let logarithm = CRITICAL_KELVIN / kelvin * sum;
    (
        CRITICAL_PASCAL * logarithm.exp(),
        -(logarithm + slope) / kelvin,
    )
}

/// The push with which vapour at a partial pressure diffuses through air that stands still (Stefan):
/// ψ = −P ln(1 − p/P), and dψ/dp. Above 0.95 P it goes on straight: the vapour boils off and flows by
/// its own pressure.
pub(crate) fn push(pressure: f64) -> (f64, f64) {
    const BOILING: f64 = 0.95;
    let share = pressure / ATMOSPHERE;
    if share < BOILING {
        (-ATMOSPHERE * (-share).ln_1p(), 1.0 / (1.0 - share))
    } else {
        let slope = 1.0 / (1.0 - BOILING);
        let start = -ATMOSPHERE * (-BOILING).ln_1p();
        (start + slope * (pressure - BOILING * ATMOSPHERE), slope)
    }
}

/// Fibre that holds water.
///
/// Isotherm at 20 °C: u/u_m = C x/((1 − x)(1 + (C − 1) x)), x = K a (Guggenheim, Anderson and de Boer),
/// with C = 11, K = 0.75 and u_m such that the regain stands at 65 % relative humidity. For cotton of 8 %
/// that gives 3.5 % at 20 % RH and 13 % at 90 %, as handbooks have it (from memory).
/// Water is held by q(u) = q₀ exp(−u/u_q) beyond its heat of evaporation; for cotton q₀ = 1.05 MJ/kg and
/// u_q = 0.044, so that wetting it altogether frees 46 kJ/kg (from memory), and for other fibre u_q goes
/// with the regain. By Clausius and Clapeyron a(u, T) = a(u) exp(q/R (1/T₀ − 1/T)).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fibre {
    monolayer: f64,
    binding_scale: f64,
}

const C: f64 = 11.0;
const K: f64 = 0.75;
/// From this activity on free water counts.
const NEARLY_WET: f64 = 0.95;
const FIRST_BINDING: f64 = 1.05e6;
/// u/u_m at 65 % RH.
const AT_SIXTY_FIVE: f64 = C * 0.4875 / ((1.0 - 0.4875) * (1.0 + (C - 1.0) * 0.4875));

impl Fibre {
    pub(crate) fn of_regain(regain: f64) -> Fibre {
        Fibre {
            monolayer: regain / AT_SIXTY_FIVE,
            binding_scale: 0.55 * regain,
        }
    }

    /// Heat in J/kg by which water is held beyond its heat of evaporation.
    pub(crate) fn binding(&self, u: f64) -> f64 {
        FIRST_BINDING * (-u.max(0.0) / self.binding_scale).exp()
    }

    /// ∫ q du from dry, in J for each kilogram of fibre.
    pub(crate) fn wetting(&self, u: f64) -> f64 {
        if u < 0.0 {
            return FIRST_BINDING * u;
        }
        FIRST_BINDING * self.binding_scale * -(-u / self.binding_scale).exp_m1()
    }

    /// Activity at 20 °C and its slope by u.
    pub(crate) fn activity(&self, u: f64) -> (f64, f64) {
        let half = self.monolayer * C - (C - 2.0) * u;
        let root = (half * half + 4.0 * (C - 1.0) * u * u).sqrt();
        let x = 2.0 * u / (half + root);
        let slope = (1.0 + (C - 2.0) * x - (C - 1.0) * x * x) / root;
        let (activity, by_u) = (x / K, slope / K);
        if activity < NEARLY_WET {
            return (activity, by_u);
        }
        // Beyond, free water between the fibres takes over without a kink.
        let left = (-(activity - NEARLY_WET) / (1.0 - NEARLY_WET)).exp();
        (1.0 - (1.0 - NEARLY_WET) * left, by_u * left)
    }

    /// The water that it holds in air of a relative humidity (up to 95 %) at 20 °C.
    pub(crate) fn in_air(&self, relative_humidity: f64) -> f64 {
        let x = K * relative_humidity.clamp(0.0, NEARLY_WET);
        self.monolayer * C * x / ((1.0 - x) * (1.0 + (C - 1.0) * x))
    }

    /// Vapour pressure at a temperature in °C over fibre that holds u.
    pub(crate) fn pressure(&self, celsius: f64, u: f64) -> Sloped {
        let kelvin = celsius + ZERO_CELSIUS_IN_KELVIN;
        let (free, slope) = saturation(celsius);
        let (activity, by_u) = self.activity(u);
        let q = self.binding(u);
        let warmth = (1.0 / 293.15 - 1.0 / kelvin) / GAS_CONSTANT;
        let loosened = free * (q * warmth).exp();
        let q_slope = if u > 0.0 {
            -q / self.binding_scale
        } else {
            0.0
        };
        let value = loosened * activity;
        Sloped {
            value,
            by_celsius: value * (slope + q / (GAS_CONSTANT * kelvin * kelvin)),
            by_water: loosened * (by_u + activity * q_slope * warmth),
        }
    }
}

/// Ink that holds water: free until u_c kilograms are left for each of solids, below that
/// a = 1 − (1 − u/u_c)².
pub(crate) fn ink_pressure(celsius: f64, u: f64, bound: f64) -> Sloped {
    let (free, slope) = saturation(celsius);
    let left = 1.0 - u / bound;
    let (activity, by_u) = if u >= bound {
        (1.0, 0.0)
    } else if u > 0.0 {
        (1.0 - left * left, 2.0 * left / bound)
    } else {
        (2.0 * u / bound, 2.0 / bound)
    };
    let value = free * activity;
    Sloped {
        value,
        by_celsius: value * slope,
        by_water: free * by_u,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vapour_pressure_is_that_of_the_steam_tables() {
        // IAPWS-IF97, table 35: saturation pressure in Pa at 300 and 500 K; boiling at 101 325 Pa:
        // 99.974 °C (ITS-90).
        for (kelvin, pascals) in [(300.0, 3.536_589_41e3), (500.0, 2.638_897_76e6)] {
            let (pressure, _) = saturation(kelvin - ZERO_CELSIUS_IN_KELVIN);
            assert!(
                (pressure / pascals - 1.0).abs() < 3e-4,
                "{kelvin}: {pressure}"
            );
        }
        assert!((saturation(99.974).0 / ATMOSPHERE - 1.0).abs() < 3e-4);
    }

    #[test]
    fn slopes_agree_with_differences() {
        let fibre = Fibre::of_regain(0.08);
        for celsius in [25.0, 80.0, 120.0, 170.0] {
            let step = 1e-3;
            let log_slope =
                (saturation(celsius + step).0 / saturation(celsius - step).0).ln() / (2.0 * step);
            assert!(
                (saturation(celsius).1 / log_slope - 1.0).abs() < 1e-6,
                "{celsius}"
            );
            for u in [0.005, 0.03, 0.08, 0.15] {
                let here = fibre.pressure(celsius, u);
                let by_u = (fibre.pressure(celsius, u + 1e-6).value
                    - fibre.pressure(celsius, u - 1e-6).value)
                    / 2e-6;
                let by_celsius = (fibre.pressure(celsius + step, u).value
                    - fibre.pressure(celsius - step, u).value)
                    / (2.0 * step);
                assert!((here.by_water / by_u - 1.0).abs() < 1e-5, "{celsius} {u}");
                assert!(
                    (here.by_celsius / by_celsius - 1.0).abs() < 1e-5,
                    "{celsius} {u}"
                );
            }
        }
    }

    #[test]
    fn cotton_holds_what_handbooks_say() {
        // Regain of cotton by relative humidity (Morton and Hearle, Physical Properties of Textile
        // Fibres, from memory): about 3 % at 20 %, 8 % at 65 %, 13 % at 90 %; heat of wetting 46 kJ/kg.
        let cotton = Fibre::of_regain(0.08);
        for (humidity, regain, within) in
            [(0.2, 0.032, 0.006), (0.65, 0.08, 1e-9), (0.9, 0.13, 0.01)]
        {
            assert!(
                (cotton.in_air(humidity) - regain).abs() < within,
                "{humidity}"
            );
            let (activity, _) = cotton.activity(cotton.in_air(humidity));
            assert!((activity - humidity).abs() < 1e-9, "{humidity}");
        }
        assert!((cotton.wetting(1.0) / 46e3 - 1.0).abs() < 0.01);
    }

    #[test]
    fn air_that_stands_still_passes_more_vapour_near_boiling() {
        // Stefan's law: the flux grows by ln((P − p₂)/(P − p₁)); at p = P/2 against dry air that is
        // ln 2/0.5 = 1.386 times Fick's.
        let (half, _) = push(0.5 * ATMOSPHERE);
        assert!((half / (0.5 * ATMOSPHERE) - 2.0 * 2.0_f64.ln()).abs() < 1e-12);
    }
}
