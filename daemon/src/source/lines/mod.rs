//! Lines of text, apart from the wire that they come through.
//!
//! A [`LineReader`] is fed bytes as they come and gives lines; a [`LineParser`] is made for one
//! [`LineFormat`](inkdwell_config::shop::LineFormat) and says what a line means. Both are fit for any bytes:
//! what cannot be understood is counted, and neither ever holds more than a line of them.

mod channels;
mod number;
mod parser;
mod reader;
mod text;
mod unclear;

pub use parser::{LineParser, Meaning};
pub use reader::{Heard, LONGEST, LineReader};
pub use unclear::Unclear;
