//! How a packet begins, and how one that is too large passes by.

use super::Lost;

/// A packet that is too large, while it passes by.
#[derive(Debug, Clone, Copy)]
pub(super) struct Passing {
    pub(super) left: usize,
    pub(super) packet: Option<u16>,
}

/// The fixed header of a packet (MQTT 5.0, section 2.1; the same in 3.1.1).
#[derive(Debug, Clone, Copy)]
pub(super) struct Head {
    first: u8,
    /// Its own length in bytes.
    pub(super) length: usize,
    /// How many bytes follow it.
    pub(super) remaining: usize,
}

impl Head {
    /// Reads it, if it is all there.
    pub(super) fn of(bytes: &[u8]) -> Result<Option<Head>, Lost> {
        let Some((first, rest)) = bytes.split_first() else {
            return Ok(None);
        };
        let mut remaining = 0;
        for (digit, byte) in rest.iter().take(4).enumerate() {
            remaining |= usize::from(byte & 0x7f) << (7 * digit);
            if byte & 0x80 == 0 {
                return Ok(Some(Head {
                    first: *first,
                    length: digit + 2,
                    remaining,
                }));
            }
        }
        match rest.len() {
            0..4 => Ok(None),
            _ => Err(Lost::NoMqtt("a packet without a proper length".to_owned())),
        }
    }

    pub(super) fn kind(self) -> u8 {
        self.first >> 4
    }

    pub(super) fn whole(self) -> usize {
        self.length + self.remaining
    }

    /// For a message too large to be taken: how it passes by, once its beginning is there (section 3.3: a
    /// topic's length, the topic, the identifier).
    pub(super) fn passing(self, bytes: &[u8]) -> Result<Option<Passing>, Lost> {
        if self.kind() != 3 {
            return Err(Lost::NoMqtt("a packet of a size that none has".to_owned()));
        }
        let body = &bytes[self.length..];
        let pair = |at: usize| Some(u16::from_be_bytes([*body.get(at)?, *body.get(at + 1)?]));
        let packet = pair(0).and_then(|topic| pair(2 + usize::from(topic)));
        Ok(packet.map(|packet| Passing {
            left: self.whole(),
            packet: (self.first & 0b0110 != 0).then_some(packet),
        }))
    }
}
