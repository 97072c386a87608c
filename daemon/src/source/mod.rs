//! Sources: where readings come from, one file for each kind.
//!
//! Each source is one task. It owns its wire, finds it again by itself when it is lost ([`waits`]), says how
//! it is ([`health`]), and ends when it is told to stop or when the intake closes; what it has read until
//! then is handed over first.

pub mod health;
pub mod lines;
pub mod modbus;
pub mod mqtt;
pub mod port;
pub mod replay;
mod rhythm;
pub mod serial;
pub mod simulated;
mod telling;
pub mod waits;
