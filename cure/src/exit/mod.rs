//! Exit probes: what a print's temperature on leaving the heat tells of its film.

pub mod objects;
