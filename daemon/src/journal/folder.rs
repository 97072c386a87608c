//! The data folder: made, locked, and watched for room.

use std::fs::{self, DirBuilder, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

use super::fault::OpenError;

/// The journal's name in its folder.
pub(super) const JOURNAL: &str = "journal.sqlite";
/// Locked by the one daemon that writes.
const LOCK: &str = "lock";
/// As much as this stays free on the disk, …
const RESERVE: u64 = 64_000_000;
/// … but not more than this part of it.
const RESERVE_PART: u64 = 50;

/// A data folder of one's own. It is free again when this is dropped, also by a crash.
#[derive(Debug)]
pub(super) struct Folder {
    path: PathBuf,
    floor: u64,
    /// Holds the lock.
    _lock: File,
}

impl Folder {
    /// Makes it where it is absent, for its owner alone, and locks it.
    pub(super) fn take(path: &Path, keep_free: Option<u64>) -> Result<Folder, OpenError> {
        let failed = |error| OpenError::Folder {
            folder: path.to_owned(),
            error,
        };
        make(path).map_err(failed)?;
        let mut lock = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path.join(LOCK))
            .map_err(failed)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(OpenError::Locked {
                    folder: path.to_owned(),
                    process: holder(&mut lock),
                });
            }
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        // On a full disk the number may be missing; the lock holds all the same.
        let _ = write_holder(&mut lock);
        let floor = keep_free.unwrap_or_else(|| {
            let size = fs4::total_space(path).unwrap_or(u64::MAX);
            RESERVE.min(size / RESERVE_PART)
        });
        Ok(Folder {
            path: path.to_owned(),
            floor,
            _lock: lock,
        })
    }

    /// The journal's file.
    pub(super) fn journal(&self) -> PathBuf {
        self.path.join(JOURNAL)
    }

    /// Bytes that are to stay free.
    pub(super) fn floor(&self) -> u64 {
        self.floor
    }

    /// Bytes that are free, if they are fewer than are to stay.
    pub(super) fn too_little_room(&self) -> Option<u64> {
        let free = fs4::available_space(&self.path).ok()?;
        (free < self.floor).then_some(free)
    }
}

fn make(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        return Ok(());
    }
    if let Some(above) = path.parent() {
        fs::create_dir_all(above)?;
    }
    let mut builder = DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

fn write_holder(lock: &mut File) -> io::Result<()> {
    lock.set_len(0)?;
    lock.rewind()?;
    writeln!(lock, "{}", std::process::id())
}

fn holder(lock: &mut File) -> Option<u32> {
    let mut text = String::new();
    lock.take(20).read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}
