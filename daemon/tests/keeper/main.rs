//! The keeper: what becomes of arrivals and commands, and that a crash changes nothing of it.

mod arrivals;
mod assigned;
mod commands;
mod crashes;
mod played;
mod shop;
