//! The chain of stretches, and the readings that are not packed yet.

use rusqlite::{Connection, Row};

use super::super::chain::{Hash, ReadingsDigest, StretchLink};
use super::super::number::StretchNumber;
use super::super::reading::Written;
use super::super::stretch::index_within;
use super::super::writer::link;
use super::{Broken, STRETCH_WEIGHT, Verification, Watch};
use crate::time::Micros;

/// A stretch as it lies there.
struct Lying {
    link: StretchLink,
    hash: Option<Hash>,
    forgotten: bool,
}

impl Lying {
    fn of(row: &Row<'_>) -> rusqlite::Result<Lying> {
        let digest = Hash::of_column(row.get_ref(6)?.as_blob()?);
        Ok(Lying {
            link: StretchLink {
                number: row.get(0)?,
                first_commit: row.get(1)?,
                last_commit: row.get(2)?,
                first_at: Micros(row.get(3)?),
                last_at: Micros(row.get(4)?),
                readings: row.get(5)?,
                digest: digest.unwrap_or_default(),
            },
            hash: Hash::of_column(row.get_ref(7)?.as_blob()?),
            forgotten: row.get(8)?,
        })
    }

    fn broken(&self, what: &'static str) -> Option<Broken> {
        Some(Broken::Readings {
            stretch: self.link.number.0,
            from: self.link.first_at,
            to: self.link.last_at,
            what,
        })
    }
}

/// Goes over the chain to its first broken link.
pub(super) fn go_over(
    connection: &Connection,
    found: &mut Verification,
    watch: &mut Watch<'_>,
) -> rusqlite::Result<Option<Broken>> {
    let mut stretches = connection.prepare(
        "SELECT number, first_commit, last_commit, first_at, last_at, readings, digest, hash,
                forgotten
         FROM stretch ORDER BY number",
    )?;
    let mut rows = stretches.query([])?;
    let (mut number, mut before, mut kept) = (0, Hash::default(), false);
    while let Some(row) = rows.next()? {
        let lying = Lying::of(row)?;
        number += 1;
        if lying.link.number.0 != number {
            return Ok(lying.broken("those before it were taken out"));
        }
        let hash = lying.link.hash(before);
        if lying.hash != Some(hash) {
            return Ok(lying.broken("what is said of them was changed"));
        }
        before = hash;
        if lying.forgotten && kept {
            return Ok(lying.broken("they were taken out, but older ones were not"));
        } else if lying.forgotten {
            found.forgotten_readings += lying.link.readings;
        } else {
            kept = true;
            if digest(connection, lying.link.number)? != lying.link.digest {
                return Ok(lying.broken("they were changed after they were written"));
            }
            found.readings += lying.link.readings;
        }
        found.stretches = number;
        watch.done(STRETCH_WEIGHT);
    }
    if link(connection, "stretch")? != (number, before) {
        return Ok(Some(Broken::StretchEnd { stretch: number }));
    }
    recent(connection, found)
}

/// The digest of a stretch, made anew.
fn digest(connection: &Connection, stretch: StretchNumber) -> rusqlite::Result<Hash> {
    let mut digest = ReadingsDigest::new();
    let mut stamps =
        connection.prepare_cached("SELECT bytes FROM stamps WHERE stretch = ?1 ORDER BY number")?;
    let mut rows = stamps.query([stretch])?;
    while let Some(row) = rows.next()? {
        digest.stamps(row.get_ref(0)?.as_blob()?);
    }
    let mut blocks = connection.prepare_cached(
        "SELECT channel, stamps, readings, first_at, last_at, bytes FROM block
         WHERE stretch = ?1 ORDER BY number",
    )?;
    let mut rows = blocks.query([stretch])?;
    while let Some(row) = rows.next()? {
        let stamps = index_within(row.get(1)?);
        let numbers = [row.get(0)?, stamps, row.get(2)?, row.get(3)?, row.get(4)?];
        digest.block(numbers, row.get_ref(5)?.as_blob()?);
    }
    Ok(digest.finish())
}

/// Whether the readings that are not packed yet can be understood.
fn recent(connection: &Connection, found: &mut Verification) -> rusqlite::Result<Option<Broken>> {
    let mut commits = connection.prepare(
        "SELECT number, readings, bytes FROM recent
         WHERE number > (SELECT coalesce(max(last_commit), 0) FROM stretch) ORDER BY number",
    )?;
    let mut rows = commits.query([])?;
    while let Some(row) = rows.next()? {
        let readings: u64 = row.get(1)?;
        let mut read = 0;
        for reading in Written::new(row.get_ref(2)?.as_blob()?) {
            read += u64::from(reading.is_ok());
        }
        if read != readings {
            let commit = row.get(0)?;
            return Ok(Some(Broken::Recent { commit }));
        }
        found.readings += read;
    }
    Ok(None)
}
