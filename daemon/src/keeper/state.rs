//! What of the keeper is put away, and taken up again.

use std::collections::BTreeMap;

use inkdwell_cure::alarm::Watched;
use inkdwell_cure::live::{FloorEvent, Saved};
use serde::{Deserialize, Serialize};

use super::holds::Holds;
use super::model::Pending;
use super::timeline::Timeline;
use crate::record::{Calibrated, RecipeLocked};

/// The form in which it is written. To be raised whenever anything in it changes.
const FORM: u32 = 4;

/// A checkpoint that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// It was written by another version of the program.
    #[error("the checkpoint was written by another version of the program")]
    OtherVersion,
    /// It cannot be read or written.
    #[error("the checkpoint cannot be read or written ({0})")]
    Damaged(String),
}

/// A batch that is open at a station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct OpenAt {
    pub(super) batch: u64,
    /// Its ink's threshold, in °C.
    pub(super) threshold_c: f64,
}

/// What changes, besides the floor.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(super) struct State {
    pub(super) passes: u64,
    pub(super) batches_made: u64,
    pub(super) recipes_made: u64,
    /// Recipes in force.
    pub(super) recipes: BTreeMap<u64, RecipeLocked>,
    /// Calibrations made while it ran, by probe.
    pub(super) calibrations: BTreeMap<String, Calibrated>,
    /// Open batches by station.
    pub(super) batches: BTreeMap<String, OpenAt>,
    pub(super) holds: Holds,
    /// By source and channel.
    pub(super) timelines: Vec<((String, String), Timeline)>,
    /// Prints that have left, by pass: what is said of them is not known yet.
    pub(super) pending: BTreeMap<u64, Pending>,
    /// Ink and fabric of the last batches under recipes, as declared when they were opened.
    pub(super) declared: BTreeMap<u64, String>,
    /// Room for what a reading leads to.
    #[serde(skip)]
    pub(super) found: Vec<FloorEvent>,
}

#[derive(Serialize)]
struct Written<'a> {
    form: u32,
    version: &'a str,
    floor: &'a Saved,
    watched: &'a Watched,
    state: &'a State,
}

/// What stands first, so that another form is known before anything else of it is read.
#[derive(Deserialize)]
struct Heading {
    form: u32,
    version: String,
}

pub(super) fn write(
    floor: &Saved,
    watched: &Watched,
    state: &State,
) -> Result<Vec<u8>, Unreadable> {
    let written = Written {
        form: FORM,
        version: env!("CARGO_PKG_VERSION"),
        floor,
        watched,
        state,
    };
    postcard::to_allocvec(&written).map_err(|error| Unreadable::Damaged(error.to_string()))
}

pub(super) fn read(bytes: &[u8]) -> Result<(Saved, Watched, State), Unreadable> {
    let damaged = |error: postcard::Error| Unreadable::Damaged(error.to_string());
    let (heading, rest): (Heading, _) = postcard::take_from_bytes(bytes).map_err(damaged)?;
    if heading.form != FORM || heading.version != env!("CARGO_PKG_VERSION") {
        return Err(Unreadable::OtherVersion);
    }
    postcard::from_bytes(rest).map_err(damaged)
}
