//! Reports gathered from journals whose every record is known: which prints belong to which day, what they say, what they
//! refuse to say, and that whoever meddles with the journal is found out.

mod days;
mod figures;
mod forms;
mod later;
mod meddled;
mod shop;
