//! The serial ports of this machine, by names that hold when an adapter is plugged in elsewhere.

use std::fs;
use std::path::{Path, PathBuf};

use inkdwell_config::shop::Port;
use inkdwell_daemon::source::port::{Adapter, Listed, listed_ports};

use crate::probe::listen::shown::shown;

/// Where Linux links ports under what their adapters say of themselves.
const BY_ID: &str = "/dev/serial/by-id";

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Seen {
    /// Its path now.
    pub(super) path: PathBuf,
    /// How a shop file is to name it.
    pub(super) named: Port,
    /// What its adapter says of itself, fit to be shown.
    pub(super) says: String,
}

/// The ports that there are; or why the system does not list them.
pub(super) fn seen() -> Result<Vec<Seen>, String> {
    let listed = listed_ports().map_err(|trouble| {
        trouble.to_string().replace(
            "give the port's path as port in the shop file",
            "type its path",
        )
    })?;
    Ok(named(&listed, &links(Path::new(BY_ID))))
}

/// How a shop file is to name a port that somebody typed.
pub(super) fn name_of(path: &Path, seen: &[Seen]) -> Port {
    let whole = fs::canonicalize(path).ok();
    let same = seen
        .iter()
        .find(|own| own.path == path || whole.as_ref().is_some_and(|whole| own.path == *whole));
    same.map_or_else(|| Port::Path(path.to_owned()), |own| own.named.clone())
}

/// Links under what adapters say of themselves, each with the port that it leads to now.
fn links(folder: &Path) -> Vec<(PathBuf, PathBuf)> {
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let links = entries.filter_map(|entry| {
        let link = entry.ok()?.path();
        let leads = fs::canonicalize(&link).ok()?;
        Some((link, leads))
    });
    let mut links: Vec<_> = links.collect();
    links.sort();
    links
}

fn named(listed: &[Listed], links: &[(PathBuf, PathBuf)]) -> Vec<Seen> {
    let each = listed.iter().map(|port| {
        let link = links.iter().find(|(_, leads)| *leads == port.path);
        Seen {
            path: port.path.clone(),
            named: name(port, listed, link.map(|(link, _)| link.as_path())),
            says: port.usb.as_ref().map_or_else(String::new, says),
        }
    });
    each.collect()
}

/// By its USB identity where that is its alone, else by the link that bears it, else by its path.
fn name(port: &Listed, all: &[Listed], link: Option<&Path>) -> Port {
    if let Some(usb) = &port.usb {
        let alike = all
            .iter()
            .filter_map(|other| other.usb.as_ref())
            .filter(|other| {
                (other.vendor, other.product) == (usb.vendor, usb.product)
                    && (usb.serial.is_none() || other.serial == usb.serial)
            });
        if alike.count() == 1 {
            return Port::Usb {
                vendor: usb.vendor,
                product: usb.product,
                serial: usb.serial.clone(),
            };
        }
    }
    Port::Path(link.unwrap_or(&port.path).to_owned())
}

fn says(usb: &Adapter) -> String {
    let mut words = format!("USB {:04x}:{:04x}", usb.vendor, usb.product);
    if let Some(serial) = &usb.serial {
        words += &format!(", serial number {}", shown(serial.as_bytes()));
    }
    if let Some(name) = &usb.name {
        words += &format!(", {}", shown(name.as_bytes()));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn adapter(path: &str, serial: Option<&str>) -> Listed {
        Listed {
            path: path.into(),
            usb: Some(Adapter {
                vendor: 0x0403,
                product: 0x6001,
                serial: serial.map(str::to_owned),
                name: Some("Bridge \u{1b}[2J".to_owned()),
            }),
        }
    }

    fn usb(serial: Option<&str>) -> Port {
        Port::Usb {
            vendor: 0x0403,
            product: 0x6001,
            serial: serial.map(str::to_owned),
        }
    }

    #[test]
    fn a_port_is_named_by_its_identity_where_that_is_its_alone() {
        let plain = Listed {
            path: "/dev/ttyS0".into(),
            usb: None,
        };
        let seen = named(&[plain.clone(), adapter("/dev/ttyUSB0", None)], &[]);
        assert_eq!(seen[0].named, Port::Path("/dev/ttyS0".into()));
        assert_eq!(seen[1].named, usb(None));
        assert_eq!(seen[1].says, "USB 0403:6001, Bridge <1B>[2J");
        let two = [
            adapter("/dev/ttyUSB0", Some("A9")),
            adapter("/dev/ttyUSB1", Some("B2")),
        ];
        assert_eq!(named(&two, &[])[1].named, usb(Some("B2")));
        // Two without a serial number are told apart by where the system links them.
        let alike = [adapter("/dev/ttyUSB0", None), adapter("/dev/ttyUSB1", None)];
        let links = [(
            "/dev/serial/by-id/usb-x-port0".into(),
            "/dev/ttyUSB1".into(),
        )];
        let seen = named(&alike, &links);
        assert_eq!(seen[0].named, Port::Path("/dev/ttyUSB0".into()));
        assert_eq!(
            seen[1].named,
            Port::Path("/dev/serial/by-id/usb-x-port0".into())
        );
    }

    #[test]
    fn links_are_followed_to_the_ports_they_lead_to() {
        let folder = tempfile::tempdir().unwrap();
        let port = folder.path().join("ttyUSB0");
        fs::write(&port, "").unwrap();
        let by_id = folder.path().join("by-id");
        fs::create_dir(&by_id).unwrap();
        std::os::unix::fs::symlink("../ttyUSB0", by_id.join("usb-A9")).unwrap();
        std::os::unix::fs::symlink("../gone", by_id.join("usb-gone")).unwrap();
        let whole = fs::canonicalize(&port).unwrap();
        assert_eq!(links(&by_id), [(by_id.join("usb-A9"), whole.clone())]);
        assert!(links(&folder.path().join("none")).is_empty());
        // Whichever way it is typed, it is named alike.
        let seen = [Seen {
            path: whole,
            named: usb(Some("A9")),
            says: String::new(),
        }];
        assert_eq!(name_of(&by_id.join("usb-A9"), &seen), usb(Some("A9")));
        assert_eq!(
            name_of(Path::new("/dev/pts/9"), &seen),
            Port::Path("/dev/pts/9".into())
        );
    }
}
