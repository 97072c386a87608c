//! What a run of figures says of the process behind them, and when it says nothing.
//!
//! - [`summary`]: how figures lie: least, quartiles, greatest, mean, deviation.
//! - [`individuals`]: the individuals and moving-range chart (NIST/SEMATECH e-Handbook of Statistical Methods,
//!   6.3.2.2; factors of ISO 7870-2).
//! - [`rules`]: what in such a chart is no chance: points beyond the limits, long runs on one side, steady
//!   climbs and falls.
//! - [`capability`]: how well a process keeps within its limits, with a confidence interval (e-Handbook 6.1.6);
//!   refused where the process is not stable, not normal, or seen too few times.
//! - [`proportion`]: exact binomial bounds on a share (Clopper and Pearson).
//! - [`trend`]: how far figures climb or fall over a run, by a line that single odd ones do not bend.
//!
//! ```
//! use inkdwell_cure::statistics::proportion::at_least;
//!
//! // Fifty-nine good of fifty-nine: with 95 % confidence at least 95 % of all are good.
//! assert!(at_least(59, 59, 0.95).is_some_and(|share| share >= 0.95));
//! assert!(at_least(58, 58, 0.95).is_some_and(|share| share < 0.95));
//! ```

pub mod capability;
pub mod individuals;
pub(crate) mod median;
pub mod normality;
pub mod proportion;
pub mod rules;
pub mod summary;
pub mod trend;
