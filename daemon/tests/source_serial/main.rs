//! Lines of text from serial ports: over pseudo-terminals, and over imagined wires whose time is imagined too.

mod imagined;
mod running;
mod terminal;

mod formats;
mod losses;
mod silence;
mod trouble;
