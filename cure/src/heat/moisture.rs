//! How tightly water is held, and the push with which it leaves.
//!
//! Water in cloth or ink stands at a vapour pressure below that of free water. With u the kilograms
//! of water for each of dry matter, and a(u, T) the *activity* (the relative humidity of air that
//! would leave it alone),
//!
//!   p = a(u, T) · p_sat(T)     and     φ = r p / (P − p),
//!
//! where φ is the humidity ratio of air at that vapour pressure, r = 0.621945 and P the atmosphere.
//! Differences of φ drive every flow of vapour in the model, inside the print as at its surface.
//!
//! **Cloth.** 1 − a₀ = exp(−(u/u₀)^1.5), the form of Henderson's isotherm (a little less curved near
//! zero, where its own slope vanishes), with u₀ such that the regain that a fabric declares stands at
//! 65 % relative humidity. For cotton it gives about 2.7 % at
//! 20 % RH and 13 % at 90 %, as measured isotherms do (Urquhart and Williams; from memory). The last
//! water is held harder: a = a₀ exp(q(u)/R (1/T₀ − 1/T)) follows from a heat of sorption
//! q = q₀ (1 + (u/u₁)²)^(−3/2) by Clausius and Clapeyron. For cotton q₀ = 1.24 MJ/kg, and wetting dry
//! cotton sets free 46 kJ/kg = q₀ u₁ in all, whence u₁ (Morton and Hearle, Physical Properties of
//! Textile Fibres; from memory).
//!
//! **Ink.** a = 1 − exp(−u/u₂): free water until little is left, then less and less. u₂ is a
//! parameter of the ink.

use inkdwell_config::quantity::{Share, ZERO_CELSIUS_IN_KELVIN};

use super::properties::{ATMOSPHERE, MOLAR_MASS_RATIO, VAPOUR_GAS_CONSTANT, log_saturation};

/// Heat of sorption of the first water on dry fibre, in J/kg.
const FIRST_SORPTION: f64 = 1.24e6;
/// u₁ as a share of the regain at 65 % RH: 46 kJ/kg = q₀ u₁ for cotton of 8 %.
const SORPTION_SCALE: f64 = 46.0e3 / FIRST_SORPTION / 0.08;
/// Where 65 % RH lies on the isotherm, in units of u₀: s √(s + FLOOR) = −ln 0.35.
const AT_SIXTY_FIVE: f64 = 1.026_32;
/// The temperature at which regain is declared, in kelvin.
const DECLARED_AT: f64 = 293.15;
/// Keeps the isotherm's slope above zero where no water is left, as a share of u₀.
const FLOOR: f64 = 0.02;
/// Where the way out is no longer diffusion but boiling: φ stays finite above P by this share of P.
const BOILING_WIDTH: f64 = 0.05;

/// What holds water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Holder {
    /// Nothing here takes or gives water.
    Dry,
    /// Fibre, by its regain at 65 % relative humidity and 20 °C.
    Fibre {
        /// Kilograms of water for each of dry fibre.
        regain: Share,
    },
    /// Ink, by the water at which it begins to hold it back.
    Ink {
        /// u₂: kilograms of water for each of what is no water.
        bound: Share,
    },
}

/// The state of water in matter: its push with derivatives, and the heat that binds it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Hold {
    /// φ.
    pub(crate) push: f64,
    /// ∂φ/∂T.
    pub(crate) by_temperature: f64,
    /// ∂φ/∂m for m in kg/m².
    pub(crate) by_water: f64,
    /// ∫ q dm in J/m²: heat that binds it, beyond condensing it.
    pub(crate) bound: f64,
    /// q in J/kg.
    pub(crate) binding: f64,
}

impl Holder {
    /// The water content that stands in balance with air of a relative humidity at 20 °C.
    pub fn in_balance_with(self, relative_humidity: Share) -> Share {
        let dryness = -(1.0 - relative_humidity.0.clamp(0.0, 0.999)).ln();
        match self {
            Holder::Dry => Share(0.0),
            Holder::Ink { bound } => Share(bound.0 * dryness),
            Holder::Fibre { regain } => Share(regain.0 / AT_SIXTY_FIVE * uncurved(dryness)),
        }
    }

    /// The same for so much matter, ready for computing.
    pub(crate) fn held_by(self, matter: f64) -> Store {
        match self {
            Holder::Ink { bound } if matter > 0.0 => Store::Ink(InkStore {
                per_bound: 1.0 / (bound.0 * matter),
            }),
            Holder::Fibre { regain } if matter > 0.0 => Store::Fibre(FibreStore {
                per_u0: AT_SIXTY_FIVE / (regain.0 * matter),
                per_u1: 1.0 / (SORPTION_SCALE * regain.0 * matter),
                wetting: FIRST_SORPTION * SORPTION_SCALE * regain.0 * matter,
            }),
            _ => Store::Dry,
        }
    }
}

