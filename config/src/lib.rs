//! What a shop declares: quantities with units, inks, fabrics and the shop file.
//!
//! Everything that people write is read here, once, into types that cannot be wrong any more; what comes
//! after never asks again whether a time is negative or a station exists.
//!
//! # Quantities
//!
//! [`quantity`] has a newtype for each kind of figure, in one internal unit: °C, seconds, metres, metres a
//! second, kilograms a square metre, shares of a whole. Each is read with [`str::parse`] from a number and
//! its unit, and a bare number is an error that says how to write it. [`display`] writes them again, in the
//! units that people chose.
//!
//! ```
//! use inkdwell_config::quantity::{Celsius, CelsiusDifference};
//!
//! assert_eq!("320 F".parse(), Ok(Celsius(160.0)));
//! assert_eq!("433.15 K".parse(), Ok(Celsius(160.0)));
//! assert_eq!("2 K".parse(), Ok(CelsiusDifference(2.0)));
//! let error = "320".parse::<Celsius>().unwrap_err();
//! assert_eq!(error.to_string(), "320 has no unit; write \"320 C\" or \"320 F\"");
//! ```
//!
//! # Inks and fabrics
//!
//! A [`library::Library`] holds [`ink::Ink`]s and [`fabric::Fabric`]s by id; each has its [`law::Law`]s.
//! Those that ship with Inkdwell come first, a shop's own go over them, the later one winning by id.
//!
//! ```
//! use inkdwell_config::library::Library;
//!
//! let mut library = Library::shipped();
//! let ours = Library::parse("ours.toml", r#"
//!     [[ink]]
//!     id = "yard-white"
//!     family = "plastisol"
//!     cure = { law = "hold", at = "155 C", for = "5 s" }
//!     source = "our own wash tests"
//! "#);
//! library.add(ours.into_result().unwrap());
//! assert_eq!(library.ink("yard-white").unwrap().threshold.0, 155.0);
//! let error = library.ink("plastisol-standart").unwrap_err().to_string();
//! assert!(error.ends_with("did you mean \"plastisol-standard\"?"));
//! ```
//!
//! # The shop file
//!
//! A [`shop::Shop`] is one shop with its sources, stations, probes, signals, sinks, alarms and board. A file
//! is read to its end whatever is wrong in it, and every [`problem::Problem`] names file, line, key and
//! remedy; what is allowed but deserves a look is a warning of the same form.
//!
//! ```
//! use inkdwell_config::shop::Shop;
//!
//! let checked = Shop::parse("shop.toml", r#"
//! [[station]]
//! id = "belt-1"
//! kind = "belt-dryer"
//! heated_length = "2.4 m"
//! belt = "2.6 m/min"
//! lane = 2
//! zones = [ { length = "2.4 m", air = 190 } ]
//! "#);
//! let problems: Vec<String> = checked.problems.iter().map(|problem| problem.to_string()).collect();
//! assert_eq!(problems, [
//!     "shop.toml:7: station[0].lane: is unknown here; did you mean \"lanes\"?",
//!     "shop.toml:8: station[0].zones[0].air: 190 has no unit; write \"190 C\" or \"190 F\"",
//! ]);
//! ```
//!
//! `Shop::parse` and `Library::parse` open nothing and take any text; `load` and `check` take a path, and
//! read it through [`read_file`], the only place that opens a file. A whole shop file with comments stands
//! in `examples/shop.toml` of this crate.

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
pub mod written;

pub use reading::{decode, read_file};
pub use unit::{Quantity, QuantityError};
