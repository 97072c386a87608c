//! Signals: inputs that are no temperatures.

use crate::ink::read_id;
use crate::quantity::Metres;
use crate::reading::TableReader;
use crate::shop::Known;

/// What a signal tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SignalKind {
    /// The belt's speed; each unit of the reading is so many metres a second.
    Belt {
        /// Metres a second for each unit of the reading.
        metres_per_second: f64,
    },
    /// Prints that a photo-eye has counted.
    Count {
        /// From the end of the heated length to the eye; negative before it.
        distance: Option<Metres>,
    },
    /// Whether the exhaust is proved: above `proved_from` it is.
    Exhaust {
        /// The least reading that proves it.
        proved_from: f64,
    },
}

/// An input that is no temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// The name by which files and commands call it.
    pub id: String,
    /// The station it belongs to.
    pub station: String,
    /// What it tells.
    pub kind: SignalKind,
    /// The source of its readings; may be missing in files for offline calls.
    pub source: Option<String>,
    /// The channel of that source; the signal's id where none is given.
    pub channel: String,
}

#[derive(Clone, Copy)]
enum Kind {
    Belt,
    Count,
    Exhaust,
}

impl Signal {
    pub(crate) fn read(table: &TableReader<'_>, known: &Known<'_>) -> Option<Signal> {
        let id = table
            .required("id", "\"belt-speed\"")
            .and_then(|node| read_id(&node));
        let station = table
            .required("station", "\"belt-1\"")
            .and_then(|node| known.station(&node));
        let kinds = [
            ("belt", Kind::Belt),
            ("count", Kind::Count),
            ("exhaust", Kind::Exhaust),
        ];
        let kind = table
            .required("kind", "\"belt\"")
            .and_then(|node| node.choice(&kinds));
        let kind = kind.and_then(|kind| read_kind(table, kind));
        let source = table
            .optional("source")
            .and_then(|node| known.source(&node));
        let channel = table.optional("channel").and_then(|node| node.text());
        table.finish();
        let id = id?;
        let channel = channel.unwrap_or_else(|| id.clone());
        Some(Signal {
            id,
            station: station?,
            kind: kind?,
            source,
            channel,
        })
    }
}

fn read_kind(table: &TableReader<'_>, kind: Kind) -> Option<SignalKind> {
    match kind {
        Kind::Belt => {
            let units = [
                ("m/min", 1.0 / 60.0),
                ("ft/min", 0.3048 / 60.0),
                ("in/min", 0.0254 / 60.0),
                ("m/s", 1.0),
                ("cm/s", 0.01),
            ];
            let unit = table
                .required("unit", "\"m/min\"")
                .and_then(|node| node.choice(&units));
            let scale = table
                .optional("scale")
                .map_or(Some(1.0), |node| node.number());
            Some(SignalKind::Belt {
                metres_per_second: unit? * scale?,
            })
        }
        Kind::Count => {
            let distance = table.optional("distance").and_then(|node| node.quantity());
            Some(SignalKind::Count { distance })
        }
        Kind::Exhaust => {
            let proved_from = table
                .optional("proved_from")
                .map_or(Some(0.5), |node| node.number());
            Some(SignalKind::Exhaust {
                proved_from: proved_from?,
            })
        }
    }
}
