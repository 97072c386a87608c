//! The journal: one SQLite file that holds everything that was seen and found.
//!
//! # How it is used
//!
//! [`open`] gives the one [`Writer`] of a data folder and the [`Readers`], from which every thread takes a
//! [`Reader`] of its own. The engine task hands the writer one [`Batch`] after another: readings in the order
//! in which the engine was fed, the records of what it found, the marks of the messages that brought them,
//! and now and then the engine's state. [`Writer::commit`] writes all of a batch or nothing; when it returns,
//! a pulled plug loses nothing of it. Between commits, [`Writer::tidy`] does the upkeep, in small pieces.
//!
//! ```
//! use inkdwell_daemon::journal::{self, Batch, JournaledReading, Settings, Shown};
//! use inkdwell_daemon::time::Micros;
//! # let folder = tempfile::tempdir().unwrap();
//! # let folder = folder.path();
//!
//! let (mut writer, readers) = journal::open(folder, Settings::default())?;
//! let channel = writer.channel("probes", "film");
//! let reading = JournaledReading {
//!     channel,
//!     at: Micros(1_790_000_000_000_000),
//!     shown: Shown::Number(161.3),
//!     fed: true,
//! };
//! writer.commit(&Batch { readings: vec![reading], ..Batch::default() })?;
//!
//! let reader = readers.reader()?;
//! let mut kept = reader.readings(channel, Micros(0), Micros(i64::MAX));
//! assert_eq!(kept.next().transpose()?.map(|kept| kept.at), Some(reading.at));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # The way of a reading
//!
//! A commit's readings lie together as one small blob ([`reading`]), in the order in which they were fed: a
//! replay needs it. Once they are an hour old, or many, and the engine's state was committed after them,
//! they are sorted by channel and packed into a *stretch* of blocks: exactly, in less than three bytes each.
//! A stretch has a digest and a place in a chain of hashes. Retention forgets whole stretches
//! ([`Writer::forget_readings_before`]); their hashes stay.
//!
//! # Evidence
//!
//! Records ([`crate::record`]) are written once. Each one's hash is made over the hash of the one before
//! ([`chain`]); [`Reader::verify`] goes over both chains and names the first broken link. What is asked of
//! passes, batches, holds and the like is answered from tables that are made from the records in the same
//! transaction, and can be made again from them.
//!
//! # Durability
//!
//! The file is in WAL mode with `synchronous = FULL`: a commit is on the disk when it is reported. One
//! process writes, which a lock in the folder sees to; readers wait for nobody. Where the disk is full,
//! commits fail with [`CommitError::Full`] and change nothing; the same batch goes in once there is room.

mod after;
mod backup;
pub mod chain;
mod commit;
mod fault;
mod folder;
mod names;
mod number;
mod outbox;
mod pack;
mod project;
mod query;
mod reader;
pub mod reading;
mod readings;
mod records;
mod replay;
mod schema;
mod stretch;
mod upkeep;
mod verify;
mod writer;

#[cfg(test)]
mod tests;

pub use after::ChainedRecord;
pub use backup::{BackupError, BackupProgress};
pub use chain::{Hash, Head};
pub use commit::{Batch, Committed};
pub use fault::{CommitError, OpenError, ReadError};
pub use names::OTHER;
pub use number::{
    AsideNumber, ChannelNumber, CommitNumber, RecordNumber, SourceNumber, StretchNumber, WordNumber,
};
pub use outbox::{AsideCounts, Asides, ForgottenReadings, KeptAside, SetAside, Standing};
pub use pack::PackError;
pub use query::{
    Batches, Holds, KeptBatch, KeptCalibration, KeptEvent, KeptHold, KeptPass, KeptRecipe,
    KeptShop, PassQuery, VerdictCount,
};
pub use reader::{Checkpoint, KnownChannel, Reader, Readers, Sizes};
pub use reading::{Garbled, JournaledReading, Shown};
pub use readings::{ChannelReading, ChannelReadings};
pub use records::{KeptRecord, RecordQuery, Records};
pub use replay::{Replay, ReplayedCommit};
pub use upkeep::{Forgotten, Tidied};
pub use verify::{Broken, Verification, VerifyProgress};
pub use writer::{NextNumbers, Settings, Writer, open};
