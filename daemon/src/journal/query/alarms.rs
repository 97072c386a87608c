//! Alarms, as they stand by what was recorded of each last.

use rusqlite::params;

use super::super::fault::ReadError;
use super::super::reader::Reader;
use super::super::records::{KeptRecord, record_of};

impl Reader {
    /// The last record of each alarm that is not normal, by the alarm's name.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn standing_alarms(&self) -> Result<Vec<KeptRecord>, ReadError> {
        let mut alarms = self.connection.prepare_cached(
            "SELECT record.number, record.at, record.body FROM alarm
             JOIN record ON record.number = alarm.record
             WHERE alarm.state <> 'normal' ORDER BY alarm.id",
        )?;
        let mut rows = alarms.query([])?;
        let mut standing = Vec::new();
        while let Some(row) = rows.next()? {
            standing.push(record_of(row)?);
        }
        Ok(standing)
    }

    /// What has happened to alarms, newest first: so many at most, before a record, of one alarm or all. An
    /// alarm's name without its id stands for it wherever it is.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn alarm_history(
        &self,
        alarm: Option<&str>,
        most: u64,
    ) -> Result<Vec<KeptRecord>, ReadError> {
        let mut records = self.connection.prepare_cached(
            "SELECT number, at, body FROM record
             WHERE kind = 'alarm-changed' AND (?1 IS NULL OR body ->> 'alarm' = ?1
                   OR substr(body ->> 'alarm', 1, length(?1) + 1) = ?1 || '@')
             ORDER BY at DESC, number DESC LIMIT ?2",
        )?;
        let mut rows = records.query(params![alarm, most])?;
        let mut history = Vec::new();
        while let Some(row) = rows.next()? {
            history.push(record_of(row)?);
        }
        Ok(history)
    }
}
