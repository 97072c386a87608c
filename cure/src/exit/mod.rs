//! Exit probes: what a print's temperature on leaving the heat tells of its film.
//!
//! A probe behind the dryer sees belt, and from time to time a garment. [`way`] lays its [`trace`] along the belt,
//! [`template`] learns from the reference ride what a garment of the batch looks like and where in it the
//! print lies, and [`objects`] are found in a run by that shape. What the print itself showed goes through the heat
//! model ([`ExitModel`](crate::heat::fit::ExitModel)), and [`judge`] holds what comes out against the
//! laws. [`run`] puts these together.

mod belt;
mod belt_search;
mod bins;
mod counter;
mod find;
pub mod judge;
pub mod objects;
mod promise;
mod reference;
pub mod run;
pub mod template;
pub mod trace;
pub mod way;

pub(crate) use belt::BEHIND;
pub use reference::{Probe, Reference, ReferenceError};
