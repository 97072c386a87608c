//! Infrared probes: what the surface's temperature is, given what the probe shows.
//!
//! In its band of wavelengths the probe receives ε B(T) from the surface and (1 − ε) B(Tᵣ) reflected by
//! it from its surroundings, where B is a black body's emission in the band (Planck). Set to an
//! emissivity εₛ it shows the T that balances εₛ B(T) + (1 − εₛ) B(Tᵣ). Hence
//!
//!   B(T) = [S − (1 − ε) B(Tᵣ)] / ε,  S = εₛ B(shown) + (1 − εₛ) B(Tᵣ),
//!
//! and an error δε of the emissivity is one of (B(Tᵣ) − B(T)) δε / (ε dB/dT) in temperature.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, ZERO_CELSIUS_IN_KELVIN};
use thiserror::Error;

use super::planck::emission_in_band;

/// The band that nearly every low-temperature infrared probe looks in, in metres.
pub const USUAL_BAND: (f64, f64) = (8e-6, 14e-6);

/// An infrared probe and the surface that it looks at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Infrared {
    /// The emissivity that the probe is set to, above 0 and up to 1.
    pub set_emissivity: f64,
    /// The emissivity that the surface has, above 0 and up to 1.
    pub emissivity: f64,
    /// The expanded uncertainty (k = 2) of the surface's emissivity.
    pub emissivity_uncertainty: f64,
    /// The temperature of the surroundings that the surface reflects.
    pub reflected: Celsius,
    /// The probe's band of wavelengths in metres.
    pub band: (f64, f64),
}

/// What an infrared reading cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum InfraredError {
    /// The emissivities or the band make no sense.
    #[error(
        "an emissivity lies above 0 and up to 1, and a band runs from its shorter to its longer \
         wavelength"
    )]
    Setting,
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
}

impl Infrared {
    fn emission(&self, celsius: f64) -> f64 {
        emission_in_band(celsius + ZERO_CELSIUS_IN_KELVIN, self.band)
    }

    fn check(&self) -> Result<(), InfraredError> {
        let possible = |emissivity: f64| emissivity > 0.0 && emissivity <= 1.0;
        let band = self.band.0 > 0.0 && self.band.1 > self.band.0;
        if possible(self.set_emissivity) && possible(self.emissivity) && band {
            Ok(())
        } else {
            Err(InfraredError::Setting)
        }
    }

    /// The surface's temperature when the probe shows `shown`.
    ///
    /// # Errors
    /// When the settings are impossible, or the reflection alone explains more than was received.
    pub fn corrected(&self, shown: Celsius) -> Result<Celsius, InfraredError> {
        self.check()?;
        let reflected = self.emission(self.reflected.0);
        let received =
            self.set_emissivity * self.emission(shown.0) + (1.0 - self.set_emissivity) * reflected;
        let own = (received - (1.0 - self.emissivity) * reflected) / self.emissivity;
        self.temperature_of(own, shown)
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

    /// The expanded uncertainty (k = 2) of the surface's temperature that comes from its emissivity.
    ///
    /// # Errors
    /// As [`Infrared::corrected`].
    pub fn uncertainty(&self, shown: Celsius) -> Result<CelsiusDifference, InfraredError> {
        let celsius = self.corrected(shown)?.0;
        let step = 0.01;
        let slope = (self.emission(celsius + step) - self.emission(celsius - step)) / (2.0 * step);
        let contrast = self.emission(celsius) - self.emission(self.reflected.0);
        let change = contrast / (self.emissivity * slope) * self.emissivity_uncertainty;
        Ok(CelsiusDifference(change.abs()))
    }

    /// The black body's temperature that emits `emission` in the band.
    fn temperature_of(&self, emission: f64, shown: Celsius) -> Result<Celsius, InfraredError> {
        let (mut cool, mut hot) = (-ZERO_CELSIUS_IN_KELVIN + 1.0, 5000.0);
        if !(emission > self.emission(cool) && emission < self.emission(hot)) {
            let (shown, reflected) = (shown.0, self.reflected.0);
            return Err(InfraredError::LessThanReflected { shown, reflected });
        }
        while hot - cool > 1e-7 {
            let middle = 0.5 * (cool + hot);
            if self.emission(middle) < emission {
                cool = middle
            } else {
                hot = middle
            }
        }
        Ok(Celsius(0.5 * (cool + hot)))
    }
}
