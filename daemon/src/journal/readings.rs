//! The readings of one channel, over as long a time as wanted, in little memory.

use std::collections::VecDeque;

use rusqlite::{OptionalExtension, params};

use super::fault::ReadError;
use super::number::ChannelNumber;
use super::pack::{PackError, unpack_shown, unpack_times};
use super::reader::Reader;
use super::reading::{Shown, Written};
use crate::time::Micros;

/// A reading of a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChannelReading {
    /// When it was taken.
    pub at: Micros,
    /// What it shows.
    pub shown: Shown,
    /// Whether the engine was fed with it.
    pub fed: bool,
}

/// Readings of a channel in the order in which they were journaled. Those that the engine was fed with
/// are in the order of time; one that came too late stands where it came.
///
/// A block is fetched at a time, and the readings that are not packed yet all at once; in between, nothing is
/// held. Should retention go on meanwhile, what it takes is missing.
#[derive(Debug)]
pub struct ChannelReadings<'a> {
    reader: &'a Reader,
    channel: ChannelNumber,
    from: Micros,
    to: Micros,
    /// The last block that was fetched; after the last one, nothing more.
    block: Option<u64>,
    fetched: VecDeque<ChannelReading>,
}

impl Reader {
    /// The readings of a channel from one time to another, both included.
    pub fn readings(
        &self,
        channel: ChannelNumber,
        from: Micros,
        to: Micros,
    ) -> ChannelReadings<'_> {
        ChannelReadings {
            reader: self,
            channel,
            from,
            to,
            block: Some(0),
            fetched: VecDeque::new(),
        }
    }

    /// The last reading of a channel that is not packed yet, if there is one: what it showed a moment ago.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn latest_reading(
        &self,
        channel: ChannelNumber,
    ) -> Result<Option<ChannelReading>, ReadError> {
        let mut commits = self
            .connection
            .prepare_cached("SELECT bytes FROM recent ORDER BY number DESC LIMIT 10000")?;
        let mut rows = commits.query([])?;
        while let Some(row) = rows.next()? {
            let mut latest = None;
            for reading in Written::new(row.get_ref(0)?.as_blob().map_err(rusqlite::Error::from)?) {
                let reading = reading?;
                if reading.channel == channel && reading.fed {
                    latest = Some(ChannelReading {
                        at: reading.at,
                        shown: reading.shown,
                        fed: true,
                    });
                }
            }
            if latest.is_some() {
                return Ok(latest);
            }
        }
        Ok(None)
    }
}

impl ChannelReadings<'_> {
    /// Fetches until there is something, or nothing more.
    fn fetch(&mut self) -> Result<(), ReadError> {
        while self.fetched.is_empty()
            && let Some(after) = self.block
        {
            // A block and the recent readings are looked at in one moment: between two, readings may move
            // from these to that.
            let moment = self.reader.moment()?;
            self.block = self.fetch_block(after)?;
            if self.block.is_none() {
                self.fetch_recent()?;
            }
            moment.finish()?;
        }
        Ok(())
    }

    fn keep(&mut self, reading: ChannelReading) {
        if reading.at >= self.from && reading.at <= self.to {
            self.fetched.push_back(reading);
        }
    }

    /// The number of the block, if there was one more.
    fn fetch_block(&mut self, after: u64) -> Result<Option<u64>, ReadError> {
        let row = self
            .reader
            .connection
            .prepare_cached(
                "SELECT block.number, stamps.bytes, block.bytes
                 FROM block JOIN stamps ON stamps.number = block.stamps
                 WHERE block.channel = ?1 AND block.number > ?2
                   AND block.last_at >= ?3 AND block.first_at <= ?4
                 ORDER BY block.number LIMIT 1",
            )?
            .query_row(
                params![self.channel, after, self.from.0, self.to.0],
                |row| {
                    Ok((
                        row.get(0)?,
                        row.get::<_, Vec<u8>>(1)?,
                        row.get::<_, Vec<u8>>(2)?,
                    ))
                },
            )
            .optional()?;
        let Some((number, stamps, bytes)) = row else {
            return Ok(None);
        };
        for reading in unpack(&stamps, &bytes)? {
            self.keep(reading);
        }
        Ok(Some(number))
    }

    fn fetch_recent(&mut self) -> Result<(), ReadError> {
        let reader = self.reader;
        let mut commits = reader.connection.prepare_cached(
            "SELECT bytes FROM recent
             WHERE number > (SELECT coalesce(max(last_commit), 0) FROM stretch)
               AND last_at >= ?1 AND first_at <= ?2
             ORDER BY number",
        )?;
        let mut rows = commits.query(params![self.from.0, self.to.0])?;
        while let Some(row) = rows.next()? {
            for reading in Written::new(row.get_ref(0)?.as_blob().map_err(rusqlite::Error::from)?) {
                let reading = reading?;
                if reading.channel == self.channel {
                    self.keep(ChannelReading {
                        at: reading.at,
                        shown: reading.shown,
                        fed: reading.fed,
                    });
                }
            }
        }
        Ok(())
    }
}

/// The readings of a block.
pub(super) fn unpack(stamps: &[u8], bytes: &[u8]) -> Result<Vec<ChannelReading>, PackError> {
    let times = unpack_times(stamps)?;
    let (shown, fed) = unpack_shown(bytes)?;
    if times.len() != shown.len() {
        return Err(PackError::of("times and numbers are not of one length"));
    }
    let readings = times.into_iter().zip(shown).zip(fed);
    Ok(readings
        .map(|((at, shown), fed)| ChannelReading { at, shown, fed })
        .collect())
}

impl Iterator for ChannelReadings<'_> {
    type Item = Result<ChannelReading, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.fetched.is_empty()
            && let Err(error) = self.fetch()
        {
            self.block = None;
            return Some(Err(error));
        }
        self.fetched.pop_front().map(Ok)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::super::{Batch, JournaledReading, Settings, open};
    use super::*;

    #[test]
    fn however_many_readings_there_are_one_block_of_them_is_held() {
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings {
            keep_free: Some(0),
            pack_readings: 2000,
            ..Settings::default()
        };
        let (mut writer, readers) = open(folder.path(), settings).unwrap();
        let channel = writer.channel("probes", "film");
        for part in 0..10 {
            let readings = (0..2000).map(|index| JournaledReading {
                channel,
                at: Micros((part * 2000 + index) * 500_000),
                shown: Shown::Number(index as f64 / 7.0),
                fed: true,
            });
            let batch = Batch {
                readings: readings.collect(),
                checkpoint: Some(vec![0]),
                ..Batch::default()
            };
            writer.commit(&batch).unwrap();
            while writer.tidy(Duration::from_secs(1)).unwrap().more {}
        }
        let reader = readers.reader().unwrap();
        let mut readings = reader.readings(channel, Micros(0), Micros(i64::MAX));
        let (mut all, mut most) = (0, 0);
        while let Some(reading) = readings.next() {
            reading.unwrap();
            all += 1;
            most = most.max(readings.fetched.len());
        }
        assert_eq!(all, 20_000);
        // The first of a block is handed out at once.
        assert!(most < 4000, "{most}");
    }
}
