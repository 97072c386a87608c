//! Pseudo-terminals as serial lines: what is written to the one end is read at the other, as from a device.

use std::io::Write;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};
use std::time::Duration;

use inkdwell_config::shop::{Port, SerialSettings};
use inkdwell_daemon::source::port::{Found, Ports, SystemPorts, Trouble, Wire};
use serialport::{SerialPort, TTYPort};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::watch;

/// A device on a line. Dropped, it is pulled out.
pub struct Device {
    pub path: PathBuf,
    master: TTYPort,
    /// Held open until the source has it, so that the line does not hang up before.
    slave: Option<TTYPort>,
}

impl Device {
    pub fn new() -> Device {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(Duration::from_secs(60)).unwrap();
        Device {
            path: PathBuf::from(slave.name().unwrap()),
            master,
            slave: Some(slave),
        }
    }

    /// Says something to a source that listens. What was heard so soon after opening that it may be the
    /// rest of a line has its end then.
    pub fn begin(&mut self) {
        self.slave = None;
        self.say(b"\r\n");
    }

    pub fn say(&mut self, bytes: &[u8]) {
        self.master.write_all(bytes).unwrap();
    }
}

/// The system's ports, counted; a USB identity is at the path that the test puts there.
pub struct Counted {
    usb: Mutex<Option<PathBuf>>,
    pub finds: AtomicU64,
    pub opens: AtomicU64,
    counts: Arc<Counts>,
}

struct Counts {
    polls: AtomicU64,
    /// How often listening to a port began, and bytes that were read.
    heard: watch::Sender<(u64, u64)>,
}

impl Counted {
    pub fn new() -> Arc<Counted> {
        Arc::new(Counted {
            usb: Mutex::default(),
            finds: AtomicU64::new(0),
            opens: AtomicU64::new(0),
            counts: Arc::new(Counts {
                polls: AtomicU64::new(0),
                heard: watch::Sender::new((0, 0)),
            }),
        })
    }

    pub fn plug(&self, device: Option<&Device>) {
        *self.usb.lock().unwrap() = device.map(|device| device.path.clone());
    }

    /// How often a port was asked whether there is anything to read.
    pub fn polls(&self) -> u64 {
        self.counts.polls.load(Ordering::Relaxed)
    }

    /// Waits until so many ports have been listened to.
    pub async fn listening(&self, times: u64) {
        let mut heard = self.counts.heard.subscribe();
        heard
            .wait_for(|(listened, _)| *listened >= times)
            .await
            .unwrap();
    }

    /// Waits until so many bytes have been read in all.
    pub async fn read(&self, bytes: u64) {
        let mut heard = self.counts.heard.subscribe();
        heard.wait_for(|(_, read)| *read >= bytes).await.unwrap();
    }

    pub fn bytes(&self) -> u64 {
        self.counts.heard.borrow().1
    }
}

impl Ports for Counted {
    fn find(&self, port: &Port) -> Result<Found, Trouble> {
        self.finds.fetch_add(1, Ordering::Relaxed);
        match port {
            Port::Path(_) => SystemPorts.find(port),
            Port::Usb { .. } => match &*self.usb.lock().unwrap() {
                Some(path) => SystemPorts.find(&Port::Path(path.clone())),
                None => Err(Trouble::Unplugged("the adapter".to_owned())),
            },
        }
    }

    fn open(&self, found: &Found, settings: &SerialSettings) -> Result<Box<dyn Wire>, Trouble> {
        self.opens.fetch_add(1, Ordering::Relaxed);
        let wire = SystemPorts.open(found, settings)?;
        Ok(Box::new(CountedWire {
            wire,
            fresh: true,
            counts: Arc::clone(&self.counts),
        }))
    }
}

struct CountedWire {
    wire: Box<dyn Wire>,
    fresh: bool,
    counts: Arc<Counts>,
}

impl Wire for CountedWire {
    fn discard_input(&mut self) {
        self.wire.discard_input();
    }

    fn discard_output(&mut self) {
        self.wire.discard_output();
    }
}

impl AsyncRead for CountedWire {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<std::io::Result<()>> {
        let before = buffer.filled().len();
        let read = Pin::new(&mut self.wire).poll_read(context, buffer);
        self.counts.polls.fetch_add(1, Ordering::Relaxed);
        let came = (buffer.filled().len() - before) as u64;
        let fresh = u64::from(std::mem::take(&mut self.fresh));
        self.counts.heard.send_modify(|(listened, bytes)| {
            *listened += fresh;
            *bytes += came;
        });
        read
    }
}

impl AsyncWrite for CountedWire {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<std::io::Result<usize>> {
        Pin::new(&mut self.wire).poll_write(context, bytes)
    }

    fn poll_flush(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.wire).poll_flush(context)
    }

    fn poll_shutdown(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.wire).poll_shutdown(context)
    }
}
