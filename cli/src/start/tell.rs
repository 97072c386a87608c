//! What is told while it is listened, and what to do next.

use std::path::Path;

use inkdwell_config::shop::Port;
use inkdwell_daemon::source::port::named;
use toml::{Table, Value};

use super::hear::{Findings, LineHeard, MOST_TOPICS, Where};
use crate::probe::listen::guess;
use crate::probe::listen::shown::shown;
use crate::probe::listen::tally_told;
use crate::terminal::Setting;

/// So many lines or topics are shown.
const SHOWN_LINES: usize = 3;
const SHOWN_TOPICS: usize = 12;

/// Before it is listened.
pub(super) fn before(place: &Where, setting: Setting) -> String {
    let words = match place {
        Where::Ports => return String::new(),
        Where::Line { port, .. } => format!("Listening to {} for some seconds:", named(port)),
        Where::Broker(source) => format!(
            "Listening to the broker {}, topics {}, for some seconds ...",
            text(source, "host"),
            source
                .get("topic")
                .and_then(Value::as_array)
                .and_then(|topics| topics.first())
                .and_then(|topic| topic.get("filter"))
                .and_then(Value::as_str)
                .unwrap_or("#")
        ),
        Where::Devices(source) => {
            let at = match source.get("host") {
                Some(_) => text(source, "host"),
                None => text(source, "port"),
            };
            format!("Asking the devices at {at} for some seconds ...")
        }
    };
    setting.wrap("", 0, &words) + "\n"
}

fn text(source: &Table, key: &str) -> String {
    source
        .get(key)
        .and_then(Value::as_str)
        .unwrap_or_default()
        .to_owned()
}

/// What was heard there.
pub(super) fn heard(place: &Where, findings: &Findings, setting: Setting) -> String {
    match place {
        Where::Ports => ports(findings, setting),
        Where::Line { port, baud } => match findings.line(port, *baud) {
            Some(heard) => line(port, heard, setting),
            None => String::new(),
        },
        Where::Broker(source) => broker(findings, source, setting),
        Where::Devices(source) => devices(findings, source, setting),
    }
}

fn ports(findings: &Findings, setting: Setting) -> String {
    let seen = match &findings.ports {
        Some(Err(why)) => return setting.wrap("", 0, why) + "\n\n",
        Some(Ok(seen)) if !seen.is_empty() => seen,
        _ => return "No serial port is plugged in.\n\n".to_owned(),
    };
    let mut text = "Serial ports on this machine:\n".to_owned();
    for (number, port) in seen.iter().enumerate() {
        let path = port.path.display();
        text += format!("  {:>2}  {path}  {}", number + 1, port.says).trim_end();
        text.push('\n');
    }
    text + "\n"
}

fn line(port: &Port, heard: &LineHeard, setting: Setting) -> String {
    let mut text = String::new();
    let last = heard.lines.len().saturating_sub(SHOWN_LINES);
    for line in heard.lines.iter().skip(last) {
        text += &format!("    {}\n", shown(line));
    }
    let words = match (&heard.trouble, &heard.format, heard.bytes) {
        (Some(trouble), _, _) => trouble.clone(),
        (None, Some(format), _) => {
            let readings = heard.readings(format);
            let readings: Vec<String> = readings
                .iter()
                .map(|own| format!("{} {}", shown(own.channel.as_bytes()), tally_told(own)))
                .collect();
            let baud = heard.baud.unwrap_or_default();
            format!(
                "At {baud} bits a second it says what looks like {}: {}.",
                guess::in_words(format),
                readings.join(" · ")
            )
        }
        (None, None, 0) => format!(
            "{} says nothing. See the device's power and its cable (what the device sends on, TX, goes to what is listened \
             on, RX). A device that only answers when it is asked, as over Modbus, is no line of text.",
            named(port)
        ),
        (None, None, bytes) => format!(
            "{bytes} bytes came, but at none of the usual speeds they look like lines of numbers. See the device's manual for \
             its speed, its bits and its parity, or \"inkdwell probe listen\" for what comes byte by byte."
        ),
    };
    text + &setting.wrap("  ", 2, &words) + "\n\n"
}

fn broker(findings: &Findings, source: &Table, setting: Setting) -> String {
    let Some(heard) = findings.broker(source) else {
        return String::new();
    };
    let mut text = String::new();
    for (topic, said) in heard.topics.iter().take(SHOWN_TOPICS) {
        let kept = if said.retained { " (kept)" } else { "" };
        let reads = match said.declarations.is_empty() {
            true => "no number in it".to_owned(),
            false => {
                let channels: Vec<String> = said
                    .declarations
                    .iter()
                    .map(|own| shown(own.channel.as_bytes()))
                    .collect();
                format!("channel {}", channels.join(", "))
            }
        };
        text += &format!(
            "    {}{kept}: {}  ->  {reads}\n",
            shown(topic.as_bytes()),
            shown(&said.payload)
        );
    }
    let more = heard.topics.len().saturating_sub(SHOWN_TOPICS);
    if more > 0 {
        text += &format!("    and {more} more\n");
    }
    if heard.topics.len() >= MOST_TOPICS {
        text += &setting.wrap(
            "  ",
            2,
            "There are more topics than one wants to be asked about: go back with <, and name a narrower filter.",
        );
        text.push('\n');
    }
    text + "\n"
}

fn devices(findings: &Findings, source: &Table, setting: Setting) -> String {
    let Some(heard) = findings.devices(source) else {
        return String::new();
    };
    let mut text = String::new();
    for (channel, reading) in &heard.readings {
        text += &format!(
            "    {}: {}\n",
            shown(channel.as_bytes()),
            tally_told(reading)
        );
    }
    if let Some(trouble) = &heard.trouble {
        let words = format!("{trouble}. It is written all the same; < goes back, again asks anew.");
        text += &setting.wrap("  ", 2, &words);
        text.push('\n');
    }
    text + "\n"
}

/// What to do now.
pub(super) fn next(shop: &Path, data: &Path, starts: bool, setting: Setting) -> String {
    let (shop, data) = (shop.display(), data.display());
    let mut text = String::new();
    if !starts {
        text += &format!("\nStart the daemon:\n  inkdwelld --shop {shop} --data {data}\n");
    }
    text += &format!(
        "\n{}\n  inkdwell probe list --data {data}\n  inkdwell watch --data {data}\n",
        setting.strong("Then, from another terminal: is everything heard, and how does it stand")
    );
    text += &format!(
        "\n{}\n  inkdwell batch open --data {data} --job \"Test ride\" --ink plastisol-standard --fabric cotton-jersey\n  \
         inkdwell help recipe\n",
        setting.strong("A print with a probe in its ink, and a recipe from it")
    );
    let words = "Wash that print before a run: the ink maker's data sheet and a wash test decide.";
    text += &format!("\n{}\n", setting.faint(&setting.wrap("", 0, words)));
    if starts {
        let words = "The daemon runs here from now on, and is quiet unless something is wrong; Ctrl-C ends it.";
        text += &format!("\n{}\n\n", setting.wrap("", 0, words));
    }
    text
}
