//! Infrared probes: what the surface's temperature is, given what the probe shows.
//!
//! In its band of wavelengths the probe receives ε B(T) from the surface and (1 − ε) B(Tᵣ) reflected by
//! it from its surroundings, where B is a black body's emission in the band (Planck). Set to an
//! emissivity εₛ it shows the T that balances εₛ B(T) + (1 − εₛ) B(Tᵣ). Hence
//!
//!   B(T) = [S − (1 − ε) B(Tᵣ)] / ε,  S = εₛ B(shown) + (1 − εₛ) B(Tᵣ),
//!
//! and an error δε of the emissivity is one of
//!
//!   δT = δε · (B(Tᵣ) − B(T)) / (ε dB/dT)
//!
//! in temperature. T and Tᵣ are the surface's and its surroundings' temperatures in K, ε and εₛ lie above 0
//! and up to 1, and B and the signal S are in units of σ, K⁴.
//!
//! T follows from B(T) by Newton's method on ln B over u = 1/T. B is a sum of falling exponentials of u,
//! so that ln B is convex in u: from wherever it starts, Newton's method lands on the hot side of the
//! answer and closes in from there.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, ZERO_CELSIUS_IN_KELVIN};
use thiserror::Error;

use super::planck::{Emission, emission_in_band};

/// The band that nearly every low-temperature infrared probe looks in, in metres.
pub const USUAL_BAND: (f64, f64) = (8e-6, 14e-6);

/// The coolest surface that a signal is explained by.
pub const COOLEST: Celsius = Celsius(-200.0);
/// The hottest surface that a signal is explained by.
pub const HOTTEST: Celsius = Celsius(3000.0);

/// Newton's method has long converged after these.
const MOST_STEPS: usize = 60;
/// A change of 1/T below this share of it ends Newton's method.
const LAST_CHANGE: f64 = 1e-7;

/// An infrared probe and the surface that it looks at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Infrared {
    /// The emissivity that the probe is set to, above 0 and up to 1.
    pub set_emissivity: f64,
    /// The emissivity that the surface has, above 0 and up to 1.
    pub emissivity: f64,
    /// The expanded uncertainty (k = 2) of the surface's emissivity, 0 or more.
    pub emissivity_uncertainty: f64,
    /// The temperature of the surroundings that the surface reflects, from [`COOLEST`] to [`HOTTEST`].
    pub reflected: Celsius,
    /// The probe's band of wavelengths in metres, the shorter first.
    pub band: (f64, f64),
}

/// What an infrared reading cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum InfraredError {
    /// The emissivities or the band make no sense.
    #[error(
        "an emissivity lies above 0 and up to 1, its uncertainty is 0 or more, and a band runs from its \
         shorter to its longer wavelength; correct the probe's settings"
    )]
    Setting,
    /// A temperature that no such probe can show or reflect.
    #[error(
        "{celsius} °C is no temperature that an infrared probe can be told or can show; it lies from \
         {} °C to {} °C", COOLEST.0, HOTTEST.0
    )]
    Temperature {
        /// The temperature.
        celsius: f64,
    },
    /// The reflection alone would be more than the probe received.
    #[error(
        "shown {shown} °C is less than what the surface reflects at {reflected} °C; check the \
         emissivity and the reflected temperature"
    )]
    LessThanReflected {
        /// What the probe shows.
        shown: f64,
        /// The reflected temperature.
        reflected: f64,
    },
    /// The surface would have to be hotter than any surface seen here.
    #[error(
        "shown {shown} °C takes a surface hotter than {} °C; check the emissivities", HOTTEST.0
    )]
    TooHot {
        /// What the probe shows.
        shown: f64,
    },
}

impl Infrared {
    fn emission(&self, temperature: Celsius) -> Emission {
        emission_in_band(temperature.kelvin(), self.band)
    }

    fn check(&self, shown: Celsius) -> Result<(), InfraredError> {
        let emissivity = |value: f64| value > 0.0 && value <= 1.0;
        let possible = emissivity(self.set_emissivity)
            && emissivity(self.emissivity)
            && self.emissivity_uncertainty >= 0.0
            && self.band.0 > 0.0
            && self.band.1 > self.band.0
            && self.band.1.is_finite();
        if !possible {
            return Err(InfraredError::Setting);
        }
        for temperature in [shown, self.reflected] {
            if !(COOLEST..=HOTTEST).contains(&temperature) {
                let celsius = temperature.0;
                return Err(InfraredError::Temperature { celsius });
            }
        }
        Ok(())
    }

