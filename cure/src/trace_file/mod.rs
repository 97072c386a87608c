//! Trace files: bytes in, samples out.
//!
//! A trace file is CSV in UTF-8 with a header. It has one time column, `time_s` (seconds) or `time`
//! (RFC 3339); every other column is a channel named by its unit: `NAME_c`, `NAME_f`, or `NAME_T_mv` for
//! the millivolts of a thermocouple of type T, whose reference junction is `junction_c`. Belt speeds end
//! in `_m_per_min`, `_ft_per_min` or `_in_per_min`, print counters in `_count`. Lines that begin with `#`
//! are notes. Other loggers' files are read by saying which column is what ([`Layout`]).
//!
//! Everything here is fed bytes and does no I/O. A [`NoteScanner`] goes over the whole file first, since
//! notes may stand at its end; then a [`Reader`] gives out row by row.
//!
//! ```
//! use inkdwell_cure::trace_file::{Cell, Layout, Reader};
//!
//! let mut rows = Vec::new();
//! let mut reader = Reader::new(Layout::default());
//! for chunk in [&b"time_s,film_f,exit_c\n0,32,"[..], b"20\n1.5,OPEN,\n"] {
//!     reader.feed(chunk, &mut |time, cells: &[Cell]| rows.push((time, cells.to_vec())))?;
//! }
//! reader.finish(&mut |time, cells: &[Cell]| rows.push((time, cells.to_vec())))?;
//! assert_eq!(reader.columns()[0].name, "film");
//! assert_eq!(rows, [
//!     (0.0, vec![Cell::Value(0.0), Cell::Value(20.0)]),
//!     (1.5, vec![Cell::Bad, Cell::Missing]),
//! ]);
//! # Ok::<(), inkdwell_cure::trace_file::TraceFileError>(())
//! ```

mod cell;
mod column;
mod encoding;
mod error;
mod header;
mod layout;
mod notes;
mod number;
mod reader;
mod rows;
mod split;
mod time;
mod time_pattern;

pub use cell::Cell;
pub use column::{Column, ColumnKind};
pub use error::TraceFileError;
pub use layout::{Layout, TemperatureColumn, TimeColumn, TimeForm};
pub use notes::{Note, NoteScanner, Notes};
pub use reader::Reader;

/// A longer line is no row of a trace.
const LONGEST_LINE: usize = 1 << 20;

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;
