//! The program as it is called.

mod figures;
mod folder;
mod libraries;
mod stations;
