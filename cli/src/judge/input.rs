//! The bytes of a trace file, gone over twice.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use tempfile::SpooledTempFile;

use super::call::Named;
use crate::failure::Failure;

/// What does not come from a plain file is kept in memory up to this size, then on disk.
const IN_MEMORY: usize = 8 << 20;

/// A file that can be read again from its start.
pub(super) enum Input {
    File(File),
    Spooled(SpooledTempFile),
}

impl Input {
    /// Opens a file, or takes in all of a stream that cannot be read twice.
    pub(super) fn open(named: &Named) -> Result<Input, Failure> {
        let refused = |error: &io::Error| {
            let remedy = "check its name and its rights";
            Failure::of_file(
                &named.shown,
                format_args!("cannot be read ({error})"),
                remedy,
            )
        };
        let Some(path) = &named.path else {
            return spool(&mut io::stdin().lock()).map_err(|error| refused(&error));
        };
        let mut file = File::open(path).map_err(|error| refused(&error))?;
        let kind = file
            .metadata()
            .map_err(|error| refused(&error))?
            .file_type();
        if kind.is_dir() {
            return Err(Failure::of_file(
                &named.shown,
                "is a folder",
                "name the files in it",
            ));
        }
        if kind.is_file() {
            return Ok(Input::File(file));
        }
        spool(&mut file).map_err(|error| refused(&error))
    }

    /// Goes back to the start.
    pub(super) fn rewind(&mut self) -> io::Result<()> {
        match self {
            Input::File(file) => file.seek(SeekFrom::Start(0)).map(|_| ()),
            Input::Spooled(spool) => spool.rewind(),
        }
    }
}

fn spool(from: &mut impl Read) -> io::Result<Input> {
    let mut spool = SpooledTempFile::new(IN_MEMORY);
    io::copy(from, &mut spool)?;
    spool.rewind()?;
    Ok(Input::Spooled(spool))
}

impl Read for Input {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        match self {
            Input::File(file) => file.read(bytes),
            Input::Spooled(spool) => spool.read(bytes),
        }
    }
}
