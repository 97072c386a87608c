//! What a shop declares: quantities with units, inks, fabrics and the shop file.
//!
//! Everything that people write is read here, once, into types that cannot be wrong any more. A file is
//! read to its end whatever is wrong in it, and every [`Problem`](problem::Problem) names file, line,
//! key and remedy.
//!
//! ```
//! use inkdwell_config::library::Library;
//! use inkdwell_config::quantity::Celsius;
//!
//! let hot: Celsius = "320 F".parse()?;
//! assert!((hot.0 - 160.0).abs() < 1e-9);
//! let error = "320".parse::<Celsius>().unwrap_err();
//! assert_eq!(error.to_string(), "320 has no unit; write \"320 C\" or \"320 F\"");
//!
//! let library = Library::shipped();
//! assert!((library.ink("plastisol-standard")?.threshold.0 - 160.0).abs() < 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod display;
pub mod fabric;
pub mod ink;
pub mod law;
pub mod library;
pub mod problem;
pub mod quantity;
mod reading;
pub mod shop;
pub mod station;
mod unit;

pub use reading::{decode, read_file};
pub use unit::{Quantity, QuantityError};
