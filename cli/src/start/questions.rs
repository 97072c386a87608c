//! The questions, in their order: what the answers so far come to, or what has to be known next.

use std::path::Path;

use inkdwell_config::display::Units;
use inkdwell_config::shop::Port;
use inkdwell_config::station::StationKind;
use toml::Table;

use super::channels;
use super::checks;
use super::hear::Where;
use super::plan::{Channel, Plan, ProbePlace, Role, SensorKind, Source, Station, Wire};
use super::ports::name_of;
use super::state::{Question, State, Step};
use super::wires;
use crate::probe::listen::declare::place;

/// Walks through the questions.
///
/// # Errors
/// What has to be known next.
pub(super) fn plan(state: &State) -> Result<Plan, Step> {
    state.begin();
    let name = state.answer(shop_name())?;
    let timezone = state.answer(timezone())?;
    let units = match state.answer(units())?.as_str() {
        "us" => Units::Us,
        _ => Units::Metric,
    };
    let kind = match state.answer(station())?.as_str() {
        "flash-unit" => StationKind::FlashUnit,
        _ => StationKind::BeltDryer,
    };
    if state.findings.ports.is_none() {
        return Err(Step::Hear(Where::Ports));
    }
    let mut sources = Vec::new();
    let mut channels = Vec::new();
    for number in 0.. {
        let answer = state.answer(source(state, number))?;
        if answer == NONE {
            break;
        }
        let id = wires::id(&answer, &sources);
        let (wire, found) = wires::wire(state, number, &answer)?;
        if wire == Wire::Simulated {
            channels = simulated(&id, kind);
            sources.push(Source { id, wire });
            break;
        }
        for channel in found {
            let Some(role) = channels::role(state, number, &channel, kind)? else {
                continue;
            };
            let taken = |id: &str| channels.iter().any(|own: &Channel| own.id == id);
            let own = wires::id_of(&channel.name);
            channels.push(Channel {
                id: wires::unlike(&own, taken),
                source: id.clone(),
                name: channel.name,
                role,
            });
        }
        sources.push(Source { id, wire });
    }
    let only_simulated = sources.iter().any(|source| source.wire == Wire::Simulated);
    let station = heat(state, kind, units, only_simulated)?;
    let board = state.answer(board())?;
    Ok(Plan {
        name,
        timezone,
        units,
        station,
        sources,
        channels,
        board: (board != BOARD).then_some(board),
    })
}

/// What answers "and another?".
pub(super) const NONE: &str = "no more";
/// Where the board is unless it is told otherwise.
const BOARD: &str = "127.0.0.1:7878";

/// A question whose answer somebody has to give.
fn firm(key: &str, option: &'static str, about: &str, asks: &str, why: &str) -> Question {
    Question {
        key: key.to_owned(),
        option,
        about: about.to_owned(),
        asks: asks.to_owned(),
        why: why.to_owned(),
        usual: None,
        quiet: None,
        example: String::new(),
        check: Box::new(checks::words),
        wrong: None,
    }
}

fn shop_name() -> Question {
    Question {
        usual: Some("Our shop".to_owned()),
        example: "Our shop".to_owned(),
        ..firm(
            "name",
            "--name NAME",
            "shop",
            "What is the shop called?",
            "Reports, the board and messages show it. It can be changed in the shop file at any time, but what is told to \
             other programs by its name is then told by the new one.",
        )
    }
}

fn timezone() -> Question {
    let own = iana_time_zone::get_timezone().ok();
    let own = own.and_then(|name| checks::timezone(&name).ok());
    Question {
        usual: Some(own.unwrap_or_else(|| "UTC".to_owned())),
        example: "UTC".to_owned(),
        check: Box::new(checks::timezone),
        ..firm(
            "timezone",
            "--timezone ZONE",
            "time zone",
            "In which time zone does it stand?",
            "Days of a report begin and end by the clock on the shop's wall. It is written as continent and town of the \
             IANA list, such as Europe/Vienna or America/Chicago. What stands in brackets is this machine's.",
        )
    }
}

fn units() -> Question {
    Question {
        usual: Some("metric".to_owned()),
        example: "metric".to_owned(),
        check: Box::new(|text| checks::choice(text, &["metric", "us"])),
        ..firm(
            "units",
            "--units metric|us",
            "units",
            "In which units do its people think: metric (°C, m/min) or us (°F, ft/min)?",
            "It is how figures are shown. What is written in the shop file carries its own unit and may be either.",
        )
    }
}

