//! What was committed after a place in the journal: records with their hashes, and readings, a piece at a time.

use rusqlite::{OptionalExtension, params};

use super::chain::Hash;
use super::fault::ReadError;
use super::number::{ChannelNumber, CommitNumber, RecordNumber};
use super::reader::Reader;
use super::reading::{JournaledReading, Written};
use super::readings::unpack;
use super::records::{KeptRecord, record_of};

/// So many commits are looked through at a time for readings.
const COMMITS_AT_A_TIME: u64 = 1024;

/// A record with the hash by which the whole world may know it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChainedRecord {
    /// The record.
    pub kept: KeptRecord,
    /// Its link in the chain of records.
    pub hash: Hash,
}

impl Reader {
    /// The records after one, in the order of their numbers, each with its hash.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn records_after(
        &self,
        number: RecordNumber,
        most: u64,
    ) -> Result<Vec<ChainedRecord>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT number, at, body, hash FROM record WHERE number > ?1 ORDER BY number LIMIT ?2",
        )?;
        let mut rows = statement.query(params![number, most])?;
        let mut records = Vec::new();
        while let Some(row) = rows.next()? {
            let hash = row.get_ref(3)?.as_blob().map_err(rusqlite::Error::from)?;
            records.push(ChainedRecord {
                kept: record_of(row)?,
                hash: Hash::of_column(hash).unwrap_or_default(),
            });
        }
        Ok(records)
    }

    /// Goes over readings that were committed after a commit and up to another, a piece at a time: a stretch of packed readings
    /// channel by channel, or the next thousand commits or so. Within a piece the readings of a channel come in
    /// their order. Gives back the last commit that was gone over; `None` where there is nothing more. What
    /// retention has forgotten is missing.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn readings_after(
        &self,
        commit: CommitNumber,
        to: CommitNumber,
        each: &mut dyn FnMut(JournaledReading),
    ) -> Result<Option<CommitNumber>, ReadError> {
        let moment = self.moment()?;
        let packed = moment
            .prepare_cached(
                "SELECT number, last_commit FROM stretch WHERE last_commit > ?1
                 ORDER BY number LIMIT 1",
            )?
            .query_row([commit], |row| Ok((row.get::<_, u64>(0)?, row.get(1)?)))
            .optional()?;
        if let Some((stretch, last)) = packed {
            self.packed_readings(stretch, each)?;
            return Ok(Some(last));
        }
        let mut statement = moment.prepare_cached(
            "SELECT number, bytes FROM recent WHERE number > ?1 AND number <= ?2
             ORDER BY number LIMIT ?3",
        )?;
        let mut rows = statement.query(params![commit, to, COMMITS_AT_A_TIME])?;
        let mut last = None;
        while let Some(row) = rows.next()? {
            last = Some(row.get(0)?);
            for reading in Written::new(row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?) {
                each(reading?);
            }
        }
        Ok(last)
    }

    fn packed_readings(
        &self,
        stretch: u64,
        each: &mut dyn FnMut(JournaledReading),
    ) -> Result<(), ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT block.channel, stamps.bytes, block.bytes
             FROM block JOIN stamps ON stamps.number = block.stamps
             WHERE block.stretch = ?1 ORDER BY block.number",
        )?;
        let mut rows = statement.query([stretch])?;
        while let Some(row) = rows.next()? {
            let channel: ChannelNumber = row.get(0)?;
            let blob = |place| {
                let bytes = row.get_ref(place)?.as_blob();
                Ok::<_, ReadError>(bytes.map_err(rusqlite::Error::from)?)
            };
            for reading in unpack(blob(1)?, blob(2)?)? {
                each(JournaledReading {
                    channel,
                    at: reading.at,
                    shown: reading.shown,
                    fed: reading.fed,
                });
            }
        }
        Ok(())
    }
}
