//! What a probe is, and how far it may be wrong.

use crate::quantity::{Celsius, Metres};
use crate::reading::{Node, TableReader};

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

/// Where nothing else is said: the emissivity at which infrared probes are set, which is about that of ink
/// and cloth (common practice, no source).
const USUAL_EMISSIVITY: f64 = 0.95;
/// Its expanded uncertainty where nothing is said (common practice, no source).
const USUAL_DOUBT: f64 = 0.02;
/// The band of wavelengths at which most infrared probes look, 8 to 14 um (common practice, no source).
const USUAL_BAND: (Metres, Metres) = (Metres(8e-6), Metres(14e-6));

impl Sensor {
    pub(super) fn read(node: &Node<'_>) -> Option<Sensor> {
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
}

fn read_thermocouple(table: &TableReader<'_>) -> Option<Sensor> {
    let types = ["K", "J", "T", "N", "E", "R", "S", "B"].map(|name| (name, name));
    let node = table.required("type", "\"K\"");
    let kind = node.as_ref().and_then(|node| node.choice(&types));
    if let (Some(node), Some("B")) = (&node, kind) {
        node.report(
            "a type B thermocouple tells nothing below 250 C",
            "use one of another type, as K",
        );
        return None;
    }
    let class = table.optional("class");
    let number = class.as_ref().map_or(Some(2), |node| node.whole(1..=3));
    if let (Some(kind @ ("J" | "R" | "S")), Some(3), Some(node)) = (kind, number, &class) {
        node.report(
            format!("IEC 60584-1 has no class 3 for type {kind}"),
            "write the class of the probe's certificate",
        );
        return None;
    }
    Some(Sensor::Thermocouple {
        kind: kind?.chars().next()?,
        class: number? as u8,
    })
}

fn read_infrared(table: &TableReader<'_>) -> Option<Sensor> {
    let share = |key, usual, least, most| {
        let Some(node) = table.optional(key) else {
            return Some(usual);
        };
        let value = node.number()?;
        if !(least..=most).contains(&value) {
            node.report(
                format!("{} does not lie between {least} and {most}", node.written()),
                format!("write for example {usual}"),
            );
            return None;
        }
        Some(value)
    };
    let set = share("set_emissivity", USUAL_EMISSIVITY, 0.05, 1.0);
    let own = share("emissivity", set.unwrap_or(USUAL_EMISSIVITY), 0.05, 1.0);
    let doubt = share("emissivity_uncertainty", USUAL_DOUBT, 0.0, 0.5);
    let reflected = table.optional("reflected").and_then(|node| node.quantity());
    let band = table
        .optional("band")
        .map_or(Some(USUAL_BAND), |node| read_band(&node));
    Some(Sensor::Infrared {
        set_emissivity: set?,
        emissivity: own?,
        emissivity_uncertainty: doubt?,
        reflected,
        band: band?,
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
