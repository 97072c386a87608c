//! The questions about one channel: what it measures, in what unit, by what.

use inkdwell_config::station::StationKind;

use super::checks;
use super::plan::{ProbePlace, Role, SensorKind};
use super::questions::of_source;
use super::state::{Question, State, Step};
use super::wires::Found;
use crate::probe::listen::tally_told;

/// What a channel can be, as it is answered.
const ROLES: [&str; 11] = [
    "ride", "cloth", "exit", "zone", "panel", "platen", "room", "belt", "count", "exhaust",
    "nothing",
];
const NOTHING: &str = "nothing";
const TEMPERATURE_UNITS: [&str; 3] = ["C", "F", "K"];
const BELT_UNITS: [&str; 5] = ["m/min", "ft/min", "in/min", "m/s", "cm/s"];

/// What a channel is; `None` where it is not taken.
pub(super) fn role(
    state: &State,
    number: usize,
    channel: &Found,
    kind: StationKind,
) -> Result<Option<Role>, Step> {
    let place = state.answer(what(number, channel, kind))?;
    Ok(Some(match place.as_str() {
        NOTHING => return Ok(None),
        "count" => Role::Count,
        "exhaust" => Role::Exhaust,
        "belt" => Role::Belt {
            unit: one_of(&BELT_UNITS, &state.answer(belt_unit(number, channel))?),
        },
        place => {
            let place = match place {
                "ride" => ProbePlace::Ride,
                "cloth" => ProbePlace::Cloth,
                "exit" => exit(state, number, channel)?,
                "zone" => ProbePlace::Zone { panel: false },
                "panel" => ProbePlace::Zone { panel: true },
                "platen" => ProbePlace::Platen,
                _ => ProbePlace::Room,
            };
            let unit = match channel.says_unit {
                true => None,
                false => {
                    let answer = state.answer(temperature_unit(number, channel))?;
                    Some(one_of(&TEMPERATURE_UNITS, &answer))
                }
            };
            let sensor = match state.answer(sensor(number, channel, &place))?.as_str() {
                "infrared" => SensorKind::Infrared,
                letter => SensorKind::Thermocouple(letter.chars().next().unwrap_or('K')),
            };
            Role::Probe {
                place,
                unit,
                sensor,
            }
        }
    }))
}

fn one_of(words: &[&'static str], answer: &str) -> &'static str {
    let same = words.iter().find(|word| **word == answer);
    same.or(words.first()).copied().unwrap_or_default()
}

/// What a channel says now, behind its name.
fn called(channel: &Found) -> String {
    match &channel.last {
        None => channel.name.clone(),
        Some(last) => format!("{} ({})", channel.name, tally_told(last)),
    }
}

fn what(number: usize, channel: &Found, kind: StationKind) -> Question {
    let usual = likely(&channel.name, kind);
    let flash = kind == StationKind::FlashUnit;
    Question {
        usual,
        quiet: Some(NOTHING.to_owned()),
        example: NOTHING.to_owned(),
        check: Box::new(move |text| {
            // A zone may be numbered; there is one yet.
            let text = match text.split_once(' ') {
                Some(("zone", "1")) => "zone",
                _ => text,
            };
            let role = checks::choice(text, &ROLES)?;
            match role.as_str() {
                "belt" if flash => Err("a flash unit has no belt".to_owned()),
                _ => Ok(role),
            }
        }),
        ..of_source(
            number,
            &format!("channel.{}.what", channel.name),
            "--probe CHANNEL=PLACE or --signal CHANNEL=KIND",
            &channel.name,
            &format!("What does {} measure?", called(channel)),
            "ride: in the wet ink, going along with a print. cloth: the same on bare cloth beside it. exit: fixed behind the dryer, \
             looking at prints as they leave. zone: air in the chamber. panel: a radiant panel in it. platen, room: those. And \
             what is no temperature: belt, its speed; count, a photo-eye's counter of prints; exhaust, 1 while the exhaust is \
             proved. nothing: it is not taken. Under a flash unit the probe that looks at the print is ride.",
        )
    }
}

/// What a name makes likely.
fn likely(name: &str, kind: StationKind) -> Option<String> {
    let name = name.to_lowercase();
    let words: [(&[&str], &str); 10] = [
        (&["film", "ride", "ink"], "ride"),
        (&["cloth"], "cloth"),
        (&["exit"], "exit"),
        (&["zone", "air", "chamber"], "zone"),
        (&["panel"], "panel"),
        (&["platen"], "platen"),
        (&["room", "ambient"], "room"),
        (&["belt", "speed"], "belt"),
        (&["count", "prints"], "count"),
        (&["exhaust", "fan"], "exhaust"),
    ];
    let likely = words
        .iter()
        .find(|(parts, _)| parts.iter().any(|part| name.contains(part)));
    let likely = likely.map(|(_, role)| *role);
    let likely = likely.filter(|role| !(*role == "belt" && kind == StationKind::FlashUnit));
    likely.map(str::to_owned)
}

fn heard_unit<'a>(channel: &Found, known: &[&'a str]) -> Option<&'a str> {
    let unit = channel.last.as_ref()?.unit.as_deref()?;
    known.iter().find(|own| **own == unit).copied()
}

