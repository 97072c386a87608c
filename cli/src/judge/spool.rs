//! What has been found so far, kept back until all was sound.

use std::io::{self, Read, Seek, Write};

use inkdwell_cure::judged::JudgedPass;
use tempfile::SpooledTempFile;

use super::channels::Heading;
use crate::failure::Failure;

/// Kept in memory up to this size, then on disk.
const IN_MEMORY: usize = 1 << 20;

/// Text that goes to memory first, and to a temporary file if there is much of it.
pub(crate) struct Spool(SpooledTempFile);

impl Spool {
    pub(crate) fn new() -> Spool {
        Spool(SpooledTempFile::new(IN_MEMORY))
    }

    /// Adds text.
    pub(crate) fn write(&mut self, text: &str) -> Result<(), Failure> {
        self.0
            .write_all(text.as_bytes())
            .map_err(|error| no_room(&error))
    }

    /// Adds all of another spool.
    pub(crate) fn append(&mut self, other: Spool) -> Result<(), Failure> {
        let mut other = other.into_reader()?;
        io::copy(&mut other, &mut self.0)
            .map(|_| ())
            .map_err(|error| no_room(&error))
    }

    /// All of it, from the start.
    pub(crate) fn into_reader(mut self) -> Result<impl Read, Failure> {
        self.0.rewind().map_err(|error| no_room(&error))?;
        Ok(self.0)
    }
}

fn no_room(error: &io::Error) -> Failure {
    let what = format_args!("cannot be used ({error})");
    Failure::of_file(
        std::env::temp_dir().display(),
        what,
        "make room for temporary files",
    )
}

/// A way of writing what was found. Passes of a file's channels come interleaved, so that each channel
/// has a spool of its own until the file ends.
pub(crate) trait Writer {
    /// Before the first file.
    fn begin(&mut self, spool: &mut Spool) -> Result<(), Failure>;
    /// Between two things in one spool.
    fn separator(&self) -> &'static str;
    /// Before the passes of a channel, if it has any.
    fn heading(&mut self, spool: &mut Spool, heading: &Heading) -> Result<(), Failure>;
    /// One pass.
    fn pass(
        &mut self,
        spool: &mut Spool,
        heading: &Heading,
        pass: &JudgedPass,
    ) -> Result<(), Failure>;
    /// After the last file.
    fn end(&mut self, spool: &mut Spool) -> Result<(), Failure>;
}
