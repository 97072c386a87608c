//! Sources: where readings come from.

use std::path::PathBuf;

use crate::ink::read_id;
use crate::quantity::Seconds;
use crate::reading::{Node, TableReader};

/// Where a password, token or key is kept: never in the shop file itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Secret {
    /// The first line of a file.
    File(PathBuf),
    /// An environment variable.
    Environment(String),
}

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

/// Settings of a serial line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialSettings {
    /// How the adapter is found.
    pub port: Port,
    /// Bits a second.
    pub baud: u32,
    /// 5 to 8.
    pub data_bits: u8,
    /// `none`, `even` or `odd`.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
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

/// How a line of text carries readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LineFormat {
    /// Fields between separators, named in order; an empty name is passed over.
    Fields {
        /// What separates them.
        separator: String,
        /// Channel names in order.
        names: Vec<String>,
    },
    /// `name=value`, any number of them.
    Pairs {
        /// What separates them.
        separator: String,
    },
    /// One JSON object, its members being channels.
    Json,
    /// A regular expression whose named groups are channels.
    Pattern(String),
}

/// A serial line that speaks lines of text.
#[derive(Debug, Clone, PartialEq)]
pub struct SerialLine {
    /// The line's settings.
    pub settings: SerialSettings,
    /// How its lines are read.
    pub format: LineFormat,
}

/// How Modbus devices are reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ModbusLink {
    /// RTU on a serial line.
    Rtu(SerialSettings),
    /// TCP.
    Tcp {
        /// Host name or address.
        host: String,
        /// Port.
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

/// One number that is polled.
#[derive(Debug, Clone, PartialEq)]
pub struct Register {
    /// The channel that it feeds.
    pub channel: String,
    /// The device's unit id, 1 to 247.
    pub unit_id: u8,
    /// Which table.
    pub table: RegisterTable,
    /// Address, from 0.
    pub address: u16,
    /// Format.
    pub format: RegisterFormat,
    /// Whether the second register of two is the higher word.
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
    /// How often each register is read.
    pub poll: Seconds,
    /// How long an answer may take.
    pub timeout: Seconds,
    /// What is read.
    pub registers: Vec<Register>,
}

/// A topic filter and the channel that it feeds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MqttTopic {
    /// The filter, with `+` and `#`.
    pub filter: String,
    /// The channel; `{1}`, `{2}` stand for what the wildcards matched.
    pub channel: String,
    /// JSON pointer (RFC 6901) to the value; `None`: the payload is a bare number.
    pub value: Option<String>,
    /// JSON pointer to the device's own time.
    pub time: Option<String>,
    /// JSON pointer to the device's sequence number.
    pub sequence: Option<String>,
}

/// A broker and what is read from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Mqtt {
    /// Host name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// 3.1.1 (4) or 5.
    pub version: u8,
    /// Whether to speak TLS, and the roots to trust; an empty path means the system's.
    pub tls: Option<PathBuf>,
    /// User name.
    pub user: Option<String>,
    /// Where the password is kept.
    pub password: Option<Secret>,
    /// Topics.
    pub topics: Vec<MqttTopic>,
}

/// What a source is.
#[derive(Debug, Clone, PartialEq)]
pub enum SourceKind {
    /// Lines of text from a serial port.
    Serial(SerialLine),
    /// Modbus registers.
    Modbus(Modbus),
    /// MQTT topics.
    Mqtt(Mqtt),
    /// A trace file, played again.
    Replay {
        /// The file; may come from the call instead.
        file: Option<PathBuf>,
        /// How many times faster than it happened.
        faster: f64,
    },
    /// The simulated shop.
    Simulated {
        /// A scenario file.
        scenario: Option<PathBuf>,
        /// Where its chances begin.
        seed: u64,
        /// How many times faster than real.
        faster: f64,
    },
}

/// Where readings come from.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// The name by which probes and signals call it.
    pub id: String,
    /// What it is.
    pub kind: SourceKind,
}

