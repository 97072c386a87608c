//! What Inkdwell computes: pure, without I/O, clock or async.
//!
//! A trace of temperatures goes in, judged passes come out:
//!
//! - [`trace_file`] makes readings of the bytes of a trace file, and [`sensor`] of a probe's signal, with
//!   how far it may be wrong.
//! - [`engine`] is fed readings and gives events. It sorts out what cannot be true, finds the passes, holds
//!   each against the laws of its ink and fabric ([`plan`], [`law`]) and says what is proved
//!   ([`judged`]), why not more ([`reason`]) and what is worth knowing ([`remark`]).
//! - [`live`] is a whole shop: it routes readings to probes, belts and counters, knows the open batches and
//!   numbers the prints.
//! - [`alarm`] watches the same stream and says which alarms come and go.
//! - [`heat`] is the heat model of a print on its way through a dryer, and its fit to rides.
//! - [`tuning`] answers how fast the belt may run.
//!
//! The same readings give the same events, however they are cut into pieces. Temperatures are in °C, times
//! in seconds, lengths in metres; uncertainties are expanded ones, k = 2.

pub mod alarm;
pub mod engine;
mod equivalents_run;
pub mod exit;
mod fault_times;
pub mod heat;
mod histogram;
pub mod judged;
mod judging;
pub mod law;
pub mod live;
mod pass;
pub mod plan;
pub mod reason;
pub mod remark;
mod sample;
pub mod sensor;
mod sieve;
mod tally;
pub mod trace_file;
mod track;
pub mod tuning;
mod verdict;

pub use sieve::good_samples;
