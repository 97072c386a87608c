//! How a bus is reached.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::ModbusLink;
use tokio::net::TcpStream;
use tokio::time::timeout;

use super::bus::{Bus, Framing, TcpWire};
use crate::source::port::{self, Found, Ports};

/// A connection over TCP is made within this time or given up.
const CONNECT_WITHIN: Duration = Duration::from_secs(10);

/// Opens a bus; where it is a serial port, says where that was found.
///
/// # Errors
/// What is in the way, in a sentence.
pub(super) async fn open(
    ports: &Arc<dyn Ports>,
    link: &ModbusLink,
) -> Result<(Bus, Option<Found>), String> {
    match link {
        ModbusLink::Rtu(settings) => {
            let opened = port::open(ports, settings).await;
            let (found, wire) = opened.map_err(|trouble| trouble.to_string())?;
            Ok((Bus::new(Framing::rtu(settings.baud), wire), Some(found)))
        }
        ModbusLink::Tcp { host, port } => {
            let stream = connect(host, *port).await?;
            let wire = ports.connected(Box::new(TcpWire(stream)));
            Ok((Bus::new(Framing::Tcp, wire), None))
        }
    }
}

/// That a bus is lost, and why.
pub(super) fn lost(link: &ModbusLink, why: &str) -> String {
    match link {
        ModbusLink::Rtu(settings) => port::lost(&settings.port, why),
        ModbusLink::Tcp { host, port } => format!(
            "the connection to {host}:{port} is lost ({why}); see whether the device has power and the network reaches it"
        ),
    }
}

async fn connect(host: &str, port: u16) -> Result<TcpStream, String> {
    let connected = timeout(CONNECT_WITHIN, TcpStream::connect((host, port)));
    let stream = match connected.await {
        Ok(Ok(stream)) => stream,
        Ok(Err(error)) => return Err(unreachable(host, port, &error)),
        Err(_) => {
            return Err(format!(
                "{host}:{port} does not answer; see whether the device has power and the network reaches it"
            ));
        }
    };
    // Questions are short, and none is to wait for another.
    match stream.set_nodelay(true) {
        Ok(()) => Ok(stream),
        Err(error) => Err(unreachable(host, port, &error)),
    }
}

fn unreachable(host: &str, port: u16, error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::ConnectionRefused => format!(
            "nothing listens at {host}:{port}; see whether the device speaks Modbus there, or correct host and port in the shop file"
        ),
        _ => format!(
            "{host}:{port} cannot be reached ({error}); correct host in the shop file, or see whether the network reaches it"
        ),
    }
}
