//! Readings as the journal keeps them, and the form in which those of one commit lie together.
//!
//! The form is quick to write and keeps the order in which readings were fed, which a replay needs. It is
//! not small: that is the business of `pack`, which comes later.
//!
//! ```text
//! reading = header, microseconds since the reading before, what was shown
//! header  = 4 * channel + 2 * (is a word) + 1 * (came too late), as a varint
//! time    = a zigzag varint; the first counts from 0
//! shown   = the eight bytes of the float, least first; or the word's number as a varint
//! ```

use super::number::{ChannelNumber, WordNumber};
use crate::time::Micros;

/// What a device showed.
#[derive(Debug, Clone, Copy)]
pub enum Shown {
    /// A number, kept to the bit.
    Number(f64),
    /// Something else.
    Word(WordNumber),
}

/// Equal if no bit differs: a NaN is the same as itself, 0 is not -0.
impl PartialEq for Shown {
    fn eq(&self, other: &Shown) -> bool {
        match (self, other) {
            (Shown::Number(own), Shown::Number(other)) => own.to_bits() == other.to_bits(),
            (Shown::Word(own), Shown::Word(other)) => own == other,
            _ => false,
        }
    }
}

impl Eq for Shown {}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JournaledReading {
    /// Its channel.
    pub channel: ChannelNumber,
    /// When it was taken.
    pub at: Micros,
    /// What it shows.
    pub shown: Shown,
    /// Whether the engine was fed with it; not where it came too late or twice.
    pub fed: bool,
}

/// Bytes that are no readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the readings of a commit cannot be understood")]
pub struct Garbled;

impl From<postcard::Error> for Garbled {
    fn from(_: postcard::Error) -> Garbled {
        Garbled
    }
}

const LATE: u64 = 1;
const WORD: u64 = 2;

/// Writes readings behind what is in `bytes`.
///
/// # Errors
/// None that is known: the form has a place for every reading.
pub(super) fn write(
    readings: &[JournaledReading],
    mut bytes: Vec<u8>,
) -> Result<Vec<u8>, postcard::Error> {
    let mut before = 0i64;
    for reading in readings {
        let late = if reading.fed { 0 } else { LATE };
        let head = u64::from(reading.channel.0) << 2 | late;
        // What wraps here wraps back when it is read.
        let later = reading.at.0.wrapping_sub(before);
        before = reading.at.0;
        bytes = match reading.shown {
            Shown::Number(number) => postcard::to_extend(&(head, later, number), bytes)?,
            Shown::Word(word) => postcard::to_extend(&(head | WORD, later, word.0), bytes)?,
        };
    }
    Ok(bytes)
}

/// Reads what [`write`] wrote, one by one.
pub(super) struct Written<'a> {
    bytes: &'a [u8],
    before: i64,
}

impl<'a> Written<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Written<'a> {
        Written { bytes, before: 0 }
    }

    fn take(&mut self) -> Result<JournaledReading, Garbled> {
        let ((head, later), rest): ((u64, i64), _) = postcard::take_from_bytes(self.bytes)?;
        let channel = u32::try_from(head >> 2).map_err(|_| Garbled)?;
        let (shown, rest) = if head & WORD == 0 {
            let (number, rest) = postcard::take_from_bytes(rest)?;
            (Shown::Number(number), rest)
        } else {
            let (word, rest) = postcard::take_from_bytes(rest)?;
            (Shown::Word(WordNumber(word)), rest)
        };
        self.bytes = rest;
        self.before = self.before.wrapping_add(later);
        Ok(JournaledReading {
            channel: ChannelNumber(channel),
            at: Micros(self.before),
            shown,
            fed: head & LATE == 0,
        })
    }
}

impl Iterator for Written<'_> {
    type Item = Result<JournaledReading, Garbled>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.bytes.is_empty() {
            return None;
        }
        let taken = self.take();
        if taken.is_err() {
            self.bytes = &[];
        }
        Some(taken)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Any bits: also NaNs with a load, infinities, subnormals and -0.
    pub(in crate::journal) fn any_shown() -> impl Strategy<Value = Shown> {
        prop_oneof![
            4 => (-400i32..6000).prop_map(|tenths| Shown::Number(f64::from(tenths) / 10.0)),
            2 => any::<u64>().prop_map(|bits| Shown::Number(f64::from_bits(bits))),
            1 => prop::sample::select(vec![0.0, -0.0, f64::INFINITY, f64::NEG_INFINITY, f64::NAN, 5e-324])
                .prop_map(Shown::Number),
            1 => (0u32..5).prop_map(|word| Shown::Word(WordNumber(word))),
        ]
    }

    /// A reading of one of a few channels at any time.
    pub(in crate::journal) fn any_reading() -> impl Strategy<Value = JournaledReading> {
        let at = prop_oneof![
            9 => 1_700_000_000_000_000i64..1_700_000_100_000_000,
            1 => any::<i64>(),
        ];
        (1u32..6, at, any_shown(), prop::bool::weighted(0.9)).prop_map(
            |(channel, at, shown, fed)| JournaledReading {
                channel: ChannelNumber(channel),
                at: Micros(at),
                shown,
                fed,
            },
        )
    }

    proptest! {
        #[test]
        fn what_was_written_is_read(readings in prop::collection::vec(any_reading(), 0..50)) {
            let bytes = write(&readings, Vec::new()).unwrap();
            let read: Result<Vec<_>, _> = Written::new(&bytes).collect();
            prop_assert_eq!(read.unwrap(), readings);
        }

        #[test]
        fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..100)) {
            let _ = Written::new(&bytes).count();
        }
    }

    #[test]
    fn zero_is_not_minus_zero_and_a_nan_is_itself() {
        assert_ne!(Shown::Number(0.0), Shown::Number(-0.0));
        assert_eq!(Shown::Number(f64::NAN), Shown::Number(f64::NAN));
    }
}
