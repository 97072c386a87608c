//! What is heard, a line each, and the sum of it at the end: for a pipe, and for what is left when the live view ends.

use std::time::Duration;

use inkdwell_daemon::source::lines::LONGEST;

use super::declared_at::Known;
use super::heard::{Heard, Reading};
use super::shown::{hexadecimal, shown};
use super::tally::{Tally, told};
use crate::terminal::Setting;

/// What stands before what was heard: when.
const CLOCK: usize = 11;
/// What was heard has so many columns, before what it was taken for.
const RAW: usize = 36;

/// One thing that was heard.
pub(crate) fn line(at: Duration, heard: &Heard) -> String {
    let clock = format!("{:8.2} s ", at.as_secs_f64());
    let (raw, taken) = sides(heard);
    let Some(taken) = taken else {
        return format!("{clock} {raw}\n");
    };
    if raw.chars().count() > RAW {
        return format!("{clock} {raw}\n{:CLOCK$} {:RAW$}  {taken}\n", "", "");
    }
    format!("{clock} {raw:RAW$}  {taken}\n")
}

/// What was heard, and what it was taken for where that is more than nothing.
pub(crate) fn sides(heard: &Heard) -> (String, Option<String>) {
    match heard {
        Heard::Open(name) => (format!("listening to {}", shown(name.as_bytes())), None),
        Heard::Trouble(why) => (shown(why.as_bytes()), None),
        Heard::Guessed(format) => (format!("it looks like {format}; read so from here"), None),
        Heard::Half(raw) => {
            let why = "passed over: it may be half a line".to_owned();
            (shown(raw), Some(why))
        }
        Heard::Endless => {
            let why = format!("{LONGEST} bytes and no line's end");
            (String::new(), Some(format!("not taken: {why}")))
        }
        Heard::Line { raw, taken, .. } => (shown(raw), Some(taken_for(taken))),
        Heard::Message {
            topic,
            payload,
            retained,
            taken,
        } => {
            let kept = if *retained { " (kept)" } else { "" };
            let raw = format!("{}{kept} {}", shown(topic), shown(payload));
            (raw, Some(taken_for(taken)))
        }
        Heard::Exchange { asked, came, taken } => {
            let came = match came.is_empty() {
                true => "nothing".to_owned(),
                false => hexadecimal(came),
            };
            let raw = format!("{} -> {came}", hexadecimal(asked));
            (raw, Some(taken_for(taken)))
        }
    }
}

fn taken_for(taken: &Result<Vec<Reading>, String>) -> String {
    match taken {
        Err(why) => format!("not taken: {}", shown(why.as_bytes())),
        Ok(readings) if readings.is_empty() => "nothing".to_owned(),
        Ok(readings) => {
            let each = readings.iter().map(|reading| {
                let value = told(&reading.value, reading.unit.as_deref());
                format!("{} {value}", shown(reading.channel.as_bytes()))
            });
            each.collect::<Vec<String>>().join(" · ")
        }
    }
}

/// What was heard in all.
pub(crate) fn sum(tally: &Tally, known: &Known, setting: Setting) -> String {
    let mut text = String::new();
    if !tally.channels.is_empty() {
        let width = tally.channels.keys().map(|name| name.chars().count()).max();
        let width = width.unwrap_or(0).clamp(7, 40);
        let head = format!(
            "{:width$}  {:>14}  {:>9}  what it is",
            "channel", "showed", "a second"
        );
        text += &format!("{}\n", setting.faint(&head));
    }
    let width = tally.channels.keys().map(|name| name.chars().count()).max();
    let width = width.unwrap_or(0).clamp(7, 40);
    for (name, channel) in &tally.channels {
        let line = format!(
            "{:width$}  {:>14}  {:>9}  {}",
            shown(name.as_bytes()),
            channel.shows(),
            rate(channel.rate()),
            known.what_is(name),
        );
        text += line.trim_end();
        text.push('\n');
    }
    if !text.is_empty() {
        text.push('\n');
    }
    text + &counts(tally).join("\n") + "\n"
}

/// Readings a second.
pub(crate) fn rate(rate: Option<f64>) -> String {
    match rate {
        None => "-".to_owned(),
        Some(rate) if rate >= 100.0 => format!("{rate:.0}"),
        Some(rate) if rate >= 1.0 => format!("{rate:.1}"),
        Some(rate) => format!("{rate:.2}"),
    }
}

/// What was counted, a line each.
pub(crate) fn counts(tally: &Tally) -> Vec<String> {
    let mut lines = vec![format!(
        "heard {} bytes; {} lines, messages or answers, and in them {} readings",
        tally.bytes, tally.things, tally.readings
    )];
    if tally.noise > 0 {
        lines.push(format!("bytes of noise: {}", tally.noise));
    }
    if tally.halves > 0 {
        lines.push(format!("half lines: {}", tally.halves));
    }
    if tally.endless > 0 {
        lines.push(format!(
            "{LONGEST} bytes and no line's end: {}",
            tally.endless
        ));
    }
    if tally.not_taken() > 0 {
        lines.push(format!("not taken: {}", tally.not_taken()));
        let mut reasons: Vec<(&String, &u64)> = tally.refused.iter().collect();
        reasons.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
        for (why, count) in reasons.into_iter().take(8) {
            lines.push(format!("{count:>6} x  {}", shown(why.as_bytes())));
        }
    }
    if tally.things == 0 {
        lines.push(
            "Nothing came. See the device's power and its cable; on a serial line, that what it sends on is what is \
             listened on (TX to RX), and its bits a second; on a broker, the topics."
                .to_owned(),
        );
    } else if tally.readings == 0 {
        lines.push(
            "Something comes, but nothing that could be read. On a serial line that is mostly the wrong --baud, \
             --parity or --data-bits; else the wrong --format, or --value."
                .to_owned(),
        );
    }
    lines
}
