//! Probes: where each sits, and what its numbers mean.

use crate::ink::read_id;
use crate::quantity::{CelsiusDifference, Metres};
use crate::reading::{Node, TableReader};
use crate::shop::calibration::{Calibration, read_uncertainty};
use crate::shop::reference::Known;
use crate::shop::sensor::Sensor;

/// Where a probe sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Its junction lies in the wet ink and travels with a print.
    Ride,
    /// The same on unprinted cloth.
    Cloth,
    /// Fixed, sees prints leave.
    Exit,
    /// Air or panel in the chamber.
    Zone,
    /// A platen.
    Platen,
    /// The room.
    Room,
}

/// What the numbers of a probe's channel are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ReadingUnit {
    /// Degrees Celsius.
    #[default]
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
    /// Millivolts of a thermocouple.
    Millivolts,
}

/// What a probe in a zone senses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Senses {
    /// The air.
    #[default]
    Air,
    /// The radiant panel.
    Panel,
}

/// A temperature sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Probe {
    /// The name by which files and commands call it.
    pub id: String,
    /// The station it belongs to; `None` for one in the room.
    pub station: Option<String>,
    /// Where it sits.
    pub place: Place,
    /// The source of its readings; may be missing in files for offline calls.
    pub source: Option<String>,
    /// The channel of that source; the probe's id where none is given.
    pub channel: String,
    /// What the numbers of that channel are.
    pub unit: ReadingUnit,
    /// The channel of the same source that holds the reference junction's temperature, in °C; only beside
    /// millivolts, and where it is `None` they are against 0 °C.
    pub junction: Option<String>,
    /// What it is; `None` where nothing is said.
    pub sensor: Option<Sensor>,
    /// The expanded uncertainty (k = 2) that wins over the sensor's class.
    pub uncertainty: Option<CelsiusDifference>,
    /// Number of the zone it sits in, from 1.
    pub zone: Option<u32>,
    /// What it senses of its zone.
    pub senses: Senses,
    /// Exit probes: from the end of the heated length to the spot.
    pub distance: Option<Metres>,
    /// Exit probes: diameter of the spot.
    pub spot: Option<Metres>,
    /// Its last calibration.
    pub calibration: Option<Calibration>,
}

const PLACES: [(&str, Place); 6] = [
    ("ride", Place::Ride),
    ("cloth", Place::Cloth),
    ("exit", Place::Exit),
    ("zone", Place::Zone),
    ("platen", Place::Platen),
    ("room", Place::Room),
];

const UNITS: [(&str, ReadingUnit); 4] = [
    ("C", ReadingUnit::Celsius),
    ("F", ReadingUnit::Fahrenheit),
    ("K", ReadingUnit::Kelvin),
    ("mV", ReadingUnit::Millivolts),
];

/// Where a probe's readings come from.
struct Wiring {
    source: Option<String>,
    /// As written; the probe's id where it is not.
    channel: Option<String>,
    unit: ReadingUnit,
    junction: Option<String>,
}

/// Where a probe sits, with what belongs to its place.
struct Seat {
    place: Option<Place>,
    station: Option<String>,
    zone: Option<u32>,
    senses: Senses,
    distance: Option<Metres>,
    spot: Option<Metres>,
}

impl Probe {
    pub(super) fn read(node: &Node<'_>, table: &TableReader<'_>, known: &Known) -> Option<Probe> {
        let id = table
            .required("id", "\"exit\"")
            .and_then(|node| read_id(&node));
        let seat = Seat::read(table, known);
        let sensor = table
            .optional("sensor")
            .and_then(|node| Sensor::read(&node));
        let wiring = Wiring::read(node, table, known, id.as_deref(), sensor);
        let uncertainty = table
            .optional("uncertainty")
            .and_then(|node| read_uncertainty(&node));
        let calibration = table
            .optional("calibration")
            .and_then(|node| Calibration::read(&node));
        table.finish();
        let id = id?;
        Some(Probe {
            channel: wiring.channel.unwrap_or_else(|| id.clone()),
            id,
            station: seat.station,
            place: seat.place?,
            source: wiring.source,
            unit: wiring.unit,
            junction: wiring.junction,
            sensor,
            uncertainty,
            zone: seat.zone,
            senses: seat.senses,
            distance: seat.distance,
            spot: seat.spot,
            calibration,
        })
    }
}

