//! A stretch: the readings of several commits in a row, sorted by channel and packed.

use std::collections::{BTreeMap, HashMap};

use rusqlite::{Connection, params};

use super::chain::{ReadingsDigest, StretchHead, StretchLink};
use super::commit::write_link;
use super::number::{ChannelNumber, StretchNumber};
use super::pack::{PackError, pack_shown, pack_times};
use super::reading::{JournaledReading, Shown};
use crate::time::Micros;

/// A longer block would keep a commit waiting while it is packed.
const LONGEST_BLOCK: usize = 65_536;
/// Blocks and stamps are numbered within their stretch by this many bits, so that their numbers rise with
/// the commits.
const WITHIN: u32 = 20;

/// Readings of a channel, in the order of their commits.
#[derive(Debug, Default)]
struct Column {
    times: Vec<Micros>,
    shown: Vec<Shown>,
    fed: Vec<bool>,
}

/// The readings of commits, being sorted.
#[derive(Debug)]
pub(super) struct Gathered {
    first_commit: u64,
    pub(super) last_commit: u64,
    pub(super) readings: u64,
    columns: BTreeMap<ChannelNumber, Column>,
}

impl Gathered {
    /// Nothing yet, of the commits after this one.
    pub(super) fn after(commit: u64) -> Gathered {
        Gathered {
            first_commit: commit + 1,
            last_commit: commit,
            readings: 0,
            columns: BTreeMap::new(),
        }
    }

    pub(super) fn add(&mut self, reading: JournaledReading) {
        let column = self.columns.entry(reading.channel).or_default();
        column.times.push(reading.at);
        column.shown.push(reading.shown);
        column.fed.push(reading.fed);
        self.readings += 1;
    }
}

/// A block that is packed.
#[derive(Debug)]
struct Block {
    channel: ChannelNumber,
    /// Where its times are.
    stamps: usize,
    readings: u64,
    first_at: Micros,
    last_at: Micros,
    bytes: Vec<u8>,
}

/// A stretch, being packed block by block.
#[derive(Debug)]
pub(super) struct Packing {
    gathered: Gathered,
    /// How much of the first column is packed.
    done: usize,
    stamps: Vec<Vec<u8>>,
    /// Which stamps have these times.
    known: HashMap<Vec<Micros>, usize>,
    blocks: Vec<Block>,
}

impl Packing {
    pub(super) fn of(gathered: Gathered) -> Packing {
        Packing {
            gathered,
            done: 0,
            stamps: Vec::new(),
            known: HashMap::new(),
            blocks: Vec::new(),
        }
    }

    /// The last commit whose readings it has.
    pub(super) fn last_commit(&self) -> u64 {
        self.gathered.last_commit
    }

    /// Its readings.
    pub(super) fn readings(&self) -> u64 {
        self.gathered.readings
    }

    /// Packs one more block; `false` where all are packed.
    pub(super) fn step(&mut self) -> Result<bool, PackError> {
        let Some(first) = self.gathered.columns.first_entry() else {
            return Ok(false);
        };
        let (channel, column) = (*first.key(), first.get());
        let end = column.times.len().min(self.done + LONGEST_BLOCK);
        let part = self.done..end;
        let times = &column.times[part.clone()];
        let stamps = match self.known.get(times) {
            Some(stamps) => *stamps,
            None => {
                self.stamps.push(pack_times(times)?);
                let stamps = self.stamps.len() - 1;
                self.known.insert(times.to_vec(), stamps);
                stamps
            }
        };
        self.blocks.push(Block {
            channel,
            stamps,
            readings: times.len() as u64,
            first_at: times.iter().copied().min().unwrap_or_default(),
            last_at: times.iter().copied().max().unwrap_or_default(),
            bytes: pack_shown(&column.shown[part.clone()], &column.fed[part])?,
        });
        if end == column.times.len() {
            first.remove();
            self.done = 0;
        } else {
            self.done = end;
        }
        Ok(true)
    }

    /// Writes the stretch behind the last one; the new end of the chain.
    pub(super) fn write(
        &self,
        connection: &Connection,
        before: StretchHead,
    ) -> rusqlite::Result<StretchHead> {
        let number = StretchNumber(before.number.0 + 1);
        let first = number.0 << WITHIN;
        let mut digest = ReadingsDigest::new();
        for (stamps, index) in self.stamps.iter().zip(0..) {
            digest.stamps(stamps);
            connection
                .prepare_cached("INSERT INTO stamps (number, stretch, bytes) VALUES (?1, ?2, ?3)")?
                .execute(params![first + index, number, stamps])?;
        }
        for (block, index) in self.blocks.iter().zip(0..) {
            block.write(connection, number, (first, index), &mut digest)?;
        }
        let times = |time: fn(&Block) -> Micros| self.blocks.iter().map(time);
        let link = StretchLink {
            number,
            first_commit: self.gathered.first_commit,
            last_commit: self.gathered.last_commit,
            first_at: times(|block| block.first_at).min().unwrap_or_default(),
            last_at: times(|block| block.last_at).max().unwrap_or_default(),
            readings: self.gathered.readings,
            digest: digest.finish(),
        };
        let hash = link.hash(before.hash);
        write_stretch(connection, &link, hash, self.packed())?;
        write_link(connection, "stretch", number.0, hash)?;
        Ok(StretchHead { number, hash })
    }

    /// Bytes of stamps and blocks.
    fn packed(&self) -> u64 {
        let stamps = self.stamps.iter().map(Vec::len);
        let blocks = self.blocks.iter().map(|block| block.bytes.len());
        stamps.chain(blocks).sum::<usize>() as u64
    }
}

impl Block {
    /// `place`: the stretch's first number, and the block's index.
    fn write(
        &self,
        connection: &Connection,
        stretch: StretchNumber,
        place: (u64, u64),
        digest: &mut ReadingsDigest,
    ) -> rusqlite::Result<()> {
        let (first, index) = place;
        let (channel, stamps) = (i64::from(self.channel.0), self.stamps as i64);
        let readings = self.readings as i64;
        let (first_at, last_at) = (self.first_at.0, self.last_at.0);
        digest.block([channel, stamps, readings, first_at, last_at], &self.bytes);
        connection
            .prepare_cached(
                "INSERT INTO block
                 (number, stretch, channel, stamps, readings, first_at, last_at, bytes)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            )?
            .execute(params![
                first + index,
                stretch,
                channel,
                first + self.stamps as u64,
                readings,
                first_at,
                last_at,
                self.bytes
            ])?;
        Ok(())
    }
}

fn write_stretch(
    connection: &Connection,
    link: &StretchLink,
    hash: super::chain::Hash,
    packed: u64,
) -> rusqlite::Result<()> {
    connection
        .prepare_cached(
            "INSERT INTO stretch (number, first_commit, last_commit, first_at, last_at, readings,
                                  packed, digest, hash)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            link.number,
            link.first_commit,
            link.last_commit,
            link.first_at.0,
            link.last_at.0,
            link.readings,
            packed,
            link.digest.0.as_slice(),
            hash.0.as_slice()
        ])?;
    Ok(())
}

/// The index of stamps in their stretch, from their number.
pub(super) fn index_within(number: i64) -> i64 {
    number & ((1 << WITHIN) - 1)
}
