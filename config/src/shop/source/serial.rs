//! Serial lines: the adapter, its settings, and the text that comes through.

use std::path::PathBuf;

use super::line::LineFormat;
use crate::problem::quoted;
use crate::reading::{Node, TableReader};

/// How a serial adapter is found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Port {
    /// By its path, such as `/dev/ttyUSB0`.
    Path(PathBuf),
    /// By its USB identity, under whatever path it appears.
    Usb {
        /// Vendor id.
        vendor: u16,
        /// Product id.
        product: u16,
        /// Serial number, where several alike are plugged in.
        serial: Option<String>,
    },
}

/// Parity of a serial line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// Flow control of a serial line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowControl {
    /// None.
    None,
    /// By the wires RTS and CTS.
    Hardware,
    /// By the characters XON and XOFF.
    Software,
}

/// Settings of a serial line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialSettings {
    /// How the adapter is found.
    pub port: Port,
    /// Bits a second; 9600 where none is given.
    pub baud: u32,
    /// 5 to 8; 8 where none is given.
    pub data_bits: u8,
    /// `none`, `even` or `odd`; where nothing is given, none for lines of text and even for Modbus, as
    /// its specification asks.
    pub parity: Parity,
    /// 1 or 2; 1 where none is given.
    pub stop_bits: u8,
    /// Flow control; none where nothing is given.
    pub flow: FlowControl,
}

/// A serial line that speaks lines of text.
#[derive(Debug, Clone, PartialEq)]
pub struct SerialLine {
    /// The line's settings.
    pub settings: SerialSettings,
    /// How its lines are read.
    pub format: LineFormat,
}

impl SerialLine {
    pub(super) fn read(table: &TableReader<'_>) -> Option<SerialLine> {
        let settings = SerialSettings::read(table, Parity::None);
        let format = LineFormat::read(table);
        Some(SerialLine {
            settings: settings?,
            format: format?,
        })
    }
}

impl SerialSettings {
    pub(super) fn read(table: &TableReader<'_>, usual: Parity) -> Option<SerialSettings> {
        let port = read_port(table);
        let whole = |key, usual, range| {
            let node = table.optional(key);
            node.map_or(Some(usual), |node| node.whole(range))
        };
        let baud = whole("baud", 9600, 50..=4_000_000);
        let data_bits = whole("data_bits", 8, 5..=8);
        let stop_bits = whole("stop_bits", 1, 1..=2);
        let parities = [
            ("none", Parity::None),
            ("even", Parity::Even),
            ("odd", Parity::Odd),
        ];
        let parity = table
            .optional("parity")
            .map_or(Some(usual), |node| node.choice(&parities));
        let flows = [
            ("none", FlowControl::None),
            ("hardware", FlowControl::Hardware),
            ("software", FlowControl::Software),
        ];
        let flow = table
            .optional("flow")
            .map_or(Some(FlowControl::None), |node| node.choice(&flows));
        Some(SerialSettings {
            port: port?,
            baud: baud? as u32,
            data_bits: data_bits? as u8,
            parity: parity?,
            stop_bits: stop_bits? as u8,
            flow: flow?,
        })
    }
}

fn read_port(table: &TableReader<'_>) -> Option<Port> {
    let (path, usb) = (table.optional("port"), table.optional("usb"));
    match (path, usb) {
        (Some(node), Some(_)) => {
            node.report("stands beside usb", "keep one of them");
            None
        }
        (Some(node), None) => Some(Port::Path(PathBuf::from(node.words()?))),
        (None, Some(node)) => read_usb(&node),
        (None, None) => {
            table.report(
                "port",
                "is missing",
                "add port = \"/dev/ttyUSB0\", or usb = { vendor = \"0403\", product = \"6001\" }",
            );
            None
        }
    }
}

