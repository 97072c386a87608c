//! What is heard, for programs: one JSON object a line.
//!
//! `{"schema": "inkdwell.heard/1", "at_s": 0.51, "kind": "line", "text": "168.2", "hex": "3136382e32", "topic": null,
//! "asked_hex": null, "kept": false, "readings": [{"channel": "film", "value": 168.2, "word": null, "unit": null}],
//! "not_taken": null}`, and at the end one of `"inkdwell.heard-sum/1"`. `kind` is open, trouble, guessed, half, endless, line,
//! message or exchange; `text` is what came with every byte that is no text in hexadecimal.

use std::collections::BTreeMap;
use std::time::Duration;

use inkdwell_daemon::intake::Value;
use serde::Serialize;

use super::heard::{Heard, Reading};
use super::lines::sides;
use super::shown::shown;
use super::tally::Tally;
use crate::failure::Failure;

#[derive(Serialize)]
struct HeardJson {
    schema: &'static str,
    at_s: f64,
    kind: &'static str,
    text: String,
    hex: String,
    topic: Option<String>,
    asked_hex: Option<String>,
    kept: bool,
    readings: Vec<ReadingJson>,
    not_taken: Option<String>,
}

#[derive(Serialize)]
struct ReadingJson {
    channel: String,
    value: Option<f64>,
    word: Option<String>,
    unit: Option<String>,
}

#[derive(Serialize)]
struct SumJson {
    schema: &'static str,
    seconds: f64,
    bytes: u64,
    things: u64,
    readings: u64,
    noise_bytes: u64,
    half_lines: u64,
    endless: u64,
    troubles: u64,
    not_taken: BTreeMap<String, u64>,
    channels: Vec<ChannelJson>,
}

#[derive(Serialize)]
struct ChannelJson {
    channel: String,
    readings: u64,
    readings_per_s: Option<f64>,
    value: Option<f64>,
    word: Option<String>,
    unit: Option<String>,
}

/// One thing that was heard.
pub(crate) fn line(at: Duration, heard: &Heard) -> Result<String, Failure> {
    let (kind, raw): (_, &[u8]) = match heard {
        Heard::Open(_) => ("open", b""),
        Heard::Trouble(_) => ("trouble", b""),
        Heard::Guessed(_) => ("guessed", b""),
        Heard::Half(raw) => ("half", raw),
        Heard::Endless => ("endless", b""),
        Heard::Line { raw, .. } => ("line", raw),
        Heard::Message { payload, .. } => ("message", payload),
        Heard::Exchange { came, .. } => ("exchange", came),
    };
    let text = match heard {
        Heard::Open(words) | Heard::Trouble(words) | Heard::Guessed(words) => {
            shown(words.as_bytes())
        }
        Heard::Endless => sides(heard).0,
        _ => shown(raw),
    };
    let (readings, not_taken) = match heard.taken() {
        Some(Ok(readings)) => (readings.iter().map(ReadingJson::of).collect(), None),
        Some(Err(why)) => (Vec::new(), Some(shown(why.as_bytes()))),
        None => (Vec::new(), None),
    };
    let topic = match heard {
        Heard::Message { topic, .. } => Some(shown(topic)),
        _ => None,
    };
    let asked_hex = match heard {
        Heard::Exchange { asked, .. } => Some(hex(asked)),
        _ => None,
    };
    let kept = matches!(heard, Heard::Message { retained: true, .. });
    one_line(&HeardJson {
        schema: "inkdwell.heard/1",
        at_s: at.as_secs_f64(),
        kind,
        text,
        hex: hex(raw),
        topic,
        asked_hex,
        kept,
        readings,
        not_taken,
    })
}

/// What was heard in all.
pub(crate) fn sum(after: Duration, tally: &Tally) -> Result<String, Failure> {
    let channels = tally.channels.iter().map(|(name, channel)| {
        let (value, word) = parts(&channel.last);
        ChannelJson {
            channel: shown(name.as_bytes()),
            readings: channel.readings,
            readings_per_s: channel.rate(),
            value,
            word,
            unit: channel.unit.clone(),
        }
    });
    one_line(&SumJson {
        schema: "inkdwell.heard-sum/1",
        seconds: after.as_secs_f64(),
        bytes: tally.bytes,
        things: tally.things,
        readings: tally.readings,
        noise_bytes: tally.noise,
        half_lines: tally.halves,
        endless: tally.endless,
        troubles: tally.troubles,
        not_taken: tally.refused.clone(),
        channels: channels.collect(),
    })
}

impl ReadingJson {
    fn of(reading: &Reading) -> ReadingJson {
        let (value, word) = parts(&reading.value);
        ReadingJson {
            channel: shown(reading.channel.as_bytes()),
            value,
            word,
            unit: reading.unit.clone(),
        }
    }
}

fn parts(value: &Value) -> (Option<f64>, Option<String>) {
    match value {
        Value::Number(number) => (Some(*number), None),
        Value::NoNumber(word) => (None, Some(shown(word.as_bytes()))),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn one_line(json: &impl Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string(json);
    let text = text.map_err(|error| Failure::new(format!("JSON cannot be written ({error})")))?;
    Ok(text + "\n")
}