impl Seat {
    fn read(table: &TableReader<'_>, known: &Known) -> Seat {
        let place = table
            .required("place", "\"exit\"")
            .and_then(|node| node.choice(&PLACES));
        let station = match place {
            Some(Place::Room) => table.optional("station"),
            _ => table.required("station", "\"belt-1\""),
        };
        let station = station.and_then(|node| known.station(&node));
        let (zone, senses) = read_zone(table, place, station.as_ref(), known);
        let distance = table.optional("distance").and_then(|node| node.quantity());
        let spot = table.optional("spot").and_then(|node| node.above_zero());
        if place == Some(Place::Exit) {
            if !table.has("distance") {
                table.report(
                    "distance",
                    "is missing for an exit probe",
                    "add distance = \"0.35 m\", from the end of the heated length to the spot",
                );
            }
            if !table.has("spot") {
                table.warn(
                    "says nothing of the spot it sees",
                    "add spot = \"30 mm\": without it the print's edge is not told from its middle",
                );
            }
        }
        Seat {
            place,
            station,
            zone,
            senses,
            distance,
            spot,
        }
    }
}

/// The zone that a probe sits in, which its station must have, and what it senses there.
fn read_zone(
    table: &TableReader<'_>,
    place: Option<Place>,
    station: Option<&String>,
    known: &Known,
) -> (Option<u32>, Senses) {
    let senses = [("air", Senses::Air), ("panel", Senses::Panel)];
    let senses = table
        .optional("senses")
        .and_then(|node| node.choice(&senses));
    let Some(node) = table.optional("zone") else {
        return (None, senses.unwrap_or_default());
    };
    let zone = node.whole(1..=99);
    if !matches!(place, Some(Place::Zone) | None) {
        node.report(
            "only a probe with place = \"zone\" sits in a zone",
            "leave it out, or mend place",
        );
    }
    if let (Some(zone), Some(heat)) = (zone, known.heat(station))
        && zone > heat.zones as u64
    {
        node.report(
            format!(
                "{zone} is more than the {} zones of its station",
                heat.zones
            ),
            "count the zones from 1, in the order in which a print meets them",
        );
    }
    (zone.map(|zone| zone as u32), senses.unwrap_or_default())
}

