//! The journal from outside: what it keeps, in what order, through crashes, full disks and meddling.

mod backups;
mod common;
mod crashes;
mod evidence;
mod laws;
mod opening;
mod packing;
mod queries;
mod retention;
mod room;