#[derive(Clone, Copy)]
enum Kind {
    Serial,
    ModbusRtu,
    ModbusTcp,
    Mqtt,
    Replay,
    Simulated,
}

impl Source {
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Source> {
        let id = table
            .required("id", "\"probes\"")
            .and_then(|node| read_id(&node));
        let kinds = [
            ("serial", Kind::Serial),
            ("modbus-rtu", Kind::ModbusRtu),
            ("modbus-tcp", Kind::ModbusTcp),
            ("mqtt", Kind::Mqtt),
            ("replay", Kind::Replay),
            ("simulated", Kind::Simulated),
        ];
        let kind = table
            .required("kind", "\"serial\"")
            .and_then(|node| node.choice(&kinds))?;
        let kind = match kind {
            Kind::Serial => read_serial(table).map(SourceKind::Serial),
            Kind::ModbusRtu | Kind::ModbusTcp => read_modbus(table, kind).map(SourceKind::Modbus),
            Kind::Mqtt => read_mqtt(table).map(SourceKind::Mqtt),
            Kind::Replay => Some(SourceKind::Replay {
                file: table
                    .optional("file")
                    .and_then(|node| node.text())
                    .map(PathBuf::from),
                faster: read_faster(table),
            }),
            Kind::Simulated => Some(SourceKind::Simulated {
                scenario: table
                    .optional("scenario")
                    .and_then(|node| node.text())
                    .map(PathBuf::from),
                seed: table
                    .optional("seed")
                    .and_then(|node| node.whole(0..=u64::MAX))
                    .unwrap_or(1),
                faster: read_faster(table),
            }),
        };
        table.finish();
        Some(Source {
            id: id?,
            kind: kind?,
        })
    }
}

fn read_faster(table: &TableReader<'_>) -> f64 {
    let faster = table.optional("faster").and_then(|node| {
        let faster = node.number()?;
        if faster <= 0.0 {
            node.report("time does not run backwards", "write for example 1 or 60");
            return None;
        }
        Some(faster)
    });
    faster.unwrap_or(1.0)
}

fn read_settings(table: &TableReader<'_>, even: bool) -> Option<SerialSettings> {
    let port = read_port(table);
    let baud = table
        .optional("baud")
        .map_or(Some(9600), |node| node.whole(50..=4_000_000));
    let data_bits = table
        .optional("data_bits")
        .map_or(Some(8), |node| node.whole(5..=8));
    let parities = [
        ("none", Parity::None),
        ("even", Parity::Even),
        ("odd", Parity::Odd),
    ];
    let usual = if even { Parity::Even } else { Parity::None };
    let parity = table
        .optional("parity")
        .map_or(Some(usual), |node| node.choice(&parities));
    let stop_bits = table
        .optional("stop_bits")
        .map_or(Some(1), |node| node.whole(1..=2));
    Some(SerialSettings {
        port: port?,
        baud: baud? as u32,
        data_bits: data_bits? as u8,
        parity: parity?,
        stop_bits: stop_bits? as u8,
    })
}

fn read_port(table: &TableReader<'_>) -> Option<Port> {
    if let Some(node) = table.optional("usb") {
        let usb = node.table()?;
        let number = |key: &'static str| {
            usb.required(key, "\"0403\"").and_then(|node| {
                let text = node.text()?;
                let number = u16::from_str_radix(&text, 16).ok();
                if number.is_none() {
                    node.report(
                        format!("{text:?} is no USB id"),
                        "write four hex digits, as \"0403\"",
                    );
                }
                number
            })
        };
        let (vendor, product) = (number("vendor"), number("product"));
        let serial = usb.optional("serial").and_then(|node| node.text());
        usb.finish();
        return Some(Port::Usb {
            vendor: vendor?,
            product: product?,
            serial,
        });
    }
    let example = "\"/dev/ttyUSB0\", or usb = { vendor = \"0403\", product = \"6001\" }";
    let path = table
        .required("port", example)
        .and_then(|node| node.text())?;
    Some(Port::Path(PathBuf::from(path)))
}