fn temperature_unit(number: usize, channel: &Found) -> Question {
    let usual = heard_unit(channel, &TEMPERATURE_UNITS).map(str::to_owned);
    Question {
        quiet: usual.clone(),
        usual,
        example: "C".to_owned(),
        check: Box::new(|text| {
            if text.eq_ignore_ascii_case("mv") {
                return Err(
                    "millivolts need a channel with their reference junction's temperature; answer nothing to what it \
                     measures, and declare it in the shop file by hand (unit = \"mV\", junction)"
                        .to_owned(),
                );
            }
            let text = text.trim_start_matches('°').to_uppercase();
            checks::choice(&text, &["c", "f", "k"]).map(|unit| unit.to_uppercase())
        }),
        ..of_source(
            number,
            &format!("channel.{}.unit", channel.name),
            "--probe CHANNEL=PLACE:UNIT",
            &format!("{} counts in", channel.name),
            &format!("In which unit does {} come: C, F or K?", called(channel)),
            "It is asked because a guess would be dangerous: 320 F is 160 C. In a warm room it shows about 20 C, 70 F or 293 K.",
        )
    }
}

fn belt_unit(number: usize, channel: &Found) -> Question {
    let usual = heard_unit(channel, &BELT_UNITS).map(str::to_owned);
    Question {
        quiet: usual.clone(),
        usual,
        example: "m/min".to_owned(),
        check: Box::new(|text| checks::choice(text, &BELT_UNITS)),
        ..of_source(
            number,
            &format!("channel.{}.unit", channel.name),
            "--signal CHANNEL=belt:UNIT",
            &format!("{} counts in", channel.name),
            &format!(
                "In which unit does {} come: m/min, ft/min, in/min, m/s or cm/s?",
                called(channel)
            ),
            "Where it is some other measure, as pulses a second, the shop file takes a scale beside the unit.",
        )
    }
}

fn sensor(number: usize, channel: &Found, place: &ProbePlace) -> Question {
    let usual = match place {
        ProbePlace::Exit { .. } => "infrared",
        _ => "K",
    };
    let kinds = ["k", "j", "t", "n", "e", "r", "s", "infrared"];
    Question {
        usual: Some(usual.to_owned()),
        quiet: Some(usual.to_owned()),
        example: "K".to_owned(),
        check: Box::new(move |text| match checks::choice(text, &kinds)?.as_str() {
            "infrared" => Ok("infrared".to_owned()),
            letter => Ok(letter.to_uppercase()),
        }),
        ..of_source(
            number,
            &format!("channel.{}.sensor", channel.name),
            "--probe CHANNEL=PLACE:UNIT:SENSOR",
            &format!("{} is a", channel.name),
            &format!(
                "What kind of probe is {}: a thermocouple of type K, J, T, N, E, R or S, or infrared?",
                channel.name
            ),
            "Its doubt follows from it: of a thermocouple, class 2 of IEC 60584-1 is taken; of an infrared probe, an emissivity of \
             0.95, give or take 0.02. The shop file says so beside it, to be mended by the probe's certificate.",
        )
    }
}

fn exit(state: &State, number: usize, channel: &Found) -> Result<ProbePlace, Step> {
    let distance = state.answer(Question {
        example: "0.35 m".to_owned(),
        check: Box::new(checks::length),
        ..of_source(
            number,
            &format!("channel.{}.distance", channel.name),
            "--exit-distance LENGTH",
            &format!("{} looks at", channel.name),
            &format!("How far behind the end of the heat does {} look?", channel.name),
            "A print cools on the way there, and how far it did is reckoned from this. Measure from where the heat ends to the \
             middle of the spot: 35 cm, 14 in.",
        )
    })?;
    let spot = state.answer(Question {
        usual: Some("unknown".to_owned()),
        quiet: Some("unknown".to_owned()),
        example: "unknown".to_owned(),
        check: Box::new(|text| match text.to_lowercase().as_str() {
            "unknown" => Ok("unknown".to_owned()),
            _ => checks::length(text),
        }),
        ..of_source(
            number,
            &format!("channel.{}.spot", channel.name),
            "--exit-spot LENGTH",
            &format!("{} sees", channel.name),
            "How wide is the spot that it sees there?",
            "By the probe's ratio of distance to spot: 10:1 sees 30 mm from 300 mm away. Without it the print's edge is not told \
             from its middle; it can be given later.",
        )
    })?;
    Ok(ProbePlace::Exit {
        distance,
        spot: (spot != "unknown").then_some(spot),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_makes_likely_what_it_measures() {
        for (name, expected) in [
            ("film", Some("ride")),
            ("T-Cloth", Some("cloth")),
            ("zone-2", Some("zone")),
            ("belt-speed", Some("belt")),
            ("prints", Some("count")),
            ("t1", None),
        ] {
            let found = likely(name, StationKind::BeltDryer);
            assert_eq!(found.as_deref(), expected, "{name}");
        }
        assert_eq!(likely("belt", StationKind::FlashUnit), None);
    }
}
