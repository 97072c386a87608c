//! What can be in the way of a serial port, in sentences.

use std::path::PathBuf;

/// What is in the way, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// Nothing is at the path.
    #[error(
        "there is no serial port {}; plug the adapter in, or correct port in the shop file", .0.display()
    )]
    Missing(PathBuf),
    /// No such adapter is plugged in.
    #[error("{0} is not plugged in; plug it in, or correct usb in the shop file")]
    Unplugged(String),
    /// Several adapters answer to the identity.
    #[error(
        "{name} is plugged in more than once ({ports}); give its serial number as serial in the shop file, or its path as port"
    )]
    Several {
        /// The identity, as a sentence has it.
        name: String,
        /// Paths and serial numbers.
        ports: String,
    },
    /// What is at the path is no device.
    #[error("{} is no serial port; correct port in the shop file", .0.display())]
    NoPort(PathBuf),
    /// Another program has it.
    #[error(
        "the serial port {} is in use by another program; end that program, or give it another port", .0.display()
    )]
    InUse(PathBuf),
    /// The daemon's user may not open it.
    #[error(
        "the serial port {} may not be opened by the daemon's user; add that user to the group dialout (or to the group that owns the port) and start the daemon again", .0.display()
    )]
    Forbidden(PathBuf),
    /// The system refuses it, or its settings.
    #[error(
        "the serial port {} cannot be opened ({why}); see baud, data_bits, parity, stop_bits and flow in the shop file, or plug the adapter out and in", .path.display()
    )]
    Refused {
        /// The path.
        path: PathBuf,
        /// The system's words.
        why: String,
    },
    /// The system does not list its ports.
    #[error(
        "the system does not list its serial ports ({0}); give the port's path as port in the shop file"
    )]
    Unlisted(String),
}
