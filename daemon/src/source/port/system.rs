//! The ports that the system has.

use std::io;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::{Path, PathBuf};

use inkdwell_config::shop::{FlowControl, Parity, Port, SerialSettings};
use serialport::{ClearBuffer, ErrorKind, SerialPort, SerialPortInfo, SerialPortType};
use tokio_serial::SerialStream;

use super::{Adapter, Found, Listed, Ports, Trouble, Wire, named};

/// Where Linux lists its terminals; without it, listing ports is not to be tried.
#[cfg(target_os = "linux")]
const LISTING: &str = "/sys/class/tty";

/// The ports that the system has.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemPorts;

impl Ports for SystemPorts {
    fn find(&self, port: &Port) -> Result<Found, Trouble> {
        match port {
            Port::Path(path) => at(path).ok_or_else(|| Trouble::Missing(path.clone())),
            usb @ Port::Usb { .. } => {
                let path = with_identity(usb, &listed()?)?;
                at(&path).ok_or_else(|| Trouble::Unplugged(named(usb)))
            }
        }
    }

    fn open(&self, found: &Found, settings: &SerialSettings) -> Result<Box<dyn Wire>, Trouble> {
        let path = &found.path;
        let kind = std::fs::metadata(path).map(|metadata| metadata.file_type());
        if kind.is_ok_and(|kind| !kind.is_char_device()) {
            return Err(Trouble::NoPort(path.clone()));
        }
        let stream = SerialStream::open(&builder(path, settings));
        let stream = stream.map_err(|error| refusal(path, &error))?;
        Ok(Box::new(stream))
    }
}

impl Wire for SerialStream {
    // A port that is gone has nothing to throw away; reading from it says that it is gone.
    fn discard_input(&mut self) {
        let _ = self.clear(ClearBuffer::Input);
    }

    fn discard_output(&mut self) {
        let _ = self.clear(ClearBuffer::Output);
    }
}

fn at(path: &Path) -> Option<Found> {
    let metadata = std::fs::metadata(path).ok()?;
    Some(Found {
        path: path.to_owned(),
        node: (metadata.dev(), metadata.ino(), metadata.rdev()),
    })
}

fn listed() -> Result<Vec<SerialPortInfo>, Trouble> {
    #[cfg(target_os = "linux")]
    if !Path::new(LISTING).is_dir() {
        return Err(Trouble::Unlisted(format!("{LISTING} is missing")));
    }
    serialport::available_ports().map_err(|error| Trouble::Unlisted(error.to_string()))
}

/// The serial ports that the system has, by their paths.
///
/// # Errors
/// When it does not list them.
pub fn listed_ports() -> Result<Vec<Listed>, Trouble> {
    let mut ports: Vec<Listed> = listed()?.into_iter().map(of_info).collect();
    ports.sort_by(|one, other| one.path.cmp(&other.path));
    Ok(ports)
}

fn of_info(info: SerialPortInfo) -> Listed {
    let usb = match info.port_type {
        SerialPortType::UsbPort(usb) => Some(Adapter {
            vendor: usb.vid,
            product: usb.pid,
            serial: usb.serial_number,
            name: usb.product,
        }),
        _ => None,
    };
    Listed {
        path: PathBuf::from(info.port_name),
        usb,
    }
}

/// The one port with a USB identity.
fn with_identity(port: &Port, listed: &[SerialPortInfo]) -> Result<PathBuf, Trouble> {
    let Port::Usb {
        vendor,
        product,
        serial,
    } = port
    else {
        return Err(Trouble::Unplugged(named(port)));
    };
    let fits = |info: &&SerialPortInfo| match &info.port_type {
        SerialPortType::UsbPort(usb) => {
            (usb.vid, usb.pid) == (*vendor, *product)
                && (serial.is_none() || usb.serial_number == *serial)
        }
        _ => false,
    };
    let fitting: Vec<&SerialPortInfo> = listed.iter().filter(fits).collect();
    match fitting[..] {
        [] => Err(Trouble::Unplugged(named(port))),
        [one] => Ok(PathBuf::from(&one.port_name)),
        [..] => {
            let mut ports: Vec<String> = fitting.iter().map(|info| with_serial(info)).collect();
            ports.sort();
            Err(Trouble::Several {
                name: named(port),
                ports: ports.join(", "),
            })
        }
    }
}

fn with_serial(info: &SerialPortInfo) -> String {
    match &info.port_type {
        SerialPortType::UsbPort(usb) => match &usb.serial_number {
            Some(serial) => format!("{} with the serial number {serial}", info.port_name),
            None => format!("{} without a serial number", info.port_name),
        },
        _ => info.port_name.clone(),
    }
}

fn builder(path: &Path, settings: &SerialSettings) -> serialport::SerialPortBuilder {
    serialport::new(path.to_string_lossy(), settings.baud)
        .data_bits(match settings.data_bits {
            5 => serialport::DataBits::Five,
            6 => serialport::DataBits::Six,
            7 => serialport::DataBits::Seven,
            _ => serialport::DataBits::Eight,
        })
        .parity(match settings.parity {
            Parity::None => serialport::Parity::None,
            Parity::Even => serialport::Parity::Even,
            Parity::Odd => serialport::Parity::Odd,
        })
        .stop_bits(match settings.stop_bits {
            2 => serialport::StopBits::Two,
            _ => serialport::StopBits::One,
        })
        .flow_control(match settings.flow {
            FlowControl::None => serialport::FlowControl::None,
            FlowControl::Hardware => serialport::FlowControl::Hardware,
            FlowControl::Software => serialport::FlowControl::Software,
        })
        .exclusive(true)
}