#[derive(Clone, Copy)]
enum FormatKind {
    Fields,
    Pairs,
    Json,
    Pattern,
}

fn read_serial(table: &TableReader<'_>) -> Option<SerialLine> {
    let settings = read_settings(table, false);
    let kinds = [
        ("fields", FormatKind::Fields),
        ("pairs", FormatKind::Pairs),
        ("json", FormatKind::Json),
        ("pattern", FormatKind::Pattern),
    ];
    let kind = table
        .required("format", "\"fields\"")
        .and_then(|node| node.choice(&kinds));
    let separator = |usual: &str| {
        let separator = table.optional("separator").and_then(|node| node.text());
        separator.unwrap_or_else(|| usual.to_owned())
    };
    let format = match kind? {
        FormatKind::Fields => {
            let names = table
                .required("names", "[\"film\", \"exit\"]")
                .and_then(|node| node.elements());
            let names = names?.iter().map(Node::text).collect::<Option<Vec<_>>>();
            Some(LineFormat::Fields {
                separator: separator(","),
                names: names?,
            })
        }
        FormatKind::Pairs => Some(LineFormat::Pairs {
            separator: separator(" "),
        }),
        FormatKind::Json => Some(LineFormat::Json),
        FormatKind::Pattern => {
            let example = "\"T1:(?P<film>[0-9.]+)\"";
            let node = table.required("pattern", example)?;
            let pattern = node.text()?;
            if !pattern.contains("(?<") && !pattern.contains("(?P<") {
                node.report(
                    "has no named group",
                    format!("name each channel: {example}"),
                );
            }
            Some(LineFormat::Pattern(pattern))
        }
    };
    Some(SerialLine {
        settings: settings?,
        format: format?,
    })
}

fn read_modbus(table: &TableReader<'_>, kind: Kind) -> Option<Modbus> {
    let link = if matches!(kind, Kind::ModbusRtu) {
        read_settings(table, true).map(ModbusLink::Rtu)
    } else {
        let host = table
            .required("host", "\"192.0.2.10\"")
            .and_then(|node| node.text());
        let port = table
            .optional("port")
            .map_or(Some(502), |node| node.whole(1..=65_535));
        host.zip(port).map(|(host, port)| ModbusLink::Tcp {
            host,
            port: port as u16,
        })
    };
    let time = |key, usual| {
        table
            .optional(key)
            .map_or(Some(Seconds(usual)), |node| node.quantity())
    };
    let (poll, timeout) = (time("poll", 0.5), time("timeout", 1.0));
    let mut registers = Vec::new();
    let tables = table.tables("register");
    if tables.is_empty() {
        table.report(
            "register",
            "is missing",
            "add at least one [[source.register]]",
        );
    }
    for (_, register) in tables {
        registers.extend(read_register(&register));
    }
    Some(Modbus {
        link: link?,
        poll: poll?,
        timeout: timeout?,
        registers,
    })
}

