//! What a shop declares: quantities with units, inks, fabrics and the shop file.

pub mod display;
pub mod fabric;
pub mod ink;
pub mod law;
pub mod quantity;
pub mod station;
