//! The report for the terminal and for tables; its page and its PDF are made by the daemon's library.

pub(crate) mod csv;
pub(crate) mod held;
pub(crate) mod signing;
pub(crate) mod text;
