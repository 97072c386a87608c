//! Serial ports: found by path or by USB identity, and opened for us alone.
//!
//! A port that was pulled out may come back under another path, or under the same path as another device
//! node; [`Found`] tells the difference. [`Ports`] is the system's own ports, or what a test puts in their
//! place.

mod system;
mod trouble;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::{Port, SerialSettings};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::time::{Instant, sleep_until};

pub use system::{SystemPorts, listed_ports};
pub use trouble::Trouble;

use super::waits::Waits;

/// How often a port that is gone is looked for.
const SEEK_EVERY: Duration = Duration::from_secs(1);

/// Where a port is now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Its path.
    pub path: PathBuf,
    /// The device node behind the path: the numbers of its file system, of itself in it, and of its device.
    pub node: (u64, u64, u64),
}

/// An open port. Dropped, it is closed.
pub trait Wire: AsyncRead + AsyncWrite + Send + Unpin {
    /// Throws away what has come but was not yet read.
    fn discard_input(&mut self);
    /// Throws away what has not yet gone out, so that closing does not wait for it.
    fn discard_output(&mut self);
}

/// The ports of a machine.
pub trait Ports: Send + Sync + 'static {
    /// Finds a port. It may read from the system, but never waits for a device.
    ///
    /// # Errors
    /// When it is not there, or cannot be told from others.
    fn find(&self, port: &Port) -> Result<Found, Trouble>;

    /// Opens a port for us alone. Called where blocking is allowed, within a runtime.
    ///
    /// # Errors
    /// What is in the way.
    fn open(&self, found: &Found, settings: &SerialSettings) -> Result<Box<dyn Wire>, Trouble>;

    /// Lets whoever stands in the place of the system's ports have a connection over TCP through its hands too.
    fn connected(&self, wire: Box<dyn Wire>) -> Box<dyn Wire> {
        wire
    }
}

/// A port that the system lists.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Its path.
    pub path: PathBuf,
    /// What its USB adapter says of itself, where it is one.
    pub usb: Option<Adapter>,
}

/// What a USB adapter says of itself. The texts come from the adapter: nothing is known of what is in them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Adapter {
    /// Vendor id.
    pub vendor: u16,
    /// Product id.
    pub product: u16,
    /// Its serial number.
    pub serial: Option<String>,
    /// What it is called.
    pub name: Option<String>,
}

/// What a port is called in a sentence.
pub fn named(port: &Port) -> String {
    match port {
        Port::Path(path) => format!("the serial port {}", path.display()),
        Port::Usb {
            vendor,
            product,
            serial,
        } => {
            let serial = serial.as_ref();
            let serial = serial.map(|serial| format!(" with the serial number {serial}"));
            format!(
                "the USB adapter {vendor:04x}:{product:04x}{}",
                serial.unwrap_or_default()
            )
        }
    }
}

/// As [`Ports::find`], where nothing may block.
pub(super) async fn find(ports: &Arc<dyn Ports>, port: &Port) -> Result<Found, Trouble> {
    let (ports, port) = (Arc::clone(ports), port.clone());
    blocking(move || ports.find(&port)).await
}

/// Finds a port and opens it, where nothing may block.
pub(super) async fn open(
    ports: &Arc<dyn Ports>,
    settings: &SerialSettings,
) -> Result<(Found, Box<dyn Wire>), Trouble> {
    let (ports, settings) = (Arc::clone(ports), settings.clone());
    blocking(move || {
        let found = ports.find(&settings.port)?;
        let wire = ports.open(&found, &settings)?;
        Ok((found, wire))
    })
    .await
}

/// Whether a port is still where it was found, and the same.
///
/// # Errors
/// What has become of it, in a sentence.
pub(super) async fn still_there(
    ports: &Arc<dyn Ports>,
    port: &Port,
    found: &Found,
) -> Result<(), String> {
    match find(ports, port).await {
        Ok(now) if now == *found => Ok(()),
        Ok(_) => Err(lost(port, "another device stands in its place")),
        // What cannot be listed may still be there.
        Err(Trouble::Unlisted(_)) => Ok(()),
        Err(trouble) => Err(trouble.to_string()),
    }
}

/// Waits before a lost port is tried again; not longer than until it comes back.
pub(super) async fn wait(ports: &Arc<dyn Ports>, port: &Port, waits: &mut Waits) {
    let until = Instant::now() + waits.next_wait();
    let before = find(ports, port).await.ok();
    while Instant::now() < until {
        sleep_until(until.min(Instant::now() + SEEK_EVERY)).await;
        let now = find(ports, port).await.ok();
        if now.is_some() && now != before {
            waits.reset();
            return;
        }
    }
}

/// That a port is lost, and why.
pub(super) fn lost(port: &Port, why: &str) -> String {
    format!(
        "{} is lost ({why}); see whether the adapter is plugged in and the device has power",
        named(port)
    )
}

/// Does what may block for a moment.
async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
) -> Result<T, Trouble> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(error) => Err(Trouble::Unlisted(error.to_string())),
    }
}
