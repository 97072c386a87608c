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
    let class = table.optional("class");
    let number = class.as_ref().map_or(Some(2), |node| node.whole(1..=3));
    match (kind, number, &node, &class) {
        (Some("B"), _, Some(node), _) => {
            node.report(
                "a type B thermocouple tells nothing below 250 C",
                "use one of another type, as K",
            );
            return None;
        }
        (Some(kind @ ("J" | "R" | "S")), Some(3), _, Some(node)) => {
            node.report(
                format!("IEC 60584-1 has no class 3 for type {kind}"),
                "write the class of the probe's certificate",
            );
            return None;
        }
        _ => {}
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const BOTH: &str = r#"
[[probe]]
id = "hand"
place = "room"
sensor = { kind = "thermocouple", type = "N", class = 1 }

[[probe]]
id = "eye"
place = "room"
sensor = { kind = "infrared", set_emissivity = 0.9, emissivity = 0.93, emissivity_uncertainty = 0.03, reflected = "77 F", band = ["3 um", "5 um"] }
"#;

    #[test]
    fn both_kinds_are_read_with_all_their_keys() {
        let shop = sound(BOTH);
        let hand = Sensor::Thermocouple {
            kind: 'N',
            class: 1,
        };
        assert_eq!(shop.probes[0].sensor, Some(hand));
        let Some(Sensor::Infrared {
            set_emissivity,
            emissivity,
            emissivity_uncertainty,
            reflected,
            band,
        }) = shop.probes[1].sensor
        else {
            panic!("{:?}", shop.probes[1]);
        };
        assert_eq!((set_emissivity, emissivity), (0.9, 0.93));
        assert_eq!(
            (emissivity_uncertainty, reflected),
            (0.03, Some(Celsius(25.0)))
        );
        assert!((band.0.0 - 3e-6).abs() < 1e-18 && (band.1.0 - 5e-6).abs() < 1e-18);
    }

    /// The emissivity of what is seen is the one that is set, unless it is told otherwise; the class is 2.
    #[test]
    fn what_is_not_said_is_usual() {
        let text = "[[probe]]\nid = \"a\"\nplace = \"room\"\nsensor = { kind = \"infrared\", set_emissivity = 0.8 }\n";
        let Some(Sensor::Infrared {
            emissivity, band, ..
        }) = sound(text).probes[0].sensor
        else {
            panic!("{text}");
        };
        assert_eq!((emissivity, band), (0.8, USUAL_BAND));
        let text = BOTH.replace(", class = 1", "");
        let expected = Sensor::Thermocouple {
            kind: 'N',
            class: 2,
        };
        assert_eq!(sound(&text).probes[0].sensor, Some(expected));
    }

    /// Classes: IEC 60584-1, table of tolerances, which has none of class 3 for types J, R and S.
    #[test]
    fn what_cannot_be_is_named() {
        each_is_named(
            BOTH,
            &[
                (
                    "\"N\", class = 1",
                    "\"J\", class = 3",
                    "probe[0].sensor.class: IEC 60584-1 has no class 3 for type J",
                ),
                (
                    "\"N\", class = 1",
                    "\"B\", class = 2",
                    "probe[0].sensor.type: a type B thermocouple tells nothing below 250 C",
                ),
                (
                    "\"N\"",
                    "\"k\"",
                    "probe[0].sensor.type: \"k\" is unknown here; did you mean \"K\"?",
                ),
                (
                    "class = 1",
                    "class = 4",
                    "probe[0].sensor.class: 4 is not a whole number from 1 to 3",
                ),
                (
                    "set_emissivity = 0.9",
                    "set_emissivity = 1.2",
                    "probe[1].sensor.set_emissivity: 1.2 does not lie between",
                ),
                (
                    "emissivity = 0.93",
                    "emissivity = \"93 %\"",
                    "probe[1].sensor.emissivity: \"93 %\" is a text",
                ),
                (
                    "uncertainty = 0.03",
                    "uncertainty = -0.03",
                    "probe[1].sensor.emissivity_uncertainty: -0.03 does not lie",
                ),
                (
                    "[\"3 um\", \"5 um\"]",
                    "[\"5 um\", \"3 um\"]",
                    "probe[1].sensor.band: a band runs from",
                ),
                (
                    "[\"3 um\", \"5 um\"]",
                    "[\"3 µm\", \"5 um\"]",
                    "probe[1].sensor.band[0]: \"µm\" is no unit of length; write \"3 um\"",
                ),
                (
                    "\"infrared\"",
                    "\"pyrometer\"",
                    "probe[1].sensor.kind: \"pyrometer\" is unknown here",
                ),
                ("reflected", "room", "probe[1].sensor.room: is unknown here"),
            ],
        );
    }
}
