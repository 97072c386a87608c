//! The wire between the protocol and the world, where it can be listened to.
//!
//! The protocol's library owns its wire and says little of what came. A tap is a wire that several may
//! hold: it counts what comes, remembers why the wire was lost, and lets stray bytes be thrown away.

use std::fmt;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard};
use std::task::{Context, Poll};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::Instant;

use crate::source::port::Wire;

/// A wire that several may hold. It is closed when the last of them is dropped.
#[derive(Clone)]
pub(super) struct Tap(Arc<Mutex<Tapped>>);

struct Tapped {
    wire: Box<dyn Wire>,
    /// Bytes that came since they were last asked for.
    came: u64,
    /// When something last came or went.
    used: Instant,
    lost: Option<String>,
}

impl Drop for Tapped {
    fn drop(&mut self) {
        self.wire.discard_output();
    }
}

impl Tap {
    pub(super) fn new(wire: Box<dyn Wire>) -> Tap {
        Tap(Arc::new(Mutex::new(Tapped {
            wire,
            came: 0,
            used: Instant::now(),
            lost: None,
        })))
    }

    fn lock(&self) -> MutexGuard<'_, Tapped> {
        // Nothing panics while it is held; and if it did, the wire would still be a wire.
        self.0
            .lock()
            .unwrap_or_else(|poisoned| poisoned.into_inner())
    }

    /// Throws away what has come by now; says how many bytes that were.
    pub(super) async fn discard_input(&self) -> u64 {
        self.lock().came = 0;
        let mut scrap = [0; 256];
        std::future::poll_fn(|context| {
            loop {
                let mut buffer = ReadBuf::new(&mut scrap);
                match self.lock().read(context, &mut buffer) {
                    Poll::Ready(Ok(())) if !buffer.filled().is_empty() => {}
                    // Why it was lost is remembered.
                    Poll::Ready(_) | Poll::Pending => return Poll::Ready(()),
                }
            }
        })
        .await;
        std::mem::take(&mut self.lock().came)
    }

    /// How many bytes have come since input was last discarded, and when something last came or went.
    pub(super) fn came(&self) -> (u64, Instant) {
        let tapped = self.lock();
        (tapped.came, tapped.used)
    }

    /// Why the wire is lost; `None` as long as it is not.
    pub(super) fn lost(&self) -> Option<String> {
        self.lock().lost.clone()
    }
}

impl Tapped {
    fn read(
        &mut self,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let (before, room) = (buffer.filled().len(), buffer.remaining());
        let read = Pin::new(&mut self.wire).poll_read(context, buffer);
        let count = buffer.filled().len() - before;
        match &read {
            Poll::Ready(Ok(())) if count == 0 && room > 0 => {
                self.lost = Some("the other end hung up".to_owned());
            }
            Poll::Ready(Ok(())) => {
                self.came += count as u64;
                self.used = Instant::now();
            }
            Poll::Ready(Err(error)) => self.lost = Some(error.to_string()),
            Poll::Pending => {}
        }
        read
    }

    fn write(&mut self, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.wire).poll_write(context, bytes);
        match &written {
            Poll::Ready(Ok(_)) => self.used = Instant::now(),
            Poll::Ready(Err(error)) => self.lost = Some(error.to_string()),
            Poll::Pending => {}
        }
        written
    }
}

impl AsyncRead for Tap {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.lock().read(context, buffer)
    }
}

impl AsyncWrite for Tap {
    fn poll_write(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        self.lock().write(context, bytes)
    }

    /// What was written is on its way. (Draining a serial port would block the thread until all is out.)
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.lock().wire).poll_shutdown(context)
    }
}

impl fmt::Debug for Tap {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Tap")
    }
}
