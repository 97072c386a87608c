//! Probes: where each sits, what it is, and how far it may be wrong.

use crate::ink::read_id;
use crate::quantity::{Celsius, CelsiusDifference, Metres};
use crate::reading::{Node, TableReader};
use crate::shop::Known;

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

/// What a probe is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sensor {
    /// A thermocouple of a letter-designated type.
    Thermocouple {
        /// The type's letter in upper case.
        kind: char,
        /// Its tolerance class, 1 to 3 (IEC 60584-1).
        class: u8,
    },
    /// An infrared probe.
    Infrared {
        /// The emissivity that the probe is set to.
        set_emissivity: f64,
        /// The emissivity of what it looks at.
        emissivity: f64,
        /// The expanded uncertainty (k = 2) of that emissivity.
        emissivity_uncertainty: f64,
        /// What the surface reflects; `None`: the room.
        reflected: Option<Celsius>,
        /// The band of wavelengths.
        band: (Metres, Metres),
    },
}

/// A calibration of a probe.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// Pairs of what the probe showed and what it should have shown, rising.
    pub points: Vec<(Celsius, Celsius)>,
    /// The expanded uncertainty (k = 2) of the calibration.
    pub uncertainty: Option<CelsiusDifference>,
    /// The day it was made, as YYYY-MM-DD.
    pub date: chrono::NaiveDate,
    /// Who made it.
    pub by: String,
    /// The day by which it has to be made again.
    pub due: Option<chrono::NaiveDate>,
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
    /// What it is; `None` where nothing is said.
    pub sensor: Option<Sensor>,
    /// The expanded uncertainty (k = 2) that wins over the sensor's class.
    pub uncertainty: Option<CelsiusDifference>,
    /// Number of the zone it sits in, from 1.
    pub zone: Option<u32>,
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

impl Probe {
    pub(crate) fn read(table: &TableReader<'_>, known: &Known<'_>) -> Option<Probe> {
        let id = table
            .required("id", "\"exit\"")
            .and_then(|node| read_id(&node));
        let place = table
            .required("place", "\"exit\"")
            .and_then(|node| node.choice(&PLACES));
        let station = match place {
            Some(Place::Room) => table.optional("station"),
            _ => table.required("station", "\"belt-1\""),
        };
        let station = station.and_then(|node| known.station(&node));
        let source = table
            .optional("source")
            .and_then(|node| known.source(&node));
        let channel = table.optional("channel").and_then(|node| node.text());
        let sensor = table.optional("sensor").and_then(|node| read_sensor(&node));
        let uncertainty = table
            .optional("uncertainty")
            .and_then(|node| read_uncertainty(&node));
        let zone = table.optional("zone").and_then(|node| node.whole(1..=99));
        let distance = table.optional("distance").and_then(|node| node.quantity());
        let spot = table.optional("spot").and_then(|node| node.quantity());
        let calibration = table
            .optional("calibration")
            .and_then(|node| read_calibration(&node));
        if place == Some(Place::Exit) && distance.is_none() {
            table.report(
                "distance",
                "is missing for an exit probe",
                "add distance = \"0.35 m\", from the end of the heated length to the spot",
            );
        }
        table.finish();
        let id = id?;
        Some(Probe {
            channel: channel.unwrap_or_else(|| id.clone()),
            id,
            station,
            place: place?,
            source,
            sensor,
            uncertainty,
            zone: zone.map(|zone| zone as u32),
            distance,
            spot,
            calibration,
        })
    }
}

fn read_uncertainty(node: &Node<'_>) -> Option<CelsiusDifference> {
    let uncertainty: CelsiusDifference = node.quantity()?;
    if uncertainty.0 < 0.0 {
        node.report(
            "an uncertainty is not negative",
            "write for example \"1.5 C\"",
        );
        return None;
    }
    Some(uncertainty)
}

fn read_sensor(node: &Node<'_>) -> Option<Sensor> {
    let table = node.table()?;
    let kinds = [("thermocouple", true), ("infrared", false)];
    let thermocouple = table
        .required("kind", "\"thermocouple\" or \"infrared\"")?
        .choice(&kinds)?;
    let sensor = if thermocouple {
        read_thermocouple(&table)
    } else {
        read_infrared(&table)
    };
    table.finish();
    sensor
}