    /// The surface's temperature when the probe shows `shown`.
    ///
    /// # Errors
    /// When the settings are impossible, the reflection alone explains more than was received, or the
    /// surface would be hotter than [`HOTTEST`].
    pub fn corrected(&self, shown: Celsius) -> Result<Celsius, InfraredError> {
        self.check(shown)?;
        let reflected = self.emission(self.reflected).value;
        let own = self.emission(shown).value;
        // S − (1 − ε) B(Tᵣ), with the reflection's two parts taken together.
        let emitted =
            self.set_emissivity * own + (self.emissivity - self.set_emissivity) * reflected;
        self.temperature_of(emitted / self.emissivity, shown)
    }

    /// What the probe shows when the surface is at `surface`.
    ///
    /// # Errors
    /// As [`Infrared::corrected`].
    pub fn shown(&self, surface: Celsius) -> Result<Celsius, InfraredError> {
        let turned = Infrared {
            set_emissivity: self.emissivity,
            emissivity: self.set_emissivity,
            ..*self
        };
        turned.corrected(surface)
    }

    /// The expanded uncertainty (k = 2) of the surface's temperature that comes from its emissivity, to
    /// first order.
    ///
    /// # Errors
    /// As [`Infrared::corrected`].
    pub fn uncertainty(&self, shown: Celsius) -> Result<CelsiusDifference, InfraredError> {
        let surface = self.emission(self.corrected(shown)?);
        let contrast = surface.value - self.emission(self.reflected).value;
        let sensitivity = contrast / (self.emissivity * surface.slope);
        Ok(CelsiusDifference(
            sensitivity.abs() * self.emissivity_uncertainty,
        ))
    }

