//! Modbus: devices on a serial bus or at an address, and the registers that are polled.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use super::serial::{Parity, SerialSettings};
use crate::quantity::Seconds;
use crate::reading::TableReader;
use crate::shop::broker::read_host;

/// How Modbus devices are reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ModbusLink {
    /// RTU on a serial line.
    Rtu(SerialSettings),
    /// TCP.
    Tcp {
        /// Host name or address.
        host: String,
        /// Port; 502 where none is given.
        port: u16,
    },
}

/// Which of a device's tables a register is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegisterTable {
    /// Input registers, function 4.
    Input,
    /// Holding registers, function 3.
    Holding,
}

/// How registers are a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegisterFormat {
    /// Signed, one register.
    Int16,
    /// Unsigned, one register.
    Uint16,
    /// Signed, two registers.
    Int32,
    /// Unsigned, two registers.
    Uint32,
    /// IEEE 754, two registers.
    Float32,
}

impl RegisterFormat {
    /// How many registers make one number.
    pub fn registers(self) -> u16 {
        match self {
            RegisterFormat::Int16 | RegisterFormat::Uint16 => 1,
            RegisterFormat::Int32 | RegisterFormat::Uint32 | RegisterFormat::Float32 => 2,
        }
    }
}

/// One number that is polled.
#[derive(Debug, Clone, PartialEq)]
pub struct Register {
    /// The channel that it feeds.
    pub channel: String,
    /// The device's unit id: 1 to 247 on a serial bus, 0 to 255 over TCP; 1 where none is given.
    pub unit_id: u8,
    /// Which table.
    pub table: RegisterTable,
    /// Address, from 0.
    pub address: u16,
    /// Format.
    pub format: RegisterFormat,
    /// Whether the first register of two is the lower word.
    pub low_word_first: bool,
    /// The reading is register times scale plus offset.
    pub scale: f64,
    /// See `scale`.
    pub offset: f64,
    /// Whether the result is in °F.
    pub fahrenheit: bool,
}

/// Modbus devices on one bus or at one address.
#[derive(Debug, Clone, PartialEq)]
pub struct Modbus {
    /// How they are reached.
    pub link: ModbusLink,
    /// How often each register is read; 0.5 s where nothing is given.
    pub poll: Seconds,
    /// How long an answer may take; 1 s where nothing is given.
    pub timeout: Seconds,
    /// What is read.
    pub registers: Vec<Register>,
}

impl Modbus {
    pub(super) fn read_rtu(table: &TableReader<'_>) -> Option<Modbus> {
        let link = SerialSettings::read(table, Parity::Even).map(ModbusLink::Rtu);
        Modbus::read(table, link, 1..=247)
    }

    pub(super) fn read_tcp(table: &TableReader<'_>) -> Option<Modbus> {
        let host = table
            .required("host", "\"192.0.2.10\"")
            .and_then(|node| read_host(&node));
        let port = table
            .optional("port")
            .map_or(Some(502), |node| node.whole(1..=65_535));
        let link = host.zip(port).map(|(host, port)| ModbusLink::Tcp {
            host,
            port: port as u16,
        });
        Modbus::read(table, link, 0..=255)
    }

    fn read(
        table: &TableReader<'_>,
        link: Option<ModbusLink>,
        unit_ids: RangeInclusive<u64>,
    ) -> Option<Modbus> {
        let time = |key, usual| {
            let node = table.optional(key);
            node.map_or(Some(Seconds(usual)), |node| node.above_zero())
        };
        let (poll, timeout) = (time("poll", 0.5), time("timeout", 1.0));
        let tables = table.tables("register");
        if tables.is_empty() && !table.has("register") {
            table.report(
                "register",
                "is missing",
                "add at least one [[source.register]]",
            );
        }
        let mut registers: Vec<Register> = Vec::new();
        let mut channels = BTreeSet::new();
        for (node, table) in tables {
            let Some(register) = Register::read(&table, unit_ids.clone()) else {
                continue;
            };
            if !channels.insert(register.channel.clone()) {
                node.report(
                    format!("channel {:?} is fed twice", register.channel),
                    "give each register its own channel",
                );
            }
            registers.push(register);
        }
        Some(Modbus {
            link: link?,
            poll: poll?,
            timeout: timeout?,
            registers,
        })
    }
}

impl Register {
    fn read(table: &TableReader<'_>, unit_ids: RangeInclusive<u64>) -> Option<Register> {
        let channel = table
            .required("channel", "\"zone-1\"")
            .and_then(|node| node.words());
        let unit_id = table
            .optional("unit_id")
            .map_or(Some(1), |node| node.whole(unit_ids));
        let tables = [
            ("input", RegisterTable::Input),
            ("holding", RegisterTable::Holding),
        ];
        let which = table
            .required("table", "\"input\"")
            .and_then(|node| node.choice(&tables));
        let formats = [
            ("int16", RegisterFormat::Int16),
            ("uint16", RegisterFormat::Uint16),
            ("int32", RegisterFormat::Int32),
            ("uint32", RegisterFormat::Uint32),
            ("float32", RegisterFormat::Float32),
        ];
        let format = table
            .required("format", "\"int16\"")
            .and_then(|node| node.choice(&formats));
        let last = 65_536 - u64::from(format.map_or(1, RegisterFormat::registers));
        let address = table
            .required("address", "0")
            .and_then(|node| node.whole(0..=last));
        let orders = [("high-first", false), ("low-first", true)];
        let order = table
            .optional("word_order")
            .map_or(Some(false), |node| node.choice(&orders));
        let (scale, offset) = read_scale(table);
        let units = [("C", false), ("F", true)];
        let fahrenheit = table
            .optional("unit")
            .map_or(Some(false), |node| node.choice(&units));
        table.finish();
        Some(Register {
            channel: channel?,
            unit_id: unit_id? as u8,
            table: which?,
            address: address? as u16,
            format: format?,
            low_word_first: order?,
            scale: scale?,
            offset: offset?,
            fahrenheit: fahrenheit?,
        })
    }
}

