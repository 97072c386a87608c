//! What a sensor's signal means, and how far it may be wrong.
//!
//! [`Thermocouple`] turns millivolts into a temperature and [`Infrared`] corrects what an infrared probe
//! shows; [`tolerance`] says how far a thermocouple of a class may be off, and [`Uncertainty`] carries
//! that, together with a calibration's own, to every sample as U (k = 2).

mod conversion;
pub mod infrared;
mod meter;
mod planck;
mod reference_functions;
#[cfg(test)]
mod reference_values;
pub mod thermocouple;
pub mod tolerance;
mod uncertainty;

pub use conversion::Thermocouple;
pub use infrared::Infrared;
pub use meter::{Meter, declared_uncertainty};
pub use thermocouple::ThermocoupleType;
pub use tolerance::ToleranceClass;
pub use uncertainty::Uncertainty;
