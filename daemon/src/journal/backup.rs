//! A copy of the journal, made while it is written.
//!
//! The copy is of one moment. It is made with SQLite's online backup, into a file that lies beside its
//! final name until it is whole and on the disk; then it is one file that needs no other beside it.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};

use super::reader::Reader;

/// So many pages are copied at a time.
const PAGES: i32 = 2048;
/// How long to wait where a page cannot be had at once.
const WAIT: Duration = Duration::from_millis(20);
/// So many waits in a row are enough.
const MOST_WAITS: u32 = 1500;

/// A backup that was not made; nothing is left of it.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// There is a file of that name.
    #[error("{}: there is a file of this name; a backup overwrites nothing, so name another", .0.display())]
    Exists(PathBuf),
    /// The file cannot be written.
    #[error("{}: the backup cannot be written ({error}); check the folder, its rights and its disk", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// Why.
        error: io::Error,
    },
    /// The journal cannot be read, or the copy cannot be written.
    #[error("{}: the backup cannot be made ({error}); check the journal and the disk", file.display())]
    Storage {
        /// The file.
        file: PathBuf,
        /// Why.
        error: rusqlite::Error,
    },
    /// Somebody else has locked the journal for too long.
    #[error("the journal stays locked by another program; end that one and try again")]
    Locked,
}

/// How far it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BackupProgress {
    /// Pages that are copied, …
    pub done: u64,
    /// … of so many.
    pub total: u64,
}

/// Takes the file away again, unless it is kept.
struct Unfinished {
    file: PathBuf,
    kept: bool,
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        if !self.kept {
            // What cannot be taken away is a file that ends in .unfinished, which nobody takes for a backup.
            let _ = fs::remove_file(&self.file);
            let _ = fs::remove_file(with_ending(&self.file, "-journal"));
        }
    }
}

fn with_ending(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

impl Reader {
    /// Copies the journal, as it is at this moment, into a new file. When it returns, the copy is on the disk.
    ///
    /// # Errors
    /// When there is a file of that name, or the copy cannot be made.
    pub fn backup(
        &self,
        into: &Path,
        mut progress: impl FnMut(BackupProgress),
    ) -> Result<(), BackupError> {
        let failed = |error| BackupError::File {
            file: into.to_owned(),
            error,
        };
        if into.try_exists().map_err(failed)? {
            return Err(BackupError::Exists(into.to_owned()));
        }
        let mut unfinished = Unfinished {
            file: with_ending(into, ".unfinished"),
            kept: false,
        };
        create(&unfinished.file).map_err(failed)?;
        self.copy(&unfinished.file, &mut progress)?;
        File::open(&unfinished.file)
            .and_then(|file| file.sync_all())
            .map_err(failed)?;
        // A second name, and then one less: this way a file that has come there meanwhile is not lost.
        match fs::hard_link(&unfinished.file, into) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                return Err(BackupError::Exists(into.to_owned()));
            }
            // Some file systems know no second names.
            Err(_) => {
                fs::rename(&unfinished.file, into).map_err(failed)?;
                unfinished.kept = true;
            }
        }
        drop(unfinished);
        sync_folder(into).map_err(failed)
    }

    fn copy(
        &self,
        into: &Path,
        progress: &mut dyn FnMut(BackupProgress),
    ) -> Result<(), BackupError> {
        let storage = |error| BackupError::Storage {
            file: into.to_owned(),
            error,
        };
        let mut copy = Connection::open(into).map_err(storage)?;
        // Holding one moment, the copy need not begin anew whenever something is committed.
        let moment = self.moment().map_err(storage)?;
        moment
            .query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))
            .map_err(storage)?;
        copy_pages(&moment, &mut copy, progress, storage)?;
        // Without a log beside it, and with its mark in place.
        copy.pragma_update(None, "journal_mode", "DELETE")
            .map_err(storage)?;
        copy.close().map_err(|(_, error)| storage(error))
    }
}

fn copy_pages(
    from: &Connection,
    into: &mut Connection,
    progress: &mut dyn FnMut(BackupProgress),
    storage: impl Fn(rusqlite::Error) -> BackupError,
) -> Result<(), BackupError> {
    let backup = Backup::new(from, into).map_err(&storage)?;
    let mut waits = 0;
    loop {
        match backup.step(PAGES).map_err(&storage)? {
            StepResult::Done => return Ok(()),
            StepResult::More => waits = 0,
            _ => {
                waits += 1;
                if waits > MOST_WAITS {
                    return Err(BackupError::Locked);
                }
                std::thread::sleep(WAIT);
            }
        }
        let pages = backup.progress();
        let total = u64::try_from(pages.pagecount).unwrap_or(0);
        let left = u64::try_from(pages.remaining).unwrap_or(0);
        progress(BackupProgress {
            done: total.saturating_sub(left),
            total,
        });
    }
}

/// For its owner alone: there are names of people and jobs in it.
fn create(file: &Path) -> io::Result<()> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    match options.open(file) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            // Left behind by a backup that was killed.
            fs::remove_file(file)?;
            options.open(file).map(drop)
        }
        opened => opened.map(drop),
    }
}

fn sync_folder(file: &Path) -> io::Result<()> {
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}
