//! Prints past exit probes, live: what is said of each while the belt runs is what is said of it when the
//! whole recording is judged afterwards.
//!
//! The recordings come from the simulated shop, whose physics know nothing of the model that is fitted here.

mod day;
mod evidence;
mod recorded;
mod same;
mod stops;
