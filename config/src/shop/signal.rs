//! Signals: inputs that are no temperatures.

use crate::ink::read_id;
use crate::quantity::Metres;
use crate::reading::{Node, TableReader};
use crate::shop::reference::Known;
use crate::station::StationKind;

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
        /// From the end of the heated length to the eye behind it.
        distance: Option<Metres>,
    },
    /// Whether the exhaust is proved: from `proved_from` up it is.
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
    pub(super) fn read(node: &Node<'_>, table: &TableReader<'_>, known: &Known) -> Option<Signal> {
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
        let kind_node = table.required("kind", "\"belt\"");
        let kind = kind_node.as_ref().and_then(|node| node.choice(&kinds));
        let heat = known.heat(station.as_ref());
        if let (Some(node), Some(Kind::Belt), Some(heat)) = (&kind_node, kind, heat)
            && heat.kind == StationKind::FlashUnit
        {
            node.report(
                "its station is a flash unit, which has no belt",
                "mend one of them",
            );
        }
        let kind = match kind {
            Some(kind) => read_kind(table, kind),
            None => {
                table.pass_over(&["unit", "scale", "distance", "proved_from"]);
                None
            }
        };
        let source = table
            .optional("source")
            .and_then(|node| known.source(&node));
        let channel_node = table.optional("channel");
        let channel = channel_node.as_ref().and_then(Node::words);
        if let Some(name) = channel.as_deref().or(id.as_deref()) {
            known.check_channel(source.as_ref(), name, channel_node.as_ref().unwrap_or(node));
        }
        table.finish();
        let id = id?;
        Some(Signal {
            channel: channel.unwrap_or_else(|| id.clone()),
            id,
            station: station?,
            kind: kind?,
            source,
        })
    }
}

/// The units of a belt's speed, each in metres a second (foot and inch: NIST SP 811, appendix B.8).
const BELT_UNITS: [(&str, f64); 5] = [
    ("m/min", 1.0 / 60.0),
    ("ft/min", 0.3048 / 60.0),
    ("in/min", 0.0254 / 60.0),
    ("m/s", 1.0),
    ("cm/s", 0.01),
];

fn read_kind(table: &TableReader<'_>, kind: Kind) -> Option<SignalKind> {
    match kind {
        Kind::Belt => {
            let unit = table
                .required("unit", "\"m/min\"")
                .and_then(|node| node.choice(&BELT_UNITS));
            let scale = table.optional("scale").map_or(Some(1.0), |node| {
                let scale = node.number()?;
                if scale <= 0.0 {
                    node.report("a belt runs forwards", "write for example 0.1");
                    return None;
                }
                Some(scale)
            });
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const SIGNALS: &str = r#"
[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
zones = [ { length = "2 m", air = "190 C" } ]

[[station]]
id = "flash-1"
kind = "flash-unit"

[[signal]]
id = "speed"
station = "belt-1"
kind = "belt"
unit = "ft/min"
scale = 0.5
channel = "encoder"

[[signal]]
id = "prints"
station = "belt-1"
kind = "count"
distance = "10 cm"

[[signal]]
id = "fan"
station = "belt-1"
kind = "exhaust"
proved_from = 12
"#;

    /// A foot a minute is 5.08e-3 m/s (NIST SP 811, appendix B.8); half of it, as the scale asks.
    #[test]
    fn signals_are_read_with_all_their_keys() {
        let [speed, prints, fan] = sound(SIGNALS).signals.try_into().unwrap();
        let SignalKind::Belt { metres_per_second } = speed.kind else {
            panic!("{speed:?}");
        };
        assert!((metres_per_second - 2.54e-3).abs() < 1e-15);
        assert_eq!(
            (speed.channel.as_str(), prints.channel.as_str()),
            ("encoder", "prints")
        );
        let distance = Some(Metres(0.1));
        assert_eq!(prints.kind, SignalKind::Count { distance });
        assert_eq!(fan.kind, SignalKind::Exhaust { proved_from: 12.0 });
    }

    #[test]
    fn what_cannot_be_is_named() {
        let flash = "station = \"flash-1\"\nkind = \"belt\"";
        each_is_named(
            SIGNALS,
            &[
                ("unit = \"ft/min\"", "", "signal[0].unit: is missing"),
                (
                    "\"ft/min\"",
                    "\"fpm\"",
                    "signal[0].unit: \"fpm\" is unknown here",
                ),
                (
                    "scale = 0.5",
                    "scale = -0.5",
                    "signal[0].scale: a belt runs forwards",
                ),
                (
                    "kind = \"belt\"",
                    "kind = \"bell\"",
                    "signal[0].kind: \"bell\" is unknown here; did you mean \"belt\"?",
                ),
                (
                    "station = \"belt-1\"\nkind = \"belt\"",
                    flash,
                    "signal[0].kind: its station is a flash unit",
                ),
                (
                    "proved_from = 12",
                    "proved_from = \"12\"",
                    "signal[2].proved_from: \"12\" is a text",
                ),
                (
                    "proved_from = 12",
                    "unit = \"m/min\"",
                    "signal[2].unit: is unknown here",
                ),
                (
                    "\"prints\"",
                    "\"speed\"",
                    "signal[1]: signal \"speed\" is declared twice",
                ),
            ],
        );
    }

    #[test]
    fn a_belt_whose_speed_nobody_tells_is_warned_of() {
        let warnings = |text: &str| crate::shop::Shop::parse("x", text).warnings;
        assert_eq!(warnings(SIGNALS), vec![]);
        let without = SIGNALS.split("[[signal]]").next().unwrap();
        let found = warnings(without);
        assert_eq!(found.len(), 1);
        assert!(
            found[0]
                .to_string()
                .contains("neither a nominal belt speed nor a belt signal")
        );
    }
}
