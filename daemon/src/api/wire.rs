//! A connection whose other side has to take what it asked for.
//!
//! What is read is timed by those who read: heads by the HTTP library, bodies by the guard. But an answer that nobody
//! fetches would hold its connection for good. So a write that makes no step for long enough fails.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

/// A stream with a limit to how long a write may take.
pub(super) struct Impatient<S> {
    stream: S,
    limit: Duration,
    waiting: Pin<Box<Sleep>>,
    waits: bool,
}

impl<S> Impatient<S> {
    pub(super) fn new(stream: S, limit: Duration) -> Impatient<S> {
        Impatient {
            stream,
            limit,
            waiting: Box::pin(sleep(limit)),
            waits: false,
        }
    }

    /// Lets a write wait, but not for ever.
    fn within<T>(
        &mut self,
        context: &mut Context<'_>,
        written: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if written.is_ready() {
            self.waits = false;
            return written;
        }
        if !self.waits {
            self.waits = true;
            self.waiting.as_mut().reset(Instant::now() + self.limit);
        }
        match self.waiting.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Impatient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, into)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Impatient<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        from: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(context, from);
        self.within(context, written)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let flushed = Pin::new(&mut self.stream).poll_flush(context);
        self.within(context, flushed)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let shut = Pin::new(&mut self.stream).poll_shutdown(context);
        self.within(context, shut)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt, duplex};

    use super::*;

    const LIMIT: Duration = Duration::from_secs(30);

    #[tokio::test(start_paused = true)]
    async fn what_nobody_takes_fails_and_what_is_taken_slowly_does_not() {
        let (own, mut other) = duplex(10);
        let mut own = Impatient::new(own, LIMIT);
        let writing = tokio::spawn(async move {
            let done = own.write_all(&[7; 60]).await;
            (own, done)
        });
        // Ten bytes every twenty seconds: slow, but they are taken.
        let mut taken = [0; 10];
        for _ in 0..5 {
            sleep(Duration::from_secs(20)).await;
            other.read_exact(&mut taken).await.unwrap();
        }
        let (mut own, done) = writing.await.unwrap();
        assert!(done.is_ok());
        let begun = Instant::now();
        let failed = own.write_all(&[7; 60]).await.unwrap_err();
        assert_eq!(failed.kind(), io::ErrorKind::TimedOut);
        assert!(begun.elapsed() >= LIMIT && begun.elapsed() < 2 * LIMIT);
    }
}
