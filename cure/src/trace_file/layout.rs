//! How a file is laid out, where it is not one of our own.

use super::column::ColumnKind;

/// What the time column holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TimeForm {
    /// Seconds.
    Seconds,
    /// Milliseconds.
    Milliseconds,
    /// Minutes.
    Minutes,
    /// A time with its zone, RFC 3339.
    Rfc3339,
    /// A time as a pattern of the `strftime` kind says, with a date or without; without, a step back of
    /// more than half a day is midnight.
    Pattern(String),
}

/// Which column is the time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimeColumn {
    /// Its header or its number from 1; two of them joined by `+` where date and time of day stand
    /// apart, which a pattern then reads with a space between them.
    pub header: String,
    /// What it holds.
    pub form: TimeForm,
}

/// A column that is a temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct TemperatureColumn {
    /// Its header or its number from 1.
    pub header: String,
    /// The name of the channel.
    pub name: String,
    /// What it holds.
    pub kind: ColumnKind,
}

/// How a file is laid out; the default is our own trace file.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// What separates cells; a space stands for any run of spaces.
    pub delimiter: u8,
    /// Whether `,` is the decimal point.
    pub decimal_comma: bool,
    /// Lines before the header that are passed over.
    pub skip_lines: u64,
    /// Whether there is a header; without one, columns are named 1, 2, 3 and so on.
    pub has_header: bool,
    /// The time column; `None`: `time_s` or `time`.
    pub time: Option<TimeColumn>,
    /// The temperature columns; none: all whose names say so.
    pub temperatures: Vec<TemperatureColumn>,
}

impl Default for Layout {
    fn default() -> Layout {
        Layout {
            delimiter: b',',
            decimal_comma: false,
            skip_lines: 0,
            has_header: true,
            time: None,
            temperatures: Vec::new(),
        }
    }
}
