//! What probes say, heard from their wires.

pub(crate) mod listen;