impl Wiring {
    fn read(
        node: &Node<'_>,
        table: &TableReader<'_>,
        known: &Known,
        id: Option<&str>,
        sensor: Option<Sensor>,
    ) -> Wiring {
        let source = table
            .optional("source")
            .and_then(|node| known.source(&node));
        let channel_node = table.optional("channel");
        let channel = channel_node.as_ref().and_then(Node::words);
        if let Some(name) = channel.as_deref().or(id) {
            known.check_channel(source.as_ref(), name, channel_node.as_ref().unwrap_or(node));
        }
        let unit_node = table.optional("unit");
        let unit = unit_node.as_ref().and_then(|node| node.choice(&UNITS));
        if let (Some(node), true) = (&unit_node, known.says_units(source.as_ref())) {
            node.report(
                "stands beside a source whose registers say their unit",
                "give the unit with the register alone",
            );
        }
        let millivolts = unit == Some(ReadingUnit::Millivolts);
        if let (Some(node), true, false) = (
            &unit_node,
            millivolts,
            matches!(sensor, Some(Sensor::Thermocouple { .. })),
        ) {
            node.report(
                "means nothing without the thermocouple's type",
                "add sensor = { kind = \"thermocouple\", type = \"K\" }",
            );
        }
        let junction_node = table.optional("junction");
        let junction = junction_node.as_ref().and_then(Node::words);
        if let (Some(node), Some(name)) = (&junction_node, &junction) {
            known.check_channel(source.as_ref(), name, node);
            if !millivolts {
                node.report(
                    "belongs to millivolts alone",
                    "leave it out, or add unit = \"mV\"",
                );
            }
        }
        Wiring {
            source,
            channel,
            unit: unit.unwrap_or_default(),
            junction,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const PROBES: &str = r#"
[[source]]
id = "line"
kind = "serial"
port = "/dev/ttyUSB0"
format = "fields"
names = ["film", "cold", "exit"]

[[source]]
id = "bus"
kind = "modbus-tcp"
host = "192.0.2.10"
register = [ { channel = "zone-2", table = "input", address = 0, format = "int16" } ]

[[station]]
id = "belt-1"
kind = "belt-dryer"
heated_length = "2 m"
belt = "2 m/min"
zones = [ { length = "1 m", air = "190 C" }, { length = "1 m", panel = "420 C" } ]

[[probe]]
id = "ride"
station = "belt-1"
place = "ride"
source = "line"
channel = "film"
unit = "mV"
junction = "cold"
sensor = { kind = "thermocouple", type = "K" }

[[probe]]
id = "exit"
station = "belt-1"
place = "exit"
source = "line"
unit = "F"
distance = "35 cm"
spot = "30 mm"

[[probe]]
id = "zone-2"
station = "belt-1"
place = "zone"
zone = 2
senses = "panel"
source = "bus"
"#;

    #[test]
    fn probes_are_read_with_all_their_keys() {
        let [ride, exit, zone] = sound(PROBES).probes.try_into().unwrap();
        assert_eq!(
            (ride.unit, ride.junction.as_deref()),
            (ReadingUnit::Millivolts, Some("cold"))
        );
        assert_eq!(
            (ride.channel.as_str(), ride.source.as_deref()),
            ("film", Some("line"))
        );
        assert_eq!(
            (exit.unit, exit.channel.as_str()),
            (ReadingUnit::Fahrenheit, "exit")
        );
        assert_eq!(
            (exit.distance, exit.spot),
            (Some(Metres(0.35)), Some(Metres(0.03)))
        );
        assert_eq!((zone.zone, zone.senses), (Some(2), Senses::Panel));
    }

    #[test]
    fn what_cannot_be_is_named() {
        let sensor = "sensor = { kind = \"thermocouple\", type = \"K\" }";
        each_is_named(
            PROBES,
            &[
                ("place = \"ride\"", "", "probe[0].place: is missing"),
                (
                    "station = \"belt-1\"\nplace = \"ride\"",
                    "place = \"ride\"",
                    "probe[0].station: is missing",
                ),
                (
                    "station = \"belt-1\"\nplace = \"ride\"",
                    "station = \"bell-1\"\nplace = \"ride\"",
                    "probe[0].station: no station \"bell-1\" is declared; did you mean \"belt-1\"?",
                ),
                (
                    "source = \"line\"\nchannel",
                    "source = \"lines\"\nchannel",
                    "probe[0].source: no source \"lines\" is declared; did you mean \"line\"?",
                ),
                (
                    "channel = \"film\"",
                    "channel = \"flim\"",
                    "probe[0].channel: its source has no channel \"flim\"; did you mean \"film\"?",
                ),
                (
                    "id = \"exit\"",
                    "id = \"exit-1\"",
                    "probe[1]: its source has no channel \"exit-1\"; did you mean \"exit\"?",
                ),
                (
                    "junction = \"cold\"",
                    "junction = \"warm\"",
                    "probe[0].junction: its source has no channel \"warm\"",
                ),
                (
                    "unit = \"mV\"",
                    "",
                    "probe[0].junction: belongs to millivolts alone",
                ),
                (
                    sensor,
                    "",
                    "probe[0].unit: means nothing without the thermocouple's type",
                ),
                (
                    "unit = \"F\"",
                    "unit = \"f\"",
                    "probe[1].unit: \"f\" is unknown here; did you mean \"F\"?",
                ),
                (
                    "senses = \"panel\"",
                    "unit = \"F\"",
                    "probe[2].unit: stands beside a source whose registers say their unit",
                ),
                (
                    "distance = \"35 cm\"",
                    "",
                    "probe[1].distance: is missing for an exit probe",
                ),
                (
                    "distance = \"35 cm\"",
                    "distance = \"-35 cm\"",
                    "probe[1].distance: \"-35 cm\" is negative",
                ),
                (
                    "zone = 2",
                    "zone = 3",
                    "probe[2].zone: 3 is more than the 2 zones of its station",
                ),
                (
                    "unit = \"F\"",
                    "zone = 1",
                    "probe[1].zone: only a probe with place = \"zone\" sits in a zone",
                ),
                (
                    "\"panel\"",
                    "\"light\"",
                    "probe[2].senses: \"light\" is unknown here",
                ),
                (
                    "id = \"exit\"",
                    "id = \"an exit\"",
                    "probe[1].id: \"an exit\" is no id",
                ),
            ],
        );
    }

    #[test]
    fn an_exit_probe_without_its_spot_is_warned_of() {
        let text = PROBES.replace("spot = \"30 mm\"", "");
        let warnings = crate::shop::Shop::parse("x", &text).warnings;
        assert_eq!(warnings.len(), 1);
        assert!(
            warnings[0]
                .to_string()
                .contains("probe[1]: says nothing of the spot"),
            "{warnings:?}"
        );
    }
}