/// Matter that holds water, by area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Store {
    Dry,
    Ink(InkStore),
    Fibre(FibreStore),
}

/// Ink: one over the water (kg/m²) at which it begins to hold it back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct InkStore {
    per_bound: f64,
}

/// Fibre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FibreStore {
    /// One over the water (kg/m²) of u₀.
    per_u0: f64,
    /// One over the water (kg/m²) of u₁.
    per_u1: f64,
    /// Heat that wetting it altogether sets free, in J/m².
    wetting: f64,
}

impl Store {
    /// The state of so much water (kg/m²) at a temperature in °C.
    #[inline]
    pub(crate) fn hold(&self, celsius: f64, water: f64) -> Hold {
        match self {
            Store::Dry => Hold::default(),
            Store::Ink(ink) => ink.hold(celsius, water),
            Store::Fibre(fibre) => fibre.hold(celsius, water),
        }
    }

    /// ∫ q dm in J/m², and q in J/kg.
    #[inline]
    pub(crate) fn binding(&self, water: f64) -> (f64, f64) {
        match self {
            Store::Dry | Store::Ink(_) => (0.0, 0.0),
            Store::Fibre(fibre) => {
                let x = water * fibre.per_u1;
                let part = 1.0 / (1.0 + x * x).sqrt();
                (
                    fibre.wetting * x * part,
                    FIRST_SORPTION * part * part * part,
                )
            }
        }
    }
}

impl InkStore {
    #[inline]
    fn hold(&self, celsius: f64, water: f64) -> Hold {
        let kelvin = celsius + ZERO_CELSIUS_IN_KELVIN;
        let (logarithm, slope) = log_saturation(kelvin, 1.0 / kelvin);
        let saturated = logarithm.exp();
        let (free, free_slope) = rising(water * self.per_bound);
        let (push, by_pressure) = humidity(saturated * free);
        Hold {
            push,
            by_temperature: by_pressure * saturated * free * slope,
            by_water: by_pressure * saturated * free_slope * self.per_bound,
            ..Hold::default()
        }
    }
}

impl FibreStore {
    #[inline]
    fn hold(&self, celsius: f64, water: f64) -> Hold {
        let x = water * self.per_u1;
        let s = water * self.per_u0;
        let root = (s.max(0.0) + FLOOR).sqrt();
        let kelvin = celsius + ZERO_CELSIUS_IN_KELVIN;
        let [part, per_root, inverse] = inverses([(1.0 + x * x).sqrt(), root, kelvin]);
        let binding = FIRST_SORPTION * part * part * part;
        let binding_slope = -3.0 * x * self.per_u1 * part * part * binding;

        let (logarithm, slope) = log_saturation(kelvin, inverse);
        let warmth = (1.0 / DECLARED_AT - inverse) * (1.0 / VAPOUR_GAS_CONSTANT);
        let loosened = (logarithm + binding * warmth).exp();
        // a₀ and its slope; below zero, where only trial steps come, straight on.
        let (free, free_slope) = if s < 0.0 {
            (s * root, root)
        } else {
            let (free, free_slope) = rising(s * root);
            (free, free_slope * (1.5 * s + FLOOR) * per_root)
        };
        let pressure = loosened * free;
        let (push, by_pressure) = humidity(pressure);
        Hold {
            push,
            by_temperature: by_pressure
                * pressure
                * (slope + binding * inverse * inverse * (1.0 / VAPOUR_GAS_CONSTANT)),
            by_water: by_pressure
                * (loosened * free_slope * self.per_u0 + pressure * warmth * binding_slope),
            bound: self.wetting * x * part,
            binding,
        }
    }
}

/// One over each of three values, for the price of one division.
#[inline]
fn inverses([a, b, c]: [f64; 3]) -> [f64; 3] {
    let whole = 1.0 / (a * b * c);
    [whole * b * c, whole * a * c, whole * a * b]
}

/// The s of s √(s + FLOOR) = x, by Newton's method.
fn uncurved(x: f64) -> f64 {
    let mut s = x.powf(2.0 / 3.0);
    for _ in 0..8 {
        let root = (s + FLOOR).sqrt();
        s -= (s * root - x) * root / (1.5 * s + FLOOR);
    }
    s
}

/// 1 − exp(−x) and its slope; below zero, where only trial steps come, the straight line on from there.
#[inline]
fn rising(x: f64) -> (f64, f64) {
    if x < 0.0 {
        return (x, 1.0);
    }
    let left = (-x).exp();
    (1.0 - left, left)
}