fn station() -> Question {
    Question {
        usual: Some("belt-dryer".to_owned()),
        example: "belt-dryer".to_owned(),
        check: Box::new(|text| checks::choice(text, &["belt-dryer", "flash-unit"])),
        ..firm(
            "station",
            "--station belt-dryer|flash-unit",
            "what heats",
            "What heats the prints: a belt-dryer, or a flash-unit?",
            "A belt dryer carries prints through a heated chamber; a flash unit heats one that lies still on its platen. \
             Begin with one of them: the shop file takes as many as there are.",
        )
    }
}

fn source(state: &State, number: usize) -> Question {
    let seen = state.findings.ports().to_vec();
    let adapters: Vec<usize> = (1..=seen.len())
        .filter(|number| {
            seen.get(number - 1)
                .is_some_and(|port| !port.says.is_empty())
        })
        .collect();
    let (usual, asks, about) = match (number, adapters.as_slice()) {
        (0, []) => (
            "simulated".to_owned(),
            "Where do readings come from?",
            "readings from",
        ),
        (0, [first, ..]) => (
            first.to_string(),
            "Where do readings come from?",
            "readings from",
        ),
        _ => (NONE.to_owned(), "From where else?", "and from"),
    };
    let check = move |text: &str| where_from(text, number, &seen);
    Question {
        usual: Some(usual),
        quiet: (number > 0).then(|| NONE.to_owned()),
        example: "simulated".to_owned(),
        check: Box::new(check),
        ..firm(
            &format!("source.{number}"),
            "--port PATH, --broker HOST, --modbus WHERE or --simulated",
            about,
            asks,
            "A serial port, by its number in the list above or by its path, for meters and loggers that send lines of text; \
             \"mqtt HOST\" for a broker; \"modbus HOST\", or \"modbus PATH\" for a serial bus, for temperature controllers; \
             \"simulated\" for a shop that never was, to look around in without hardware.",
        )
    }
}

/// `serial PATH`, `mqtt HOST`, `modbus WHERE`, `simulated` or that there is no more.
fn where_from(text: &str, number: usize, seen: &[super::ports::Seen]) -> Result<String, String> {
    let forms = "write a port's number or path, mqtt HOST, modbus HOST, modbus PATH, or simulated";
    let text = checks::words(text)?;
    let (word, rest) = text.split_once(' ').unwrap_or((&text, ""));
    let rest = rest.trim();
    let host = |rest: &str| {
        if rest.is_empty() {
            return Err(format!(
                "it names no host; write {word} and the host, as {word} 127.0.0.1"
            ));
        }
        let placed = place(&mut Table::new(), word, rest).map_err(|failure| failure.to_string());
        placed.map(|()| format!("{word} {rest}"))
    };
    match word {
        "no" | "none" if number > 0 => Ok(NONE.to_owned()),
        "simulated" if number == 0 => Ok("simulated".to_owned()),
        "simulated" => Err("the simulated shop stands alone; write no".to_owned()),
        "mqtt" => host(rest),
        "modbus" if rest.starts_with('/') => port(rest).map(|path| format!("modbus {path}")),
        "modbus" => host(rest),
        "serial" => port(rest).map(|path| format!("serial {path}")),
        path if path.starts_with('/') => port(&text).map(|path| format!("serial {path}")),
        listed => match listed.parse::<usize>() {
            Ok(listed) => match seen.get(listed.wrapping_sub(1)) {
                Some(port) => Ok(format!("serial {}", port.path.display())),
                None => Err(format!("there is no port of this number; {forms}")),
            },
            Err(_) => Err(format!("it is not understood; {forms}")),
        },
    }
}

fn port(path: &str) -> Result<String, String> {
    match Path::new(path).exists() {
        true => Ok(path.to_owned()),
        false => Err(format!(
            "there is no {path}; plug the adapter in, or look for its name: ls /dev/serial/by-id"
        )),
    }
}

/// How the shop file names the port of an answer.
pub(super) fn port_of(state: &State, path: &str) -> Port {
    name_of(Path::new(path), state.findings.ports())
}