fn read_register(table: &TableReader<'_>) -> Option<Register> {
    let channel = table
        .required("channel", "\"zone-1\"")
        .and_then(|node| node.text());
    let unit_id = table
        .optional("unit_id")
        .map_or(Some(1), |node| node.whole(1..=247));
    let tables = [
        ("input", RegisterTable::Input),
        ("holding", RegisterTable::Holding),
    ];
    let which = table
        .required("table", "\"input\"")
        .and_then(|node| node.choice(&tables));
    let address = table
        .required("address", "0")
        .and_then(|node| node.whole(0..=65_535));
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
    let orders = [("high-first", false), ("low-first", true)];
    let order = table
        .optional("word_order")
        .map_or(Some(false), |node| node.choice(&orders));
    let scale = table
        .optional("scale")
        .map_or(Some(1.0), |node| node.number());
    let offset = table
        .optional("offset")
        .map_or(Some(0.0), |node| node.number());
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

fn read_mqtt(table: &TableReader<'_>) -> Option<Mqtt> {
    let host = table
        .required("host", "\"127.0.0.1\"")
        .and_then(|node| node.text());
    let tls = read_tls_roots(table);
    let usual = if tls.is_some() { 8883 } else { 1883 };
    let port = table
        .optional("port")
        .map_or(Some(usual), |node| node.whole(1..=65_535));
    let versions = [("3.1.1", 4), ("5", 5)];
    let version = table
        .optional("version")
        .map_or(Some(5), |node| node.choice(&versions));
    let user = table.optional("user").and_then(|node| node.text());
    let password = read_secret(table, "password_file", "password_env");
    let tables = table.tables("topic");
    if tables.is_empty() {
        table.report("topic", "is missing", "add at least one [[source.topic]]");
    }
    let topics = tables
        .iter()
        .filter_map(|(_, topic)| read_topic(topic))
        .collect();
    Some(Mqtt {
        host: host?,
        port: port? as u16,
        version: version?,
        tls,
        user,
        password,
        topics,
    })
}

fn read_topic(table: &TableReader<'_>) -> Option<MqttTopic> {
    let filter = table
        .required("filter", "\"shop/dryer/+\"")
        .and_then(|node| {
            let filter = node.text()?;
            let levels: Vec<&str> = filter.split('/').collect();
            let misplaced = levels.iter().enumerate().any(|(number, level)| {
                let hash = level.contains('#') && (*level != "#" || number + 1 != levels.len());
                hash || (level.contains('+') && *level != "+")
            });
            if filter.is_empty() || misplaced {
                node.report(
                    format!("{filter:?} is no topic filter"),
                    "let + stand alone in its level and # alone in the last",
                );
                return None;
            }
            Some(filter)
        });
    let channel = table
        .required("channel", "\"{1}\"")
        .and_then(|node| node.text());
    let pointer = |key| table.optional(key).and_then(|node| read_pointer(&node));
    let (value, time, sequence) = (pointer("value"), pointer("time"), pointer("sequence"));
    table.finish();
    Some(MqttTopic {
        filter: filter?,
        channel: channel?,
        value,
        time,
        sequence,
    })
}

/// A JSON pointer, RFC 6901: empty, or each part after a slash.
fn read_pointer(node: &Node<'_>) -> Option<String> {
    let pointer = node.text()?;
    if !pointer.is_empty() && !pointer.starts_with('/') {
        node.report(
            format!("{pointer:?} is no JSON pointer"),
            format!("write \"/{pointer}\""),
        );
        return None;
    }
    Some(pointer)
}

/// `tls = true` trusts the system's roots, `tls_roots = "FILE"` those of a file.
pub(crate) fn read_tls_roots(table: &TableReader<'_>) -> Option<PathBuf> {
    let wanted = table.optional("tls").and_then(|node| node.truth());
    let roots = table
        .optional("tls_roots")
        .and_then(|node| node.text())
        .map(PathBuf::from);
    match (wanted, roots) {
        (Some(false), Some(_)) => {
            table.report(
                "tls_roots",
                "is given, but tls is false",
                "remove one of them",
            );
            None
        }
        (_, Some(roots)) => Some(roots),
        (Some(true), None) => Some(PathBuf::new()),
        _ => None,
    }
}

/// A secret's file or environment variable; not both.
pub(crate) fn read_secret(
    table: &TableReader<'_>,
    file: &'static str,
    environment: &'static str,
) -> Option<Secret> {
    let path = table.optional(file).and_then(|node| node.text());
    let variable = table.optional(environment).and_then(|node| node.text());
    match (path, variable) {
        (Some(_), Some(_)) => {
            table.report(
                file,
                format!("stands beside {environment}"),
                "keep one of them",
            );
            None
        }
        (Some(path), None) => Some(Secret::File(PathBuf::from(path))),
        (None, Some(variable)) => Some(Secret::Environment(variable)),
        (None, None) => None,
    }
}
