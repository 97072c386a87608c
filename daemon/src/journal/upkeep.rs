//! Upkeep between commits: packing what is old, deleting what is packed, shortening the log, and forgetting
//! readings that nobody wants any more.
//!
//! Nothing here is in a hurry. Each piece of work is small, so that a commit never waits for long, and each is
//! wholly done or not at all: after a crash it begins anew.

use std::time::{Duration, Instant};

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::fault::CommitError;
use super::number::StretchNumber;
use super::reading::Written;
use super::stretch::{Gathered, Packing};
use super::writer::{Settings, Writer};
use crate::time::Micros;

/// So many commits are sorted or deleted at a time, …
const COMMITS: u64 = 256;
/// … but no more once they have so many readings.
const READINGS: u64 = 20_000;
/// The log is moved into the file when it is about this long, in pages.
const LONG_LOG: u64 = 1000;

/// How far packing is.
#[derive(Debug)]
pub(super) struct Sealing {
    /// Commits to this one lie in stretches.
    through: u64,
    /// Whether some of them still lie among the recent ones.
    rubbish: bool,
    /// Readings of later commits.
    waiting: u64,
    /// The first time among them.
    oldest: Option<Micros>,
    /// The last time of the last commit with readings.
    newest: Micros,
    /// Of the waiting readings, those that an engine snapshot covers, and the last time then.
    covered: (u64, Micros),
    work: Work,
}

#[derive(Debug)]
enum Work {
    None,
    Gathering(Gathered),
    Packing(Packing),
    Packed(Packing),
}

/// What upkeep has done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tidied {
    /// Whether there is more to do now.
    pub more: bool,
}

/// What has been forgotten.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Forgotten {
    /// Stretches.
    pub stretches: u64,
    /// Readings in them.
    pub readings: u64,
    /// Whether there is more to forget.
    pub more: bool,
}

impl Sealing {
    pub(super) fn take_up(connection: &Connection) -> rusqlite::Result<Sealing> {
        let single = |sql: &str| connection.query_row(sql, [], |row| row.get::<_, u64>(0));
        let through = single("SELECT coalesce(max(last_commit), 0) FROM stretch")?;
        let first = single("SELECT coalesce(min(number), 0) FROM recent")?;
        let checkpoint = single("SELECT coalesce(max(commit_number), 0) FROM checkpoint")?;
        let count = |to: i64| {
            let sql = "SELECT coalesce(sum(readings), 0), coalesce(max(last_at), 0) FROM recent
                       WHERE number > ?1 AND number <= ?2";
            connection.query_row(sql, params![through, to], |row| {
                Ok((row.get(0)?, Micros(row.get(1)?)))
            })
        };
        let (waiting, newest) = count(i64::MAX)?;
        Ok(Sealing {
            through,
            rubbish: first > 0 && first <= through,
            waiting,
            oldest: oldest(connection, through)?,
            newest,
            covered: count(i64::try_from(checkpoint).unwrap_or(i64::MAX))?,
            work: Work::None,
        })
    }

    /// So many readings have been committed.
    pub(super) fn note(&mut self, readings: u64, last_at: Micros) {
        self.waiting += readings;
        self.newest = last_at;
        self.oldest.get_or_insert(last_at);
    }

    /// The engine's state was committed: what was before can be packed.
    pub(super) fn note_checkpoint(&mut self) {
        self.covered = (self.waiting, self.newest);
    }

    fn is_ripe(&self, settings: &Settings) -> bool {
        let (readings, newest) = self.covered;
        let old = |oldest: Micros| {
            newest.0.saturating_sub(oldest.0) as f64 / 1e6 >= settings.pack_after.as_secs_f64()
        };
        readings >= settings.pack_readings.max(1) || (readings > 0 && self.oldest.is_some_and(old))
    }
}

fn oldest(connection: &Connection, after: u64) -> rusqlite::Result<Option<Micros>> {
    let sql = "SELECT first_at FROM recent WHERE number > ?1 ORDER BY number LIMIT 1";
    let first = connection.query_row(sql, [after], |row| row.get(0).map(Micros));
    first.optional()
}

impl Writer {
    /// Does upkeep for about as long as `budget`: call it between commits. A single piece of work may take
    /// some milliseconds longer. Sees to it that readings are packed once they are old enough and the
    /// engine's state was committed after them, and that the log does not grow without end.
    ///
    /// # Errors
    /// As [`Writer::commit`]; nothing is lost, and the next call goes on.
    pub fn tidy(&mut self, budget: Duration) -> Result<Tidied, CommitError> {
        let begun = Instant::now();
        loop {
            if !self.tidy_step()? {
                return Ok(Tidied { more: false });
            }
            if begun.elapsed() >= budget {
                return Ok(Tidied { more: true });
            }
        }
    }

    /// One piece of work; `false` where there is none.
    fn tidy_step(&mut self) -> Result<bool, CommitError> {
        if self.log_pages >= LONG_LOG {
            self.move_log("PASSIVE")?;
            return Ok(true);
        }
        if self.sealing.rubbish {
            self.delete_packed()?;
            return Ok(true);
        }
        match std::mem::replace(&mut self.sealing.work, Work::None) {
            Work::None => {
                if !self.sealing.is_ripe(&self.settings) {
                    return Ok(false);
                }
                self.sealing.work = Work::Gathering(Gathered::after(self.sealing.through));
            }
            Work::Gathering(gathered) => self.sealing.work = self.gather(gathered)?,
            Work::Packing(mut packing) => {
                let more = packing.step()?;
                self.sealing.work = match more {
                    true => Work::Packing(packing),
                    false => Work::Packed(packing),
                };
            }
            Work::Packed(packing) => self.write_stretch(packing)?,
        }
        Ok(true)
    }

