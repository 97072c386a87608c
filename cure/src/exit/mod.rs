//! Exit probes: what a print's temperature on leaving the heat tells of its film.
//!
//! [`objects`] finds what passes the probe, [`Fit::infer`](crate::heat::fit::Fit::infer) says what its film
//! went through, and [`judge`] holds that against the laws.

pub mod judge;
pub mod objects;
