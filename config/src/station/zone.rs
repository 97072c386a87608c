//! The heated stretch of a station and its zones.

use serde::{Deserialize, Serialize};

use super::StationKind;
use crate::quantity::{Celsius, Metres};
use crate::reading::{Node, TableReader};

/// A stretch of the chamber (or the lamp of a flash unit) with its own set temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Zone {
    /// Its length along the belt.
    pub length: Metres,
    /// Set temperature of the air; `None` where the zone only radiates.
    pub air: Option<Celsius>,
    /// Set temperature of the radiant panel; `None` where the zone only blows.
    pub panel: Option<Celsius>,
}

/// The heated stretch and its zones.
pub(super) struct Heat {
    pub(super) length: Metres,
    pub(super) zones: Vec<Zone>,
}

impl Heat {
    pub(super) fn read(table: &TableReader<'_>, kind: Option<StationKind>) -> Option<Heat> {
        let flash = kind == Some(StationKind::FlashUnit);
        let zones_example = "[ { length = \"2.4 m\", air = \"190 C\" } ]";
        let (length, zones) = if flash {
            (table.optional("heated_length"), table.optional("zones"))
        } else {
            (
                table.required("heated_length", "\"2.4 m\""),
                table.required("zones", zones_example),
            )
        };
        let declared = (length.is_some(), zones.is_some());
        let length: Option<Metres> = length.and_then(|node| node.above_zero());
        let zones = zones.and_then(|node| read_zones(&node, length));
        match (flash, declared) {
            // A lamp over a print that lies still: its length matters to nobody who does not tune it.
            (true, (false, false)) => Some(Heat {
                length: Metres(0.0),
                zones: Vec::new(),
            }),
            (true, (true, false)) => Some(Heat {
                length: length?,
                zones: Vec::new(),
            }),
            (true, (false, true)) => {
                let zones = zones?;
                let length = Metres(zones.iter().map(|zone| zone.length.0).sum());
                Some(Heat { length, zones })
            }
            _ => Some(Heat {
                length: length?,
                zones: zones?,
            }),
        }
    }
}

fn read_zones(node: &Node<'_>, heated_length: Option<Metres>) -> Option<Vec<Zone>> {
    let elements = node.elements()?;
    if elements.is_empty() {
        node.report(
            "names no zone",
            "add at least one, with its length and air or panel",
        );
        return None;
    }
    let zones: Vec<Option<Zone>> = elements.iter().map(read_zone).collect();
    let zones = zones.into_iter().collect::<Option<Vec<Zone>>>()?;
    let sum: f64 = zones.iter().map(|zone| zone.length.0).sum();
    if let Some(length) = heated_length
        && (sum - length.0).abs() > 0.01 * length.0
    {
        node.report(
            format!(
                "the zones are {sum:.3} m long, the heated length {:.3} m",
                length.0
            ),
            "let the zones' lengths add up to heated_length",
        );
        return None;
    }
    Some(zones)
}

fn read_zone(node: &Node<'_>) -> Option<Zone> {
    let table = node.table()?;
    let length = table
        .required("length", "\"1.2 m\"")
        .and_then(|node| node.above_zero());
    let (air, panel) = (table.optional("air"), table.optional("panel"));
    table.finish();
    if air.is_none() && panel.is_none() {
        table.report(
            "",
            "has neither air nor panel",
            "add air = \"190 C\", panel = \"420 C\", or both",
        );
        return None;
    }
    // A key that is there must be readable; one that is not there is none.
    let temperature = |node: Option<Node<'_>>| match node {
        Some(node) => node.quantity::<Celsius>().map(Some),
        None => Some(None),
    };
    let (air, panel) = (temperature(air), temperature(panel));
    Some(Zone {
        length: length?,
        air: air?,
        panel: panel?,
    })
}
