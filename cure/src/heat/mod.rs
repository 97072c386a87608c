//! The heat model: what a print's temperature does on its way through a dryer or under a flash unit.
//!
//! A [`print::Print`] lies on the belt or platen of an [`oven::Oven`], and [`Model::run`] follows it
//! along a [`journey::Journey`]: a film of ink on one or two layers of cloth, cut into nodes through
//! the thickness (`column`, `flows`), with its water (`moisture`), stepped through time (`march`, `newton`). Beside it the same
//! cloth travels unprinted. What comes out is a [`history::History`].
//!
//! The model is one-dimensional: a print is wide against its thickness.
//!
//! Everything here is smooth in its parameters, so that a fit can ask what each of them does.

mod blocks;
mod column;
pub mod curve;
pub mod fit;
mod flows;
pub mod history;
pub mod journey;
mod march;
pub mod mesh;
pub mod moisture;
mod newton;
pub mod oven;
pub mod print;
pub mod properties;
mod run;
mod surroundings;

pub use run::{Columns, Model};

/// Conductance by area, or a coefficient of convection, in W/(m² K).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct HeatTransfer(pub f64);

/// Why the model has no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum HeatError {
    /// The equations of a step were not solved: a parameter lies beyond anything physical.
    #[error(
        "the heat model found no solution; one of its parameters lies beyond anything physical"
    )]
    Unsettled,
}
