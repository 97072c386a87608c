//! Ports that are imagined, for tests whose time is imagined too.

use std::path::PathBuf;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};

use inkdwell_config::shop::{Port, SerialSettings};
use inkdwell_daemon::source::port::{Found, Ports, Trouble, Wire};
use tokio::io::{AsyncRead, AsyncWrite, DuplexStream, ReadBuf};
use tokio::sync::mpsc;

/// A machine with one port.
pub struct Machine {
    found: Mutex<Option<Found>>,
    pub opens: AtomicU64,
    pub finds: AtomicU64,
    far_ends: mpsc::UnboundedSender<DuplexStream>,
}

/// A machine, and the far end of each line that is opened on it.
pub fn machine() -> (Arc<Machine>, mpsc::UnboundedReceiver<DuplexStream>) {
    let (far_ends, opened) = mpsc::unbounded_channel();
    let machine = Machine {
        found: Mutex::default(),
        opens: AtomicU64::new(0),
        finds: AtomicU64::new(0),
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

impl Ports for Machine {
    fn find(&self, port: &Port) -> Result<Found, Trouble> {
        self.finds.fetch_add(1, Ordering::Relaxed);
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
