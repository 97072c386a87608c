//! A whole shop, live: passes, batches and counts put together.

mod counts;
mod day;
mod flash;
mod readings;
mod recipe;
mod rides;
mod taken_up;
