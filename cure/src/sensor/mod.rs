//! What a sensor's signal means, and how far it may be wrong.

pub mod infrared;
mod planck;
mod reference_functions;
pub mod thermocouple;
pub mod tolerance;
mod uncertainty;

pub use infrared::Infrared;
pub use thermocouple::{Thermocouple, ThermocoupleType};
pub use tolerance::ToleranceClass;
pub use uncertainty::Uncertainty;