/// φ and dφ/dp at a vapour pressure in Pa. Up to about nine tenths of the atmosphere it is the humidity
/// ratio; towards boiling P − p is replaced by a smooth remainder that stays above zero, so that
/// vapour then leaves as fast as heat makes it.
#[inline]
fn humidity(pressure: f64) -> (f64, f64) {
    let air = ATMOSPHERE - pressure;
    let root = (air * air + (BOILING_WIDTH * ATMOSPHERE).powi(2)).sqrt();
    let remainder = 0.5 * (air + root);
    let [per_remainder, per_root, _] = inverses([remainder, root, 1.0]);
    let value = MOLAR_MASS_RATIO * pressure * per_remainder;
    (
        value,
        MOLAR_MASS_RATIO * (1.0 + pressure * per_root) * per_remainder,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::heat::properties::{Pascals, humidity_ratio};

    const COTTON: Holder = Holder::Fibre {
        regain: Share(0.075),
    };

    #[test]
    fn cotton_holds_what_the_isotherm_says() {
        // Raw cotton at 20 to 25 °C, mean of wetting and drying, after Urquhart and Williams (from
        // memory): 20 % RH 3.0 %, 40 % 4.8 %, 65 % 7.5 %, 80 % 10 %, 90 % 13 %. Wetting and drying
        // differ by 15 % to either side of that mean, and so may we.
        for (humidity, regain) in [
            (0.2, 0.030),
            (0.4, 0.048),
            (0.65, 0.075),
            (0.8, 0.1),
            (0.9, 0.13),
        ] {
            let ours = COTTON.in_balance_with(Share(humidity)).0;
            assert!(
                (ours / regain - 1.0).abs() < 0.15,
                "{humidity}: {ours} {regain}"
            );
        }
    }

    #[test]
    fn the_push_of_free_water_is_the_humidity_of_saturated_air() {
        // ASHRAE Fundamentals, psychrometrics, table of moist air: saturated at 20 °C 0.014758, at
        // 40 °C 0.049141 (with the enhancement factor of real air, 0.4 %; from memory).
        let wet = Holder::Ink { bound: Share(0.05) };
        for (celsius, ratio) in [(20.0, 0.014_758), (40.0, 0.049_141)] {
            let ours = wet.held_by(1.0).hold(celsius, 5.0).push;
            assert!((ours / ratio - 1.0).abs() < 8e-3, "{celsius}: {ours}");
        }
    }

    #[test]
    fn the_push_is_the_humidity_ratio_well_below_boiling() {
        for pressure in [500.0, 5e3, 5e4] {
            let exact = humidity_ratio(Pascals(pressure));
            assert!(
                (humidity(pressure).0 / exact - 1.0).abs() < 3e-3,
                "{pressure}"
            );
        }
    }

    #[test]
    fn slopes_are_those_of_the_curves() {
        // Central differences, the definition of a derivative; their own error is 1e-6 or less here.
        let matter = 0.3;
        for holder in [COTTON, Holder::Ink { bound: Share(0.1) }] {
            let store = holder.held_by(matter);
            for celsius in [20.0, 60.0, 99.0, 140.0] {
                for u in [-0.001, 0.001, 0.004, 0.03, 0.12] {
                    let water = u * matter;
                    let hold = store.hold(celsius, water);
                    let push = |t: f64, w: f64| store.hold(celsius + t, water + w).push;
                    let (t, w) = (1e-3, 1e-7);
                    let by_t = (push(t, 0.0) - push(-t, 0.0)) / (2.0 * t);
                    let by_w = (push(0.0, w) - push(0.0, -w)) / (2.0 * w);
                    assert!((hold.by_temperature - by_t).abs() < 1e-4 * by_t.abs() + 1e-9);
                    assert!((hold.by_water - by_w).abs() < 1e-4 * by_w.abs() + 1e-9);
                    let bound = |w: f64| store.binding(water + w).0;
                    let slope = (bound(w) - bound(-w)) / (2.0 * w);
                    assert!((hold.binding - slope).abs() < 1e-4 * slope.abs() + 1e-6);
                    let (same, slope) = store.binding(water);
                    assert!((hold.bound - same).abs() < 1e-9 * same.abs() + 1e-12);
                    assert!((hold.binding - slope).abs() <= 1e-9 * slope);
                }
            }
        }
    }

    #[test]
    fn wetting_cotton_gives_the_heat_of_handbooks() {
        // Morton and Hearle: 46 J/g for dry cotton into water (from memory).
        let cotton = Holder::Fibre {
            regain: Share(0.08),
        };
        let (whole, _) = cotton.held_by(1.0).binding(5.0);
        assert!((whole / 46e3 - 1.0).abs() < 0.01, "{whole}");
    }
}