    /// The black body's temperature that emits `emission` in the band, sought from `shown`.
    fn temperature_of(&self, emission: f64, shown: Celsius) -> Result<Celsius, InfraredError> {
        if emission < self.emission(COOLEST).value {
            let (shown, reflected) = (shown.0, self.reflected.0);
            return Err(InfraredError::LessThanReflected { shown, reflected });
        }
        if emission > self.emission(HOTTEST).value {
            return Err(InfraredError::TooHot { shown: shown.0 });
        }
        let (least, most) = (1.0 / HOTTEST.kelvin(), 1.0 / COOLEST.kelvin());
        let mut inverse = 1.0 / shown.kelvin();
        for _ in 0..MOST_STEPS {
            let kelvin = 1.0 / inverse;
            let here = emission_in_band(kelvin, self.band);
            // d ln B / du = −T² (dB/dT) / B.
            let change = (here.value / emission).ln() * here.value / (kelvin * kelvin * here.slope);
            inverse = (inverse + change).clamp(least, most);
            if change.abs() < LAST_CHANGE * inverse {
                break;
            }
        }
        Ok(Celsius(1.0 / inverse - ZERO_CELSIUS_IN_KELVIN))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const PROBE: Infrared = Infrared {
        set_emissivity: 0.95,
        emissivity: 0.90,
        emissivity_uncertainty: 0.02,
        reflected: Celsius(60.0),
        band: USUAL_BAND,
    };

    /// Planck's law over a band by the crate `gauss-quad`, up to a factor.
    fn emission_by_quadrature(celsius: f64, band: (f64, f64)) -> f64 {
        let quadrature = gauss_quad::GaussLegendre::new(40.try_into().unwrap());
        // In µm, with c₂ = 14 387.768 77 µm K (CODATA 2018).
        let planck = |wavelength: f64| {
            let x = 14_387.768_775 / (wavelength * (celsius + 273.15));
            1e5 / wavelength.powi(5) / x.exp_m1()
        };
        quadrature.integrate(1e6 * band.0, 1e6 * band.1, planck)
    }

    /// The probe shows what balances its signal, both sides worked out by quadrature.
    #[test]
    fn the_signal_balances_by_a_quadrature_library() {
        for (set, emissivity, reflected, shown, band) in [
            (1.0, 0.9, 25.0, 150.0, USUAL_BAND),
            (0.95, 0.9, 60.0, 160.0, USUAL_BAND),
            (0.95, 0.8, 200.0, 120.0, USUAL_BAND),
            (0.95, 0.3, 20.0, 90.0, USUAL_BAND),
            (0.8, 1.0, 25.0, 40.0, (3e-6, 5e-6)),
        ] {
            let probe = Infrared {
                set_emissivity: set,
                emissivity,
                reflected: Celsius(reflected),
                band,
                ..PROBE
            };
            let surface = probe.corrected(Celsius(shown)).unwrap().0;
            let around = emission_by_quadrature(reflected, band);
            let received = set * emission_by_quadrature(shown, band) + (1.0 - set) * around;
            let given =
                emissivity * emission_by_quadrature(surface, band) + (1.0 - emissivity) * around;
            assert!(
                (given / received - 1.0).abs() < 1e-9,
                "{probe:?}: {surface}"
            );
        }
    }

    /// δT = δε (B(Tᵣ) − B(T)) / (ε dB/dT), by quadrature and its difference quotient.
    #[test]
    fn an_error_of_the_emissivity_is_one_of_the_temperature() {
        for shown in [40.0, 60.0, 160.0, 300.0] {
            let surface = PROBE.corrected(Celsius(shown)).unwrap().0;
            let emission = |celsius| emission_by_quadrature(celsius, USUAL_BAND);
            let slope = (emission(surface + 0.01) - emission(surface - 0.01)) / 0.02;
            let expected = 0.02 * (emission(60.0) - emission(surface)).abs() / (0.9 * slope);
            let ours = PROBE.uncertainty(Celsius(shown)).unwrap().0;
            assert!((ours - expected).abs() < 1e-6, "{shown}: {ours} {expected}");
        }
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let shown = Celsius(160.0);
        let wrong = [
            Infrared {
                set_emissivity: 0.0,
                ..PROBE
            },
            Infrared {
                emissivity: 1.01,
                ..PROBE
            },
            Infrared {
                emissivity: f64::NAN,
                ..PROBE
            },
            Infrared {
                emissivity_uncertainty: -0.1,
                ..PROBE
            },
            Infrared {
                band: (14e-6, 8e-6),
                ..PROBE
            },
            Infrared {
                band: (8e-6, f64::INFINITY),
                ..PROBE
            },
        ];
        for probe in wrong {
            assert_eq!(
                probe.corrected(shown),
                Err(InfraredError::Setting),
                "{probe:?}"
            );
        }
        for celsius in [-300.0, 4000.0, f64::INFINITY] {
            let error = Err(InfraredError::Temperature { celsius });
            assert_eq!(PROBE.corrected(Celsius(celsius)), error);
            let reflected = Celsius(celsius);
            assert_eq!(Infrared { reflected, ..PROBE }.shown(shown), error);
        }
        assert!(PROBE.corrected(Celsius(f64::NAN)).is_err());
        let mirror = Infrared {
            set_emissivity: 1.0,
            emissivity: 0.1,
            ..PROBE
        };
        let (shown, reflected) = (20.0, 60.0);
        assert_eq!(
            mirror.corrected(Celsius(shown)),
            Err(InfraredError::LessThanReflected { shown, reflected })
        );
        let shown = 2000.0;
        assert_eq!(
            mirror.corrected(Celsius(shown)),
            Err(InfraredError::TooHot { shown })
        );
    }

    proptest! {
        #[test]
        fn a_probe_set_right_shows_the_surface(emissivity in 0.1..=1.0, shown in -40.0..600.0) {
            let right = Infrared { set_emissivity: emissivity, emissivity, ..PROBE };
            let surface = right.corrected(Celsius(shown)).unwrap().0;
            prop_assert!((surface - shown).abs() < 1e-6);
        }

        #[test]
        fn as_warm_as_its_surroundings_it_looks_black(
            set_emissivity in 0.1..=1.0,
            emissivity in 0.1..=1.0,
            warm in -40.0..600.0,
        ) {
            let probe = Infrared { set_emissivity, emissivity, reflected: Celsius(warm), ..PROBE };
            let surface = probe.corrected(Celsius(warm)).unwrap().0;
            prop_assert!((surface - warm).abs() < 1e-6);
            prop_assert!(probe.uncertainty(Celsius(warm)).unwrap().0 < 1e-6);
        }

        #[test]
        fn there_and_back_is_the_same(
            set_emissivity in 0.5..=1.0,
            emissivity in 0.5..=1.0,
            surface in -20.0..600.0,
            hotter in 0.01..100.0,
        ) {
            let probe = Infrared { set_emissivity, emissivity, reflected: Celsius(25.0), ..PROBE };
            // A cold surface in warm surroundings may show no temperature at all: that is refused.
            if let Ok(shown) = probe.shown(Celsius(surface)) {
                let back = probe.corrected(shown).unwrap().0;
                prop_assert!((back - surface).abs() < 1e-5, "{surface} {back}");
                let higher = probe.shown(Celsius(surface + hotter)).unwrap();
                prop_assert!(higher.0 > shown.0);
            } else {
                prop_assert!(surface < 25.0);
            }
        }
    }
}
