//! MQTT on one connection: packets in and out, of version 3.1.1 or 5 alike. Sources and sinks share it.
//!
//! Packets are read and written by the library's codec, but when to read and when to write is decided by whoever
//! holds the [`Wire`]: while the daemon can take nothing, nothing is read, and the broker is still told that we
//! live; and acknowledgements of one commit leave together. Nothing is kept from one connection to the next: the
//! journal knows what was not acknowledged.

mod head;
mod incoming;
mod lost;
mod outgoing;

use std::time::Duration;

use bytes::{Buf, BytesMut};
use inkdwell_config::shop::MqttVersion;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

use self::head::{Head, Passing};
pub(crate) use self::incoming::{Accepted, Grant, Incoming, Message};
pub(crate) use self::lost::Lost;
pub(crate) use self::outgoing::{Hello, Publication, Session, Wish};
use crate::broker::Stream;

/// A larger packet is passed over.
pub(crate) const LARGEST_PACKET: usize = 64 * 1024;
/// So many bytes are read at once.
const READ_AT_ONCE: usize = 64 * 1024;
/// A broker that takes nothing for so long is gone.
const WRITE_WITHIN: Duration = Duration::from_secs(15);

/// A connection. Dropped, it is broken off without a word.
pub(crate) struct Wire {
    stream: Stream,
    version: MqttVersion,
    incoming: BytesMut,
    outgoing: BytesMut,
    passing: Option<Passing>,
}

impl Wire {
    pub(crate) fn new(stream: Stream, version: MqttVersion) -> Wire {
        Wire {
            stream,
            version,
            incoming: BytesMut::new(),
            outgoing: BytesMut::new(),
            passing: None,
        }
    }

    /// Waits until bytes came. It may be dropped at any moment; no byte is lost.
    pub(crate) async fn read(&mut self) -> Result<(), Lost> {
        self.incoming.reserve(READ_AT_ONCE);
        match self.stream.read_buf(&mut self.incoming).await {
            Ok(0) => Err(Lost::Closed),
            Ok(_) => Ok(()),
            Err(error) => Err(Lost::Broken(error.to_string())),
        }
    }

    /// The next whole packet of what has been read.
    pub(crate) fn next(&mut self) -> Result<Option<Incoming>, Lost> {
        loop {
            if let Some(passing) = &mut self.passing {
                let passed = passing.left.min(self.incoming.len());
                self.incoming.advance(passed);
                passing.left -= passed;
                if passing.left > 0 {
                    return Ok(None);
                }
                let packet = passing.packet;
                self.passing = None;
                return Ok(Some(Incoming::TooLarge(packet)));
            }
            let Some(head) = Head::of(&self.incoming)? else {
                return Ok(None);
            };
            if head.remaining > LARGEST_PACKET {
                self.passing = head.passing(&self.incoming)?;
                if self.passing.is_none() {
                    return Ok(None);
                }
                continue;
            }
            if self.incoming.len() < head.whole() {
                return Ok(None);
            }
            let frame = self.incoming.split_to(head.whole());
            return Incoming::of(self.version, frame, head).map(Some);
        }
    }

    /// Sends what was put. (Not to be dropped before it ends: half a packet would have left.)
    pub(crate) async fn flush(&mut self) -> Result<(), Lost> {
        if self.outgoing.is_empty() {
            return Ok(());
        }
        let sending = async {
            self.stream.write_all_buf(&mut self.outgoing).await?;
            self.stream.flush().await
        };
        match timeout(WRITE_WITHIN, sending).await {
            Err(_) => Err(Lost::Silent),
            Ok(Err(error)) => Err(Lost::Broken(error.to_string())),
            Ok(Ok(())) => Ok(()),
        }
    }
}
