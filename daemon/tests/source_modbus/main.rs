//! Modbus devices: those of an independent implementation, by RTU over pseudo-terminals and by TCP, and
//! devices that misbehave, over imagined wires whose time is imagined too.

mod cable;
mod frame;
mod imagined;
mod python;
mod running;

mod devices;
mod faults;
mod losses;
mod rounds;
