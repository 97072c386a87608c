//! One file a command.

pub(crate) mod backup;
mod bar;
pub(crate) mod check;
pub(crate) mod completions;
mod curve;
pub(crate) mod fabrics;
pub(crate) mod inks;
pub(crate) mod judge;
pub(crate) mod library;
mod library_json;
pub(crate) mod man;
pub(crate) mod simulate;
pub(crate) mod verify;
pub(crate) mod welcome;
