//! Probes and signals, as the shop file has them.

use inkdwell_config::station::StationKind;

use super::{Text, quoted};
use crate::start::plan::{Channel, ProbePlace, Role, SensorKind, Station};

/// Puts a channel that is taken.
pub(super) fn put(text: &mut Text, channel: &Channel, station: &Station) {
    match &channel.role {
        Role::Probe {
            place,
            unit,
            sensor,
        } => put_probe(text, channel, station, place, *unit, *sensor),
        Role::Belt { unit } => {
            put_signal(text, channel, station, "belt");
            text.key(
                "unit",
                &quoted(unit),
                "scale = 0.1 beside it multiplies what is read",
            );
        }
        Role::Count => {
            put_signal(text, channel, station, "count");
            text.put(
                "# distance = \"0.1 m\"                    # from the end of the heat to the eye\n",
            );
        }
        Role::Exhaust => {
            put_signal(text, channel, station, "exhaust");
            text.put(
                "# proved_from = 0.5                     # from this reading up it is proved\n",
            );
        }
    }
}

fn put_head(text: &mut Text, channel: &Channel, table: &str) {
    text.put(&format!("\n[[{table}]]\n"));
    match channel.id == channel.name {
        true => text.key(
            "id",
            &quoted(&channel.id),
            "its channel too, unless channel = \"...\" says otherwise",
        ),
        false => {
            text.key("id", &quoted(&channel.id), "");
            text.key("channel", &quoted(&channel.name), "as its source calls it");
        }
    }
}

fn put_signal(text: &mut Text, channel: &Channel, station: &Station, kind: &str) {
    put_head(text, channel, "signal");
    text.key("station", &quoted(station.id()), "");
    text.key("kind", &quoted(kind), "");
    text.key("source", &quoted(&channel.source), "");
}

fn put_probe(
    text: &mut Text,
    channel: &Channel,
    station: &Station,
    place: &ProbePlace,
    unit: Option<&str>,
    sensor: SensorKind,
) {
    put_head(text, channel, "probe");
    let flash = station.kind == StationKind::FlashUnit;
    let (word, says) = match place {
        ProbePlace::Ride if flash => ("ride", "looks at the print under the lamp"),
        ProbePlace::Ride => (
            "ride",
            "its junction lies in the wet ink, and goes along with a print",
        ),
        ProbePlace::Cloth => ("cloth", "the same on bare cloth beside the print"),
        ProbePlace::Exit { .. } => ("exit", "fixed behind the dryer"),
        ProbePlace::Zone { .. } => ("zone", ""),
        ProbePlace::Platen => ("platen", ""),
        ProbePlace::Room => ("room", ""),
    };
    if *place != ProbePlace::Room {
        text.key("station", &quoted(station.id()), "");
    }
    text.key("place", &quoted(word), says);
    match place {
        ProbePlace::Exit { distance, spot } => {
            text.key(
                "distance",
                &quoted(distance),
                "from the end of the heat to the spot it sees",
            );
            match spot {
                Some(spot) => text.key("spot", &quoted(spot), "as wide as that"),
                None => text.put("# spot = \"30 mm\"                        # how wide what it sees is: worth giving\n"),
            }
        }
        ProbePlace::Zone { panel } => {
            text.key(
                "zone",
                "1",
                "counted in the order in which a print meets them",
            );
            if *panel {
                text.key("senses", &quoted("panel"), "");
            }
        }
        _ => {}
    }
    text.key("source", &quoted(&channel.source), "");
    if let Some(unit) = unit {
        text.key("unit", &quoted(unit), "what its numbers are: C, F or K");
    }
    put_sensor(text, sensor);
}

/// What is not asked stands here with where it comes from.
fn put_sensor(text: &mut Text, sensor: SensorKind) {
    match sensor {
        SensorKind::Thermocouple(kind) => {
            text.key(
                "sensor",
                &format!("{{ kind = \"thermocouple\", type = \"{kind}\", class = 2 }}"),
                "",
            );
            text.put(&format!(
                "# Class 2 of IEC 60584-1 is assumed{}. Where the probe's\n\
                 # certificate says class 1, write it; a calibration narrows it further: inkdwell probe calibrate.\n",
                tolerance(kind)
            ));
        }
        SensorKind::Infrared => {
            text.put(
                "sensor = { kind = \"infrared\", set_emissivity = 0.95, emissivity = 0.95, emissivity_uncertainty = 0.02 }\n\
                 # set_emissivity is what the probe is set to: look, and mend it. 0.95 give or take 0.02 for ink and cloth is\n\
                 # common practice, without a published source. It sees the surface only.\n",
            );
        }
    }
}

/// What class 2 allows (IEC 60584-1, table of tolerances).
fn tolerance(kind: char) -> &'static str {
    match kind {
        'K' | 'J' | 'N' | 'E' => ": ±2.5 °C, or 0.75 % where that is more",
        'T' => ": ±1 °C, or 0.75 % where that is more",
        _ => "",
    }
}
