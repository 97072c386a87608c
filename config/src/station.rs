//! Stations: the heat sources that prints pass.

use crate::ink::read_id;
use crate::quantity::{Celsius, Metres, MetresPerSecond, Seconds};
use crate::reading::{Node, TableReader};

/// What kind of heat source a station is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StationKind {
    /// Prints ride a belt through a heated chamber.
    BeltDryer,
    /// A lamp heats a print that lies still on its platen.
    FlashUnit,
}

/// A stretch of the chamber (or the lamp of a flash unit) with its own set temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    /// Its length along the belt.
    pub length: Metres,
    /// Set temperature of the air; `None` where the zone only radiates.
    pub air: Option<Celsius>,
    /// Set temperature of the radiant panel; `None` where the zone only blows.
    pub panel: Option<Celsius>,
}

/// A belt dryer or a flash unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// The name by which files and commands call it.
    pub id: String,
    /// The name that people read; the id where none is given.
    pub name: String,
    /// Belt dryer or flash unit.
    pub kind: StationKind,
    /// Length of the heated stretch.
    pub heated_length: Metres,
    /// Nominal belt speed, where no signal reports it.
    pub belt: Option<MetresPerSecond>,
    /// The slowest belt the drive can run.
    pub belt_slowest: Option<MetresPerSecond>,
    /// The fastest belt the drive can run.
    pub belt_fastest: Option<MetresPerSecond>,
    /// From print to print along one lane.
    pub print_pitch: Option<Metres>,
    /// Prints side by side on the belt.
    pub lanes: u32,
    /// The zones in the order in which a print meets them.
    pub zones: Vec<Zone>,
    /// Samples further apart than this are a gap; `None`: the default of 5 s.
    pub max_gap: Option<Seconds>,
    /// The temperature above which a print counts as on its way through the heat; `None`: 45 °C.
    pub wake: Option<Celsius>,
}

impl Station {
    /// Reads one `[[station]]`.
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Station> {
        let id = table
            .required("id", "\"belt-1\"")
            .and_then(|node| read_id(&node));
        let name = table.optional("name").and_then(|node| node.text());
        let kinds = [
            ("belt-dryer", StationKind::BeltDryer),
            ("flash-unit", StationKind::FlashUnit),
        ];
        let kind = table
            .required("kind", "\"belt-dryer\"")
            .and_then(|node| node.choice(&kinds));
        let length = table.required("heated_length", "\"2.4 m\"");
        let heated_length: Option<Metres> = length.as_ref().and_then(positive);
        let speed = |key| {
            table
                .optional(key)
                .and_then(|node| node.quantity::<MetresPerSecond>())
        };
        let (belt, slowest, fastest) =
            (speed("belt"), speed("belt_slowest"), speed("belt_fastest"));
        if let (Some(slowest), Some(fastest)) = (slowest, fastest)
            && slowest.0 >= fastest.0
        {
            table.report(
                "belt_slowest",
                "is not below belt_fastest",
                "swap or mend them",
            );
        }
        let print_pitch = table
            .optional("print_pitch")
            .and_then(|node| positive(&node));
        let lanes = table
            .optional("lanes")
            .and_then(|node| node.whole(1..=100))
            .unwrap_or(1);
        let example = "[ { length = \"2.4 m\", air = \"190 C\" } ]";
        let zones = table
            .required("zones", example)
            .and_then(|node| read_zones(&node, heated_length));
        let max_gap = table.optional("max_gap").and_then(|node| node.quantity());
        let wake = table.optional("wake").and_then(|node| node.quantity());
        table.finish();
        let id = id?;
        Some(Station {
            name: name.unwrap_or_else(|| id.clone()),
            id,
            kind: kind?,
            heated_length: heated_length?,
            belt,
            belt_slowest: slowest,
            belt_fastest: fastest,
            print_pitch,
            lanes: lanes as u32,
            zones: zones?,
            max_gap,
            wake,
        })
    }
}

/// A length above zero.
fn positive(node: &Node<'_>) -> Option<Metres> {
    let length: Metres = node.quantity()?;
    if length.0 <= 0.0 {
        node.report("is zero", "write its real length");
        return None;
    }
    Some(length)
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
    let zones = elements
        .iter()
        .map(read_zone)
        .collect::<Option<Vec<Zone>>>()?;
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
        .and_then(|node| positive(&node));
    let temperature = |key| table.optional(key).map(|node| node.quantity::<Celsius>());
    let (air, panel) = (temperature("air"), temperature("panel"));
    table.finish();
    if air.is_none() && panel.is_none() {
        node.report(
            "has neither air nor panel",
            "add air = \"190 C\", panel = \"420 C\", or both",
        );
        return None;
    }
    let read = |value: Option<Option<Celsius>>| match value {
        Some(None) => Err(()),
        Some(value) => Ok(value),
        None => Ok(None),
    };
    Some(Zone {
        length: length?,
        air: read(air).ok()?,
        panel: read(panel).ok()?,
    })
}