fn read_thermocouple(table: &TableReader<'_>) -> Option<Sensor> {
    let types = ["K", "J", "T", "N", "E", "R", "S", "B"].map(|name| (name, name));
    let kind = table
        .required("type", "\"K\"")
        .and_then(|node| node.choice(&types));
    let class = table
        .optional("class")
        .map(|node| (node.whole(1..=3), node));
    let (kind, class) = (kind?, class.map_or(Some(2), |(class, _)| class)?);
    if matches!((kind, class), ("J" | "R" | "S", 3) | ("B", 1)) {
        table.report(
            "class",
            format!("IEC 60584-1 has no class {class} for type {kind}"),
            "write the class of the probe's certificate",
        );
    }
    Some(Sensor::Thermocouple {
        kind: kind.chars().next()?,
        class: class as u8,
    })
}

fn read_infrared(table: &TableReader<'_>) -> Option<Sensor> {
    let emissivity = |key: &'static str| {
        table.optional(key).and_then(|node| {
            let value = node.number()?;
            if !(0.05..=1.0).contains(&value) {
                node.report(
                    "an emissivity lies between 0.05 and 1",
                    "write for example 0.93",
                );
                return None;
            }
            Some(value)
        })
    };
    let set_emissivity = emissivity("set_emissivity").unwrap_or(0.95);
    let own = emissivity("emissivity").unwrap_or(set_emissivity);
    let doubt = table
        .optional("emissivity_uncertainty")
        .and_then(|node| node.number());
    let reflected = table.optional("reflected").and_then(|node| node.quantity());
    let band = table.optional("band").and_then(|node| read_band(&node));
    Some(Sensor::Infrared {
        set_emissivity,
        emissivity: own,
        emissivity_uncertainty: doubt.unwrap_or(0.02),
        reflected,
        band: band.unwrap_or((Metres(8e-6), Metres(14e-6))),
    })
}

fn read_band(node: &Node<'_>) -> Option<(Metres, Metres)> {
    let ends = node.elements()?;
    let [short, long] = ends.as_slice() else {
        node.report("a band has two ends", "write [\"8 um\", \"14 um\"]");
        return None;
    };
    let (short, long): (Option<Metres>, Option<Metres>) = (short.quantity(), long.quantity());
    let (short, long) = (short?, long?);
    if !(short.0 >= 0.5e-6 && long.0 > short.0 && long.0 <= 1e-4) {
        node.report(
            "a band runs from its shorter to its longer wavelength, between 0.5 um and 100 um",
            "write [\"8 um\", \"14 um\"]",
        );
        return None;
    }
    Some((short, long))
}

fn read_calibration(node: &Node<'_>) -> Option<Calibration> {
    let table = node.table()?;
    let points = table
        .required("points", "[[\"100 C\", \"101.2 C\"]]")
        .and_then(|node| read_points(&node));
    let uncertainty = table
        .optional("uncertainty")
        .and_then(|node| read_uncertainty(&node));
    let date = table
        .required("date", "\"2026-01-31\"")
        .and_then(|node| read_date(&node));
    let by = table
        .required("by", "\"who made it\"")
        .and_then(|node| node.text());
    let due = table.optional("due").and_then(|node| read_date(&node));
    table.finish();
    Some(Calibration {
        points: points?,
        uncertainty,
        date: date?,
        by: by?,
        due,
    })
}

fn read_points(node: &Node<'_>) -> Option<Vec<(Celsius, Celsius)>> {
    let mut points: Vec<(Celsius, Celsius)> = Vec::new();
    for element in node.elements()? {
        let pair = element.elements()?;
        let [shown, true_value] = pair.as_slice() else {
            element.report(
                "a point is what was shown and what was true",
                "write [\"100 C\", \"101.2 C\"]",
            );
            return None;
        };
        let (shown, true_value): (Option<Celsius>, Option<Celsius>) =
            (shown.quantity(), true_value.quantity());
        let point = (shown?, true_value?);
        if points.last().is_some_and(|before| before.0.0 >= point.0.0) {
            element.report(
                "is not above the point before it",
                "write the points rising",
            );
            return None;
        }
        points.push(point);
    }
    if points.is_empty() {
        node.report(
            "names no point",
            "add at least one, [\"100 C\", \"101.2 C\"]",
        );
        return None;
    }
    Some(points)
}

fn read_date(node: &Node<'_>) -> Option<chrono::NaiveDate> {
    let text = node.text()?;
    let date = text.parse().ok();
    if date.is_none() {
        node.report(format!("{text:?} is no date"), "write it as \"2026-01-31\"");
    }
    date
}
