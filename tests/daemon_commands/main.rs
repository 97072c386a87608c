//! The commands that ask a running daemon: what they print, what they refuse, and how they find it.

mod alarms;
mod batches;
mod daemon;
mod finding;
mod probes;
mod recipes;
mod service;