fn heat(state: &State, kind: StationKind, units: Units, simulated: bool) -> Result<Station, Step> {
    let flash = kind == StationKind::FlashUnit;
    let usual = |text: &str| simulated.then(|| text.to_owned());
    let heat = state.answer(Question {
        usual: usual(if flash { "0.5 m" } else { "2.4 m" }),
        example: "2.4 m".to_owned(),
        check: Box::new(checks::length),
        ..firm(
            "heat",
            "--heat LENGTH",
            "length of the heat",
            match flash {
                true => "How long is the heated panel?",
                false => "How long is the heat, from where a print enters the chamber to where it leaves it?",
            },
            "Measure it, with its unit: 2.4 m, 240 cm, 8 ft. How long a print stays in the heat follows from it and the \
             belt's speed; by a wrong length every speed that is advised is wrong.",
        )
    })?;
    let set = state.answer(Question {
        usual: usual(if flash { "panel 520 C" } else { "190 C" }),
        example: "190 C".to_owned(),
        check: Box::new(checks::set),
        ..firm(
            "set",
            "--set TEMPERATURE",
            "set to",
            match flash {
                true => "What is its panel set to? (as: panel 520 C)",
                false => "What is the chamber set to? (as: 190 C, for the air; panel 420 C; or both: 180 C, panel 420 C)",
            },
            "What its controller is set to, with the unit. It is where reckoning begins, and what a zone's probe is held \
             against. Where the dryer has several zones, take the hottest for now: the shop file says how to part them.",
        )
    })?;
    let (air, panel) = checks::set_parts(&set).unwrap_or_default();
    let belt = match kind {
        StationKind::FlashUnit => None,
        StationKind::BeltDryer => Some(state.answer(Question {
            usual: usual(match units {
                Units::Metric => "2.6 m/min",
                Units::Us => "8.5 ft/min",
            }),
            example: "2.6 m/min".to_owned(),
            check: Box::new(checks::speed),
            ..firm(
                "belt",
                "--belt SPEED",
                "belt",
                "How fast does the belt usually run?",
                "With its unit: 2.6 m/min, 8.5 ft/min, 100 in/min. Where nothing tells the speed live, this one is taken. \
                 Time a mark on the belt over a measured length: a dial is seldom right.",
            )
        })?),
    };
    Ok(Station {
        kind,
        heat,
        air,
        panel,
        belt,
    })
}

fn board() -> Question {
    Question {
        usual: Some(BOARD.to_owned()),
        quiet: Some(BOARD.to_owned()),
        example: BOARD.to_owned(),
        check: Box::new(checks::address),
        ..firm(
            "board",
            "--board ADDRESS",
            "board at",
            "Where on this machine is the board to be?",
            "A page for a browser, and what other commands ask. Another number behind the colon if this one is taken.",
        )
    }
}

/// What the simulated shop is heard by.
fn simulated(source: &str, kind: StationKind) -> Vec<Channel> {
    let probe = |name: &str, place, sensor| Channel {
        source: source.to_owned(),
        id: name.to_owned(),
        name: name.to_owned(),
        role: Role::Probe {
            place,
            unit: None,
            sensor,
        },
    };
    let couple = SensorKind::Thermocouple('K');
    let exit = ProbePlace::Exit {
        distance: "0.35 m".to_owned(),
        spot: Some("30 mm".to_owned()),
    };
    if kind == StationKind::FlashUnit {
        return vec![
            probe("surface", ProbePlace::Ride, SensorKind::Infrared),
            probe("platen", ProbePlace::Platen, couple),
        ];
    }
    let signal = |name: &str, role| Channel {
        source: source.to_owned(),
        id: name.to_owned(),
        name: name.to_owned(),
        role,
    };
    vec![
        probe("film", ProbePlace::Ride, couple),
        probe("cloth", ProbePlace::Cloth, couple),
        probe("exit", exit, SensorKind::Infrared),
        probe("zone-1", ProbePlace::Zone { panel: false }, couple),
        signal("belt-speed", Role::Belt { unit: "m/min" }),
        signal("prints", Role::Count),
    ]
}

/// See [`firm`]; for the parts of a source.
pub(super) fn of_source(
    number: usize,
    part: &str,
    option: &'static str,
    about: &str,
    asks: &str,
    why: &str,
) -> Question {
    firm(&format!("source.{number}.{part}"), option, about, asks, why)
}

#[cfg(test)]
mod tests;
