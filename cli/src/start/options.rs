//! Answers that were given as options.

use super::arguments::AnswerArguments;
use super::questions::NONE;
use super::state::State;
use super::wires::DONE;
use crate::failure::Failure;

/// The first option that was given.
pub(super) fn first(typed: &AnswerArguments) -> Option<&'static str> {
    let login = &typed.login;
    let given = [
        ("--name", typed.name.is_some()),
        ("--timezone", typed.timezone.is_some()),
        ("--units", typed.units.is_some()),
        ("--station", typed.station.is_some()),
        ("--heat", typed.heat.is_some()),
        ("--set", typed.set.is_some()),
        ("--belt", typed.belt.is_some()),
        ("--simulated", typed.simulated),
        ("--port", typed.port.is_some()),
        ("--broker", typed.broker.is_some()),
        ("--user", login.user.is_some()),
        ("--tls", login.tls || login.tls_roots.is_some()),
        ("--modbus", typed.modbus.is_some()),
        ("--probe", !typed.probe.is_empty()),
        ("--signal", !typed.signal.is_empty()),
        ("--exit-distance", typed.exit_distance.is_some()),
        ("--board", typed.board.is_some()),
    ];
    given
        .iter()
        .find(|(_, given)| *given)
        .map(|(option, _)| *option)
}

/// The channels of which an option says what they are.
pub(super) fn channels(typed: &AnswerArguments) -> Vec<String> {
    let named = typed.probe.iter().chain(&typed.signal);
    let named = named.filter_map(|text| text.split_once('='));
    named
        .map(|(channel, _)| channel.trim().to_owned())
        .collect()
}

/// Puts them where the questions look for them.
pub(super) fn fill(typed: &AnswerArguments, state: &mut State) -> Result<(), Failure> {
    let mut put = |key: &str, answer: Option<String>| {
        if let Some(answer) = answer {
            state.answers.insert(key.to_owned(), answer);
        }
    };
    put("name", typed.name.clone());
    put("timezone", typed.timezone.clone());
    put("units", typed.units.clone());
    put("station", typed.station.clone());
    put("heat", typed.heat.clone());
    put("set", typed.set.clone());
    put("belt", typed.belt.clone());
    put("board", typed.board.clone());
    put("version", typed.login.mqtt_version.clone());
    let mut number = 0;
    if typed.simulated {
        put("source.0", Some("simulated".to_owned()));
        number = 1;
    }
    if let Some(port) = &typed.port {
        let part = |part: &str| format!("source.{number}.{part}");
        put(
            &format!("source.{number}"),
            Some(format!("serial {}", port.display())),
        );
        put(&part("baud"), typed.baud.map(|baud| baud.to_string()));
        put(&part("format"), typed.format.clone());
        put(&part("names"), typed.names.clone());
        put(&part("channels"), typed.names.clone());
        number += 1;
    }
    if let Some(host) = &typed.broker {
        let part = |part: &str| format!("source.{number}.{part}");
        let file = |path: &std::path::PathBuf| path.to_string_lossy().into_owned();
        put(&format!("source.{number}"), Some(format!("mqtt {host}")));
        put(&part("filter"), typed.topic.clone());
        put(&part("user"), typed.login.user.clone());
        put(
            &part("password"),
            typed.login.password_file.as_ref().map(file),
        );
        let yes = typed.login.tls.then(|| "yes".to_owned());
        put(
            &part("tls"),
            typed.login.tls_roots.as_ref().map(file).or(yes),
        );
        number += 1;
    }
    if let Some(place) = &typed.modbus {
        put(&format!("source.{number}"), Some(format!("modbus {place}")));
        for (which, register) in typed.register.iter().enumerate() {
            put(
                &format!("source.{number}.register.{which}"),
                Some(register.clone()),
            );
        }
        let last = typed.register.len();
        put(
            &format!("source.{number}.register.{last}"),
            Some(DONE.to_owned()),
        );
        number += 1;
    }
    if number > 0 {
        put(&format!("source.{number}"), Some(NONE.to_owned()));
    }
    for text in &typed.probe {
        let (channel, parts) = parts("--probe", text, "film=ride:C:K")?;
        for number in 0..number {
            let part = |part: &str| format!("source.{number}.channel.{channel}.{part}");
            put(&part("what"), parts.first().cloned());
            put(
                &part("unit"),
                parts.get(1).filter(|unit| !unit.is_empty()).cloned(),
            );
            put(&part("sensor"), parts.get(2).cloned());
            put(&part("distance"), typed.exit_distance.clone());
            put(&part("spot"), typed.exit_spot.clone());
        }
    }
    for text in &typed.signal {
        let (channel, parts) = parts("--signal", text, "belt-speed=belt:m/min")?;
        for number in 0..number {
            let part = |part: &str| format!("source.{number}.channel.{channel}.{part}");
            put(&part("what"), parts.first().cloned());
            put(&part("unit"), parts.get(1).cloned());
        }
    }
    Ok(())
}

/// `CHANNEL=A:B:C`.
fn parts(option: &str, text: &str, example: &str) -> Result<(String, Vec<String>), Failure> {
    let Some((channel, rest)) = text.split_once('=') else {
        return Err(Failure::new(format!(
            "{option}: {text:?} names no channel; write for example {example}"
        )));
    };
    let parts: Vec<String> = rest.split(':').map(|part| part.trim().to_owned()).collect();
    if parts.len() > 3 {
        return Err(Failure::new(format!(
            "{option}: {text:?} has too many parts; write for example {example}"
        )));
    }
    Ok((channel.trim().to_owned(), parts))
}
