//! A station that has left its recipe, and rides that are due.

use inkdwell_config::quantity::Seconds;
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::{Cause, OffRecipe};
use crate::alarm::kind::Kind;
use crate::live::Micros;

/// The recipe of a station's batch.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Recipe {
    /// The last ride, or when the batch was opened.
    ride: Option<Micros>,
    left: Edge,
    overdue: Edge,
}

impl Recipe {
    /// The station has left it, or something more is off.
    pub(in crate::alarm) fn left(&mut self, recipe: u64, off: OffRecipe, said: &mut Said) {
        self.left
            .again(Kind::RecipeLeft, said, Cause::Recipe { recipe, off });
    }

    /// All is as locked again.
    pub(in crate::alarm) fn met(&mut self, said: &mut Said) {
        self.left.clear(Kind::RecipeLeft, said);
    }

    /// A batch was opened.
    pub(in crate::alarm) fn opened(&mut self, at: Micros, said: &mut Said) {
        self.closed(said);
        self.ride = Some(at);
    }

    /// It was closed.
    pub(in crate::alarm) fn closed(&mut self, said: &mut Said) {
        self.ride = None;
        self.left.clear(Kind::RecipeLeft, said);
        self.overdue.clear(Kind::RideOverdue, said);
    }

    /// A ride went through.
    pub(in crate::alarm) fn ridden(&mut self, at: Micros, said: &mut Said) {
        self.ride = self.ride.map(|_| at);
        self.overdue.clear(Kind::RideOverdue, said);
    }

    /// Time goes on.
    pub(in crate::alarm) fn tick(&mut self, at: Micros, every: Option<Seconds>, said: &mut Said) {
        let due = self.ride.zip(every);
        let over = due.map(|(ride, every)| at.seconds_since(ride) - every.0);
        if let Some(over) = over.filter(|over| *over > 0.0) {
            self.overdue
                .set(true, Kind::RideOverdue, said, || Cause::Overdue {
                    since: Seconds(over),
                });
        }
    }
}
