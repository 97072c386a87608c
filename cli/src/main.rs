//! The command line of Inkdwell.

fn main() {}