    /// Sorts some commits more.
    fn gather(&self, mut gathered: Gathered) -> Result<Work, CommitError> {
        let mut commits = self.connection.prepare_cached(
            "SELECT number, bytes FROM recent WHERE number > ?1 AND number <= ?2
             ORDER BY number LIMIT ?3",
        )?;
        let mut rows = commits.query(params![gathered.last_commit, self.checkpoint, COMMITS])?;
        let enough = self.settings.pack_readings.max(1);
        let enough = enough.min(gathered.readings + READINGS);
        let mut found = false;
        while gathered.readings < enough
            && let Some(row) = rows.next()?
        {
            found = true;
            gathered.last_commit = row.get(0)?;
            let bytes = row.get_ref(1)?.as_blob().map_err(rusqlite::Error::from)?;
            for reading in Written::new(bytes) {
                gathered.add(reading?);
            }
        }
        if found {
            Ok(Work::Gathering(gathered))
        } else if gathered.readings > 0 {
            Ok(Work::Packing(Packing::of(gathered)))
        } else {
            Ok(Work::None)
        }
    }

    fn write_stretch(&mut self, packing: Packing) -> Result<(), CommitError> {
        let written = self.try_write_stretch(&packing);
        if written.is_err() {
            self.sealing.work = Work::Packed(packing);
            return written;
        }
        let sealing = &mut self.sealing;
        sealing.through = packing.last_commit();
        sealing.rubbish = true;
        sealing.waiting = sealing.waiting.saturating_sub(packing.readings());
        sealing.covered.0 = sealing.covered.0.saturating_sub(packing.readings());
        sealing.oldest = oldest(&self.connection, sealing.through)?;
        Ok(())
    }

    fn try_write_stretch(&mut self, packing: &Packing) -> Result<(), CommitError> {
        let before = self.stretches;
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let after = packing.write(&transaction, before)?;
        transaction.commit()?;
        self.stretches = after;
        self.log_pages += packing.readings() / 1024;
        Ok(())
    }

    /// Deletes some of the commits whose readings lie in stretches.
    fn delete_packed(&mut self) -> Result<(), CommitError> {
        let mut commits = self.connection.prepare_cached(
            "SELECT number, readings FROM recent WHERE number <= ?1 ORDER BY number LIMIT ?2",
        )?;
        let mut rows = commits.query(params![self.sealing.through, COMMITS])?;
        let (mut to, mut readings) = (None, 0);
        while readings < READINGS
            && let Some(row) = rows.next()?
        {
            to = Some(row.get::<_, u64>(0)?);
            readings += row.get::<_, u64>(1)?;
        }
        drop(rows);
        let Some(to) = to else {
            self.sealing.rubbish = false;
            return Ok(());
        };
        self.connection
            .prepare_cached("DELETE FROM recent WHERE number <= ?1")?
            .execute([to])?;
        self.log_pages += COMMITS / 16 + readings / 1024;
        Ok(())
    }

    /// Moves what is in the log into the file. Readers that are at work keep back what they may still need;
    /// the rest is moved the next time.
    fn move_log(&mut self, how: &str) -> Result<(), CommitError> {
        self.log_pages = 0;
        let sql = format!("PRAGMA wal_checkpoint({how})");
        self.connection.query_row(&sql, [], |_| Ok(()))?;
        Ok(())
    }

    /// Gives back what the log takes on a full disk, if it can.
    pub(super) fn shorten_log(&mut self) {
        // Where even this finds no room, the next commit says so again.
        let _ = self.move_log("TRUNCATE");
    }

    /// Forgets readings that lie in stretches which ended before a time, oldest first, for about as long as
    /// `budget`. Evidence stays, and so do the stretches' hashes.
    ///
    /// # Errors
    /// As [`Writer::commit`]; each stretch is forgotten wholly or not at all.
    pub fn forget_readings_before(
        &mut self,
        cutoff: Micros,
        budget: Duration,
    ) -> Result<Forgotten, CommitError> {
        let begun = Instant::now();
        let mut forgotten = Forgotten::default();
        while let Some((stretch, readings)) = self.oldest_kept(cutoff)? {
            if forgotten.stretches > 0 && begun.elapsed() >= budget {
                forgotten.more = true;
                break;
            }
            self.forget(stretch)?;
            forgotten.stretches += 1;
            forgotten.readings += readings;
        }
        Ok(forgotten)
    }

    fn oldest_kept(&self, cutoff: Micros) -> rusqlite::Result<Option<(StretchNumber, u64)>> {
        self.connection
            .prepare_cached(
                "SELECT number, readings FROM
                 (SELECT number, readings, last_at FROM stretch WHERE forgotten = 0
                  ORDER BY number LIMIT 1)
                 WHERE last_at < ?1",
            )?
            .query_row([cutoff.0], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()
    }

    fn forget(&mut self, stretch: StretchNumber) -> Result<(), CommitError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let deleted = transaction
            .prepare_cached("DELETE FROM block WHERE stretch = ?1")?
            .execute([stretch])?
            + transaction
                .prepare_cached("DELETE FROM stamps WHERE stretch = ?1")?
                .execute([stretch])?;
        transaction
            .prepare_cached("UPDATE stretch SET forgotten = 1 WHERE number = ?1")?
            .execute([stretch])?;
        transaction.commit()?;
        self.log_pages += 4 * deleted as u64;
        Ok(())
    }
}
