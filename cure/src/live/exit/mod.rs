//! Prints that exit probes see while a batch runs under a recipe.
//!
//! The floor keeps what the exit probes, the belt and the counter said over the last metres of belt
//! (`ExitWatch`). As the belt goes on it looks for objects in it, by the shape that the recipe's ride taught
//! ([`RecipeRide`]); one that has passed, with some belt behind it, is a print that has left. What was read
//! of it is cut out as a [`Window`], and that is all that its verdict needs: [`RecipeModel`] and
//! [`Inference`] find it, through the code that judges recorded runs ([`crate::exit::run`]), wherever and
//! whenever there is time.

mod floor;
mod lately;
mod leaving;
mod model;
mod plan;
mod ride;
mod watch;
mod window;

pub use model::{Inference, NoModel, RecipeModel};
pub use ride::{RecipeExit, RecipeRide, Shown};
pub use window::Window;

pub(super) use plan::ExitPlan;
pub(super) use watch::{ExitWatch, Rides, Step};
