//! What runs all day beside the dryer.
//!
//! Data flows one way:
//!
//!   source -> intake -> engine task -> journal -> everyone else
//!
//! - A [`source`] is one task for one wire: it reads what devices say and hands it over as a
//!   [`intake::Delivery`].
//! - The engine task puts deliveries in order, feeds the engine of `inkdwell-cure` and collects what it finds.
//! - The [`journal`] commits readings and findings together. Only then are deliveries acknowledged, and only
//!   then does anybody else see them.
//! - A [`sink`] is one task for one way out: it follows what is committed, from the place up to which the other
//!   side has taken everything.

pub mod api;
pub mod board;
pub mod broker;
pub mod intake;
pub mod journal;
pub mod keeper;
pub mod metrics;
mod mqtt;
pub mod record;
pub mod report;
pub mod shift;
pub mod shown;
pub mod sink;
pub mod source;
pub mod table;
pub mod time;
pub mod wall;
