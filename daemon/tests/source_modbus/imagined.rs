//! A serial bus that is imagined, for tests whose time is imagined too.

use std::path::PathBuf;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};

use inkdwell_config::shop::{Port, SerialSettings};
use inkdwell_daemon::source::port::{Found, Ports, Trouble, Wire};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, DuplexStream, ReadBuf};
use tokio::sync::mpsc;
use tokio::time::Instant;

use crate::frame::framed;

/// A machine with one port, on which a bus is.
pub struct Machine {
    found: Mutex<Option<Found>>,
    opens: AtomicU64,
    far_ends: mpsc::UnboundedSender<DuplexStream>,
}

/// A machine, and the far end of each line that is opened on it.
pub fn machine() -> (Arc<Machine>, mpsc::UnboundedReceiver<DuplexStream>) {
    let (far_ends, opened) = mpsc::unbounded_channel();
    let machine = Machine {
        found: Mutex::default(),
        opens: AtomicU64::new(0),
        far_ends,
    };
    machine.plug(Some(1));
    (Arc::new(machine), opened)
}

impl Machine {
    /// A device with this number stands at the port, or none.
    pub fn plug(&self, device: Option<u64>) {
        *self.found.lock().unwrap() = device.map(|device| Found {
            path: PathBuf::from("/dev/imagined"),
            node: (1, device, 1),
        });
    }

    pub fn opens(&self) -> u64 {
        self.opens.load(Ordering::Relaxed)
    }
}

/// A question that came: when, and the unit, function, address and count in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    pub at: Instant,
    pub unit: u8,
    pub function: u8,
    pub address: u16,
    pub count: u16,
}

/// The next question on a bus; `None` once nobody asks any more.
pub async fn question(far: &mut (impl AsyncRead + Unpin)) -> Option<Question> {
    let mut bytes = [0; 8];
    far.read_exact(&mut bytes).await.ok()?;
    assert_eq!(framed(bytes[..6].to_vec()), bytes, "its check sum");
    Some(Question {
        at: Instant::now(),
        unit: bytes[0],
        function: bytes[1],
        address: u16::from_be_bytes([bytes[2], bytes[3]]),
        count: u16::from_be_bytes([bytes[4], bytes[5]]),
    })
}

/// Devices that answer at once with what the test says, until nobody asks; all questions.
pub async fn serve(
    far: &mut DuplexStream,
    mut answer: impl FnMut(&Question) -> Vec<u8>,
) -> Vec<Question> {
    let mut questions = Vec::new();
    while let Some(question) = question(far).await {
        questions.push(question);
        if far.write_all(&answer(&question)).await.is_err() {
            break;
        }
    }
    questions
}

impl Ports for Machine {
    fn find(&self, port: &Port) -> Result<Found, Trouble> {
        let found = self.found.lock().unwrap().clone();
        found.ok_or_else(|| match port {
            Port::Path(path) => Trouble::Missing(path.clone()),
            Port::Usb { .. } => Trouble::Unplugged("the adapter".to_owned()),
        })
    }

    fn open(&self, _: &Found, _: &SerialSettings) -> Result<Box<dyn Wire>, Trouble> {
        self.opens.fetch_add(1, Ordering::Relaxed);
        let (near, far) = tokio::io::duplex(4096);
        // A test that does not look at the far end drops it: the line hangs up.
        let _ = self.far_ends.send(far);
        Ok(Box::new(Imagined(near)))
    }
}

struct Imagined(DuplexStream);

impl Wire for Imagined {
    fn discard_input(&mut self) {}

    fn discard_output(&mut self) {}
}

impl AsyncRead for Imagined {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.0).poll_read(context, buffer)
    }
}

impl AsyncWrite for Imagined {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<std::io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(context, bytes)
    }

    fn poll_flush(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(context)
    }

    fn poll_shutdown(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(context)
    }
}