/// `scale`, which is not zero, and `offset`.
fn read_scale(table: &TableReader<'_>) -> (Option<f64>, Option<f64>) {
    let scale = table.optional("scale").map_or(Some(1.0), |node| {
        let scale = node.number()?;
        if scale == 0.0 {
            node.report("makes every reading the same", "write for example 0.1");
            return None;
        }
        Some(scale)
    });
    let offset = table
        .optional("offset")
        .map_or(Some(0.0), |node| node.number());
    (scale, offset)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::SourceKind;
    use crate::shop::testing::{each_is_named, sound};

    const TCP: &str = r#"
[[source]]
id = "controllers"
kind = "modbus-tcp"
host = "192.0.2.10"
poll = "2 s"
timeout = "500 s"

[[source.register]]
channel = "zone-1"
unit_id = 255
table = "holding"
address = 65534
format = "float32"
word_order = "low-first"
scale = 0.1
offset = -5
unit = "F"
"#;

    fn modbus(text: &str) -> Modbus {
        match &sound(text).sources[0].kind {
            SourceKind::Modbus(modbus) => modbus.clone(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_register_is_read_with_all_its_keys() {
        let modbus = modbus(TCP);
        let host = "192.0.2.10".to_owned();
        assert_eq!(modbus.link, ModbusLink::Tcp { host, port: 502 });
        assert_eq!(
            (modbus.poll, modbus.timeout),
            (Seconds(2.0), Seconds(500.0))
        );
        assert_eq!(
            modbus.registers,
            [Register {
                channel: "zone-1".to_owned(),
                unit_id: 255,
                table: RegisterTable::Holding,
                address: 65_534,
                format: RegisterFormat::Float32,
                low_word_first: true,
                scale: 0.1,
                offset: -5.0,
                fahrenheit: true,
            }]
        );
    }

    /// Even parity unless told otherwise, unit ids from 1 to 247: MODBUS over serial line, V1.02,
    /// sections 2.5.1 and 2.2.
    #[test]
    fn a_serial_bus_follows_its_specification() {
        let rtu = TCP
            .replace("modbus-tcp", "modbus-rtu")
            .replace("host = \"192.0.2.10\"", "port = \"/dev/ttyUSB0\"");
        let sound = rtu.replace("unit_id = 255", "unit_id = 247");
        match modbus(&sound).link {
            ModbusLink::Rtu(settings) => assert_eq!(settings.parity, Parity::Even),
            other => panic!("{other:?}"),
        }
        each_is_named(
            &sound,
            &[
                (
                    "unit_id = 247",
                    "unit_id = 248",
                    "source[0].register[0].unit_id: 248 is not",
                ),
                (
                    "unit_id = 247",
                    "unit_id = 0",
                    "source[0].register[0].unit_id: 0 is not",
                ),
            ],
        );
    }

    #[test]
    fn what_cannot_be_is_named() {
        let register = &TCP[TCP.find("[[source.register]]").unwrap()..];
        let twice = format!("{register}{register}");
        each_is_named(
            TCP,
            &[
                // A number of two registers does not fit behind the last address.
                (
                    "65534",
                    "65535",
                    "source[0].register[0].address: 65535 is not a whole number from 0 to 65534",
                ),
                (
                    "\"float32\"",
                    "\"float64\"",
                    "source[0].register[0].format: \"float64\" is unknown here; did you mean \"float32\"?",
                ),
                (
                    "\"holding\"",
                    "\"coil\"",
                    "source[0].register[0].table: \"coil\" is unknown here; known are input, holding",
                ),
                (
                    "\"low-first\"",
                    "\"little\"",
                    "source[0].register[0].word_order: \"little\" is unknown here",
                ),
                (
                    "scale = 0.1",
                    "scale = 0",
                    "source[0].register[0].scale: makes every reading the same",
                ),
                (
                    "unit = \"F\"",
                    "unit = \"f\"",
                    "source[0].register[0].unit: \"f\" is unknown here",
                ),
                (
                    "poll = \"2 s\"",
                    "poll = 2",
                    "source[0].poll: 2 has no unit; write \"2 s\"",
                ),
                (
                    "poll = \"2 s\"",
                    "poll = \"0 s\"",
                    "source[0].poll: \"0 s\" is not above zero",
                ),
                (
                    "192.0.2.10",
                    "192.0.2.10:502",
                    "source[0].host: \"192.0.2.10:502\" is no host",
                ),
                (register, "", "source[0].register: is missing"),
                (
                    register,
                    &twice,
                    "source[0].register[1]: channel \"zone-1\" is fed twice",
                ),
            ],
        );
    }
}