fn read_usb(node: &Node<'_>) -> Option<Port> {
    let usb = node.table()?;
    let number = |key| {
        let node = usb.required(key, "\"0403\"")?;
        let text = node.text()?;
        let number = u16::from_str_radix(&text, 16).ok();
        if number.is_none() {
            node.report(
                format!("{} is no USB id", quoted(&text)),
                "write four hex digits, as \"0403\"",
            );
        }
        number
    };
    let (vendor, product) = (number("vendor"), number("product"));
    let serial = usb.optional("serial").and_then(|node| node.words());
    usb.finish();
    Some(Port::Usb {
        vendor: vendor?,
        product: product?,
        serial,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::SourceKind;
    use crate::shop::testing::{each_is_named, sound};

    const LINE: &str = r#"
[[source]]
id = "probes"
kind = "serial"
port = "/dev/ttyUSB0"
baud = 19200
data_bits = 7
parity = "odd"
stop_bits = 2
flow = "hardware"
format = "fields"
separator = ";"
names = ["film", "", "exit"]
"#;

    fn line(text: &str) -> SerialLine {
        match &sound(text).sources[0].kind {
            SourceKind::Serial(line) => line.clone(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_line_is_read_with_all_its_settings() {
        let line = line(LINE);
        assert_eq!(
            line.settings,
            SerialSettings {
                port: Port::Path("/dev/ttyUSB0".into()),
                baud: 19_200,
                data_bits: 7,
                parity: Parity::Odd,
                stop_bits: 2,
                flow: FlowControl::Hardware,
            }
        );
        assert_eq!(
            line.format,
            LineFormat::Fields {
                separator: ";".to_owned(),
                names: ["film", "", "exit"].map(str::to_owned).to_vec(),
            }
        );
    }

    #[test]
    fn an_adapter_is_found_by_its_usb_identity() {
        let usb = "usb = { vendor = \"0403\", product = \"6001\", serial = \"A9\" }";
        let line = line(&LINE.replace("port = \"/dev/ttyUSB0\"", usb));
        let expected = Port::Usb {
            vendor: 0x0403,
            product: 0x6001,
            serial: Some("A9".to_owned()),
        };
        assert_eq!(line.settings.port, expected);
    }

    #[test]
    fn what_cannot_be_is_named() {
        let port = "port = \"/dev/ttyUSB0\"";
        let both = format!("{port}\nusb = {{ vendor = \"0403\", product = \"6001\" }}");
        each_is_named(
            LINE,
            &[
                (port, "", "source[0].port: is missing"),
                (port, &both, "source[0].port: stands beside usb"),
                (
                    port,
                    "usb = { vendor = \"FTDI\", product = \"6001\" }",
                    "source[0].usb.vendor: \"FTDI\" is no USB id",
                ),
                (
                    port,
                    "usb = { vendor = \"0403\" }",
                    "source[0].usb.product: is missing",
                ),
                (
                    "baud = 19200",
                    "baud = 3",
                    "source[0].baud: 3 is not a whole number from 50",
                ),
                (
                    "data_bits = 7",
                    "data_bits = 9",
                    "source[0].data_bits: 9 is not",
                ),
                (
                    "\"odd\"",
                    "\"mark\"",
                    "source[0].parity: \"mark\" is unknown here; known are none, even, odd",
                ),
                (
                    "stop_bits",
                    "stopbits",
                    "source[0].stopbits: is unknown here; did you mean \"stop_bits\"?",
                ),
                (
                    "\"hardware\"",
                    "\"rts\"",
                    "source[0].flow: \"rts\" is unknown here",
                ),
                (
                    "\"fields\"",
                    "\"field\"",
                    "source[0].format: \"field\" is unknown here; did you mean \"fields\"?",
                ),
                (
                    "\"serial\"",
                    "\"serail\"",
                    "source[0].kind: \"serail\" is unknown here; did you mean \"serial\"?",
                ),
                (
                    "\"exit\"]",
                    "\"film\"]",
                    "source[0].names[2]: \"film\" is named twice",
                ),
                (
                    "[\"film\", \"\", \"exit\"]",
                    "[\"\"]",
                    "source[0].names: names no field",
                ),
                (
                    "\";\"",
                    "\"\"",
                    "source[0].separator: a separator stands between fields",
                ),
            ],
        );
    }
}
