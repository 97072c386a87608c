//! The local interface for programs: what can be asked, what is refused, and what stays the same whoever asks.

mod assign;
mod board;
mod client;
mod door;
mod journey;
mod news;
mod served;
mod tune;
