//! One file a command.

pub(crate) mod alarms;
pub(crate) mod backup;
mod bar;
pub(crate) mod batch;
pub(crate) mod check;
pub(crate) mod completions;
mod curve;
mod daemon_words;
pub(crate) mod export;
pub(crate) mod fabrics;
pub(crate) mod holds;
pub(crate) mod inks;
pub(crate) mod judge;
pub(crate) mod key;
pub(crate) mod library;
mod library_json;
pub(crate) mod man;
pub(crate) mod probe;
pub(crate) mod recipe;
pub(crate) mod report;
pub(crate) mod simulate;
pub(crate) mod sinks;
mod table;
pub(crate) mod verify;
pub(crate) mod welcome;
