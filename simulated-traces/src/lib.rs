//! The simulated shop: traces of dryers and flash units that never were, each with its truth.
//!
//! [`physics`] follows a print through an uneven oven; [`mod@line`] and [`flash_line`] put prints one after the
//! other; [`channel`] and [`sensor`] make of it what imperfect probes say; [`record`] gives that row by row,
//! for as long as one likes; and [`mod@write`] puts it into files beside its truth. A [`scenario`] file holds all that
//! together. [`chance`] is seeded: the same seed gives the same bytes.
//!
//! Nothing here uses the model that Inkdwell fits to rides, so that a fit can be held against something
//! that it was not told.

pub mod chance;
pub mod channel;
pub mod events;
pub mod flash_line;
pub mod likely;
pub mod line;
pub mod physics;
pub mod record;
pub mod samples;
pub mod scenario;
pub mod sensor;
pub mod shipped;
pub mod shop;
pub mod shop_files;
mod spot;
pub mod truth;
pub mod tryout;
pub mod write;