fn refusal(path: &Path, error: &serialport::Error) -> Trouble {
    let path = path.to_owned();
    match error.kind() {
        ErrorKind::NoDevice => Trouble::InUse(path),
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => Trouble::Forbidden(path),
        ErrorKind::Io(io::ErrorKind::NotFound) => Trouble::Missing(path),
        _ => Trouble::Refused {
            path,
            why: error.to_string(),
        },
    }
}

#[cfg(test)]
mod tests {
    use serialport::{TTYPort, UsbPortInfo};

    use super::*;

    fn usb(serial: Option<&str>) -> Port {
        Port::Usb {
            vendor: 0x0403,
            product: 0x6001,
            serial: serial.map(str::to_owned),
        }
    }

    fn adapter(path: &str, product: u16, serial: Option<&str>) -> SerialPortInfo {
        SerialPortInfo {
            port_name: path.to_owned(),
            port_type: SerialPortType::UsbPort(UsbPortInfo {
                vid: 0x0403,
                pid: product,
                serial_number: serial.map(str::to_owned),
                manufacturer: None,
                product: None,
            }),
        }
    }

    #[test]
    fn a_listed_port_says_what_its_adapter_says() {
        let listed = of_info(adapter("/dev/ttyUSB3", 0x6001, Some("A9")));
        let usb = listed.usb.unwrap();
        assert_eq!((usb.vendor, usb.product), (0x0403, 0x6001));
        assert_eq!(usb.serial.as_deref(), Some("A9"));
        assert_eq!(listed.path, PathBuf::from("/dev/ttyUSB3"));
    }

    fn settings(path: &Path) -> SerialSettings {
        SerialSettings {
            port: Port::Path(path.to_owned()),
            baud: 19_200,
            data_bits: 8,
            parity: Parity::None,
            stop_bits: 1,
            flow: FlowControl::None,
        }
    }

    #[test]
    fn an_adapter_is_found_by_its_identity_under_any_path() {
        let plain = SerialPortInfo {
            port_name: "/dev/ttyS0".to_owned(),
            port_type: SerialPortType::Unknown,
        };
        let mut listed = vec![plain, adapter("/dev/ttyUSB3", 0x6001, Some("A9"))];
        listed.push(adapter("/dev/ttyUSB0", 0x6015, Some("A9")));
        let found = |port: &Port, listed: &[SerialPortInfo]| with_identity(port, listed);
        let third = Ok(PathBuf::from("/dev/ttyUSB3"));
        assert_eq!(found(&usb(None), &listed), third);
        assert_eq!(found(&usb(Some("A9")), &listed), third);
        let sentence = found(&usb(Some("B2")), &listed).unwrap_err().to_string();
        assert_eq!(
            sentence,
            "the USB adapter 0403:6001 with the serial number B2 is not plugged in; plug it in, or correct usb in the shop file"
        );
        listed.push(adapter("/dev/ttyUSB1", 0x6001, None));
        assert_eq!(found(&usb(Some("A9")), &listed), third);
        let sentence = found(&usb(None), &listed).unwrap_err().to_string();
        assert_eq!(
            sentence,
            "the USB adapter 0403:6001 is plugged in more than once (/dev/ttyUSB1 without a serial number, /dev/ttyUSB3 with the serial number A9); give its serial number as serial in the shop file, or its path as port"
        );
    }

    #[test]
    fn each_thing_in_the_way_has_its_own_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("port");
        let missing = SystemPorts.find(&Port::Path(path.clone())).unwrap_err();
        assert_eq!(missing, Trouble::Missing(path.clone()));
        std::fs::write(&path, "").unwrap();
        let found = SystemPorts.find(&Port::Path(path.clone())).unwrap();
        let no_port = SystemPorts.open(&found, &settings(&path)).err().unwrap();
        assert_eq!(no_port, Trouble::NoPort(path.clone()));
        // errno 13 and 16 of Linux and BSD: EACCES, EBUSY.
        let of = |kind: ErrorKind| refusal(&path, &serialport::Error::new(kind, "words"));
        let forbidden = of(ErrorKind::Io(io::ErrorKind::PermissionDenied));
        assert!(
            forbidden.to_string().contains("group dialout"),
            "{forbidden}"
        );
        let refused = of(ErrorKind::Unknown).to_string();
        assert!(refused.contains("cannot be opened (words)"), "{refused}");
    }

    #[tokio::test]
    async fn a_port_is_opened_for_us_alone() {
        let (_master, slave) = TTYPort::pair().unwrap();
        let path = PathBuf::from(slave.name().unwrap());
        let found = SystemPorts.find(&Port::Path(path.clone())).unwrap();
        let first = SystemPorts.open(&found, &settings(&path)).unwrap();
        let second = SystemPorts.open(&found, &settings(&path)).err().unwrap();
        assert_eq!(second, Trouble::InUse(path.clone()));
        drop(first);
        SystemPorts.open(&found, &settings(&path)).unwrap();
    }
}
