//! A cable between two pseudo-terminals, so that both ends have a path. Dropped, it is pulled out.

use std::path::PathBuf;

use serialport::{SerialPort, TTYPort};
use tokio::io::copy_bidirectional;
use tokio::task::JoinHandle;
use tokio_serial::SerialStream;

pub struct Cable {
    /// Where the devices are.
    pub devices: PathBuf,
    /// Where the source is.
    pub source: PathBuf,
    relay: JoinHandle<()>,
    /// Held open, so that no end hangs up while nobody has it.
    _slaves: [TTYPort; 2],
}

impl Cable {
    pub fn new() -> Cable {
        let (devices_master, devices) = TTYPort::pair().unwrap();
        let (source_master, source) = TTYPort::pair().unwrap();
        let mut ends =
            [devices_master, source_master].map(|end| SerialStream::try_from(end).unwrap());
        Cable {
            devices: PathBuf::from(devices.name().unwrap()),
            source: PathBuf::from(source.name().unwrap()),
            relay: tokio::spawn(async move {
                let [devices, source] = &mut ends;
                // It ends when it is pulled out.
                let _ = copy_bidirectional(devices, source).await;
            }),
            _slaves: [devices, source],
        }
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        self.relay.abort();
    }
}
