//! Sources: where readings come from, one file for each kind.

mod line;
mod modbus;
mod mqtt;
mod serial;

use std::path::PathBuf;

pub use line::LineFormat;
pub use modbus::{Modbus, ModbusLink, Register, RegisterFormat, RegisterTable};
pub use mqtt::{Mqtt, MqttTopic};
pub use serial::{FlowControl, Parity, Port, SerialLine, SerialSettings};

use crate::ink::read_id;
use crate::reading::TableReader;

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
        /// The file, relative to the shop file; may come from the call instead.
        file: Option<PathBuf>,
        /// How many times faster than it happened.
        faster: f64,
    },
    /// The simulated shop.
    Simulated {
        /// A scenario file, relative to the shop file.
        scenario: Option<PathBuf>,
        /// Where its chances begin; the same seed gives the same readings.
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

const KINDS: [(&str, Kind); 6] = [
    ("serial", Kind::Serial),
    ("modbus-rtu", Kind::ModbusRtu),
    ("modbus-tcp", Kind::ModbusTcp),
    ("mqtt", Kind::Mqtt),
    ("replay", Kind::Replay),
    ("simulated", Kind::Simulated),
];

impl Source {
    pub(super) fn read(table: &TableReader<'_>) -> Option<Source> {
        let id = table
            .required("id", "\"probes\"")
            .and_then(|node| read_id(&node));
        // Without its kind, none of its keys can be judged.
        let kind = table
            .required("kind", "\"serial\"")
            .and_then(|node| node.choice(&KINDS))?;
        let kind = match kind {
            Kind::Serial => SerialLine::read(table).map(SourceKind::Serial),
            Kind::ModbusRtu => Modbus::read_rtu(table).map(SourceKind::Modbus),
            Kind::ModbusTcp => Modbus::read_tcp(table).map(SourceKind::Modbus),
            Kind::Mqtt => Mqtt::read(table).map(SourceKind::Mqtt),
            Kind::Replay => Some(SourceKind::Replay {
                file: read_path(table, "file"),
                faster: read_faster(table),
            }),
            Kind::Simulated => Some(SourceKind::Simulated {
                scenario: read_path(table, "scenario"),
                seed: table
                    .optional("seed")
                    .and_then(|node| node.whole(0..=i64::MAX as u64))
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

    /// The names of its channels; `None` where they are known only when readings come.
    pub fn channels(&self) -> Option<Vec<String>> {
        match &self.kind {
            SourceKind::Serial(line) => line.format.channels(),
            SourceKind::Modbus(modbus) => {
                let channels = modbus.registers.iter();
                Some(channels.map(|register| register.channel.clone()).collect())
            }
            SourceKind::Mqtt(mqtt) => mqtt.channels(),
            SourceKind::Replay { .. } | SourceKind::Simulated { .. } => None,
        }
    }
}

fn read_path(table: &TableReader<'_>, key: &'static str) -> Option<PathBuf> {
    table
        .optional(key)
        .and_then(|node| node.words())
        .map(PathBuf::from)
}

fn read_faster(table: &TableReader<'_>) -> f64 {
    let faster = table.optional("faster").and_then(|node| {
        let faster = node.number()?;
        if !(1e-3..=1e6).contains(&faster) {
            node.report(
                "time runs between a thousandth and a million times as fast",
                "write for example 1 or 60",
            );
            return None;
        }
        Some(faster)
    });
    faster.unwrap_or(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const PLAYED: &str = r#"
[[source]]
id = "again"
kind = "replay"

[[source]]
id = "pretended"
kind = "simulated"
scenario = "morning.toml"
seed = 7
faster = 60
"#;

    #[test]
    fn a_replay_needs_no_more_than_its_id() {
        let shop = sound(PLAYED);
        let replay = SourceKind::Replay {
            file: None,
            faster: 1.0,
        };
        assert_eq!(shop.sources[0].kind, replay);
        let simulated = SourceKind::Simulated {
            scenario: Some("morning.toml".into()),
            seed: 7,
            faster: 60.0,
        };
        assert_eq!(shop.sources[1].kind, simulated);
    }

    #[test]
    fn what_cannot_be_is_named() {
        each_is_named(
            PLAYED,
            &[
                (
                    "faster = 60",
                    "faster = 0",
                    "source[1].faster: time runs between",
                ),
                (
                    "faster = 60",
                    "faster = \"60\"",
                    "source[1].faster: \"60\" is a text",
                ),
                (
                    "faster = 60",
                    "faster = inf",
                    "source[1].faster: inf is no finite number",
                ),
                (
                    "seed = 7",
                    "seed = -7",
                    "source[1].seed: -7 is not a whole number",
                ),
                (
                    "\"pretended\"",
                    "\"again\"",
                    "source[1]: source \"again\" is declared twice",
                ),
                ("kind = \"replay\"", "", "source[0].kind: is missing"),
            ],
        );
    }
}
