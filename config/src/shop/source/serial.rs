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
