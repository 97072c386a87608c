//! The chains of hashes that make a later change visible.
//!
//! Each link's hash is made over the hash of the link before and everything that the link says. Whoever
//! changes, removes or adds a link would have to make every later hash anew, and the last one no longer is
//! the one that was printed in a report. Numbers are eight bytes, most significant first.
//!
//! ```text
//! record:  SHA-256("inkdwell record 1"  | hash before | number | at | length of body | body)
//! stretch: SHA-256("inkdwell stretch 1" | hash before | number | first and last commit
//!                  | first and last time | readings | digest)
//! digest:  SHA-256("inkdwell readings 1" | each of its stamps: "s" | length | bytes
//!                  | each of its blocks: "b" | channel | stamps, counted from 0 | readings
//!                  | first and last time | length | bytes)
//! ```
//!
//! The hash before the first link is 32 zeros. A body is its JSON in UTF-8, to the byte.

use std::fmt;
use std::str::FromStr;

use sha2::{Digest, Sha256};

use super::number::{RecordNumber, StretchNumber};
use crate::time::Micros;

/// A SHA-256.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    pub(super) fn of_column(bytes: &[u8]) -> Option<Hash> {
        bytes.try_into().ok().map(Hash)
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0
            .iter()
            .try_for_each(|byte| write!(formatter, "{byte:02x}"))
    }
}

/// The last link of the chain of records. Written on paper it proves later that nothing before it was
/// changed. As text: the number, a hyphen, the hash in hexadecimal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Head {
    /// The last record; 0 where there is none.
    pub number: RecordNumber,
    /// Its hash.
    pub hash: Hash,
}

impl fmt::Display for Head {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}-{}", self.number.0, self.hash)
    }
}

/// A text that is no head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a head is a record's number, a hyphen and 64 hexadecimal digits, as a report prints it")]
pub struct NoHead;

impl FromStr for Head {
    type Err = NoHead;

    fn from_str(text: &str) -> Result<Head, NoHead> {
        let (number, digits) = text.trim().split_once('-').ok_or(NoHead)?;
        let number = RecordNumber(number.parse().map_err(|_| NoHead)?);
        if digits.len() != 64 || !digits.is_ascii() {
            return Err(NoHead);
        }
        let mut hash = [0; 32];
        for (byte, at) in hash.iter_mut().zip((0..64).step_by(2)) {
            *byte = u8::from_str_radix(&digits[at..at + 2], 16).map_err(|_| NoHead)?;
        }
        Ok(Head {
            number,
            hash: Hash(hash),
        })
    }
}

/// The last link of the chain of stretches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct StretchHead {
    pub(super) number: StretchNumber,
    pub(super) hash: Hash,
}

/// The hash of a record.
pub(super) fn record_hash(before: Hash, number: RecordNumber, at: Micros, body: &str) -> Hash {
    let mut sha = Sha256::new();
    sha.update("inkdwell record 1");
    sha.update(before.0);
    sha.update(number.0.to_be_bytes());
    sha.update(at.0.to_be_bytes());
    sha.update((body.len() as u64).to_be_bytes());
    sha.update(body);
    Hash(sha.finalize().into())
}

/// What a stretch says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct StretchLink {
    pub(super) number: StretchNumber,
    pub(super) first_commit: u64,
    pub(super) last_commit: u64,
    pub(super) first_at: Micros,
    pub(super) last_at: Micros,
    pub(super) readings: u64,
    pub(super) digest: Hash,
}

impl StretchLink {
    pub(super) fn hash(&self, before: Hash) -> Hash {
        let mut sha = Sha256::new();
        sha.update("inkdwell stretch 1");
        sha.update(before.0);
        sha.update(self.number.0.to_be_bytes());
        sha.update(self.first_commit.to_be_bytes());
        sha.update(self.last_commit.to_be_bytes());
        sha.update(self.first_at.0.to_be_bytes());
        sha.update(self.last_at.0.to_be_bytes());
        sha.update(self.readings.to_be_bytes());
        sha.update(self.digest.0);
        Hash(sha.finalize().into())
    }
}

/// Makes the digest of a stretch's readings.
pub(super) struct ReadingsDigest(Sha256);

impl ReadingsDigest {
    pub(super) fn new() -> ReadingsDigest {
        let mut sha = Sha256::new();
        sha.update("inkdwell readings 1");
        ReadingsDigest(sha)
    }

    pub(super) fn stamps(&mut self, bytes: &[u8]) {
        self.0.update("s");
        self.bytes(bytes);
    }

    /// `numbers`: channel, stamps, readings, first and last time.
    pub(super) fn block(&mut self, numbers: [i64; 5], bytes: &[u8]) {
        self.0.update("b");
        for number in numbers {
            self.0.update(number.to_be_bytes());
        }
        self.bytes(bytes);
    }

    fn bytes(&mut self, bytes: &[u8]) {
        self.0.update((bytes.len() as u64).to_be_bytes());
        self.0.update(bytes);
    }

    pub(super) fn finish(self) -> Hash {
        Hash(self.0.finalize().into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Expected values: Python's hashlib and struct, fed by the description at the top of this file.
    #[test]
    fn hashes_are_made_as_described() {
        let body = r#"{"kind":"occurred","station":null,"what":{"event":"stopped"}}"#;
        let at = Micros(1_790_000_000_000_000);
        let first = record_hash(Hash::default(), RecordNumber(1), at, body);
        assert_eq!(
            first.to_string(),
            "ae4e9e90604f9ecce931022b31ce24ce2567ac7d87d1ec20ad6dfde6bb48cf03"
        );
        let second = record_hash(first, RecordNumber(2), Micros(-5), r#"{"dose":"1.0 °C"}"#);
        assert_eq!(
            second.to_string(),
            "659bbef7e9df87e6e3d1dda9375de440c9c65ca88bfd0b922971dee70b7b8abe"
        );
        let mut digest = ReadingsDigest::new();
        digest.stamps(b"abc");
        digest.block([7, 0, 3, -1, 9], b"xy");
        let digest = digest.finish();
        assert_eq!(
            digest.to_string(),
            "91d429f2f502c81f6cbffacc47d46017b3cb1ab1016860d19c4bdb2c4e6da01b"
        );
        let link = StretchLink {
            number: StretchNumber(1),
            first_commit: 1,
            last_commit: 40,
            first_at: Micros(-1),
            last_at: Micros(9),
            readings: 3,
            digest,
        };
        assert_eq!(
            link.hash(Hash::default()).to_string(),
            "a46d309d0c5d3745cecc56f5a7ab73c72ea72c29bcf830db44a0e75d3f9a31b9"
        );
    }

    #[test]
    fn a_head_is_read_as_it_is_printed() {
        let head = Head {
            number: RecordNumber(42),
            hash: Hash([0xa7; 32]),
        };
        assert_eq!(head.to_string().parse(), Ok(head));
        for wrong in ["", "42", "42-", "x-00", &head.to_string()[1..60]] {
            assert_eq!(wrong.parse::<Head>(), Err(NoHead), "{wrong}");
        }
        let long = format!("42-{}é", "a".repeat(62));
        assert_eq!(long.parse::<Head>(), Err(NoHead));
    }
}
