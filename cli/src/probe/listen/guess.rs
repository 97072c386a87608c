//! What lines and messages look like.
//!
//! A guess is a declaration of the shop file; whether it holds is for the daemon's own parser to say. It is shown to
//! the person, who decides.

use inkdwell_config::shop::{LineFormat, MqttTopic};
use inkdwell_daemon::intake::Value;
use inkdwell_daemon::source::lines::{LineParser, Meaning};
use inkdwell_daemon::source::mqtt::{Taken, Understanding};
use serde_json::Value as Json;

/// What may separate fields; the likeliest first. A decimal comma beside a semicolon is no separator.
const SEPARATORS: [&str; 4] = [";", "\t", ",", " "];
/// More fields than these are no fields.
const MOST_FIELDS: usize = 64;
/// Names under which devices send their own time.
const TIMES: [&str; 6] = ["time", "at", "timestamp", "ts", "t", "date"];
/// Names under which devices send their own count.
const COUNTS: [&str; 5] = ["n", "seq", "sequence", "count", "counter"];

/// The format that most lines keep to, if at least two thirds keep to any. Fields are named `t1`, `t2`, ...
pub(crate) fn format<'a>(lines: impl Iterator<Item = &'a [u8]> + Clone) -> Option<LineFormat> {
    let told = lines.clone().filter(|line| !line.trim_ascii().is_empty());
    let count = told.clone().count();
    let mut best: Option<(usize, LineFormat)> = None;
    for candidate in candidates(told.clone()) {
        let understood = understood(&candidate, told.clone());
        // Of two that are as good the first, which asks for more, is likelier.
        if understood * 3 >= count * 2
            && understood > 0
            && best.as_ref().is_none_or(|(before, _)| understood > *before)
        {
            best = Some((understood, candidate));
        }
    }
    best.map(|(_, format)| format)
}

/// What lines could be, from what asks for most of a line to what asks for least.
fn candidates<'a>(lines: impl Iterator<Item = &'a [u8]> + Clone) -> Vec<LineFormat> {
    let mut all = vec![LineFormat::Json];
    for separator in SEPARATORS.iter().rev() {
        let separator = (*separator).to_owned();
        all.push(LineFormat::Pairs { separator });
    }
    for separator in SEPARATORS {
        all.extend(usual_count(lines.clone(), separator).map(|count| fields(separator, count)));
    }
    // One number alone.
    all.push(fields(";", 1));
    all
}

/// Fields that nobody has named yet.
pub(crate) fn fields(separator: &str, count: usize) -> LineFormat {
    LineFormat::Fields {
        separator: separator.to_owned(),
        names: (1..=count).map(|number| format!("t{number}")).collect(),
    }
}

/// How many fields most lines have, where that is more than one.
pub(crate) fn usual_count<'a>(
    lines: impl Iterator<Item = &'a [u8]>,
    separator: &str,
) -> Option<usize> {
    let mut counts = std::collections::BTreeMap::<usize, usize>::new();
    for line in lines {
        let text = String::from_utf8_lossy(line);
        let count = match separator {
            " " => text.split_whitespace().count(),
            separator => text.split(separator).count(),
        };
        *counts.entry(count).or_default() += 1;
    }
    let usual = counts.into_iter().max_by_key(|(_, lines)| *lines);
    usual
        .map(|(count, _)| count)
        .filter(|count| (2..=MOST_FIELDS).contains(count))
}

/// How many lines a format understands, with a number in each.
pub(crate) fn understood<'a>(format: &LineFormat, lines: impl Iterator<Item = &'a [u8]>) -> usize {
    let Ok(mut parser) = LineParser::new(format) else {
        return 0;
    };
    let is_number = |value: &Value| matches!(value, Value::Number(_));
    let tells = |line: &&[u8]| match parser.read(line) {
        Meaning::Said(said) => {
            let numbers = said.iter().filter(|said| is_number(&said.value)).count();
            // A word or two may be among numbers; words alone are a greeting.
            numbers * 2 > said.len()
        }
        Meaning::Blank | Meaning::Garbled(_) => false,
    };
    lines.filter(tells).count()
}

/// A format as people say it.
pub(crate) fn in_words(format: &LineFormat) -> String {
    match format {
        LineFormat::Fields { names, .. } if names.len() == 1 => "one number a line".to_owned(),
        LineFormat::Fields { separator, names } => {
            format!(
                "{} fields with {} between them",
                names.len(),
                between(separator)
            )
        }
        LineFormat::Pairs { separator } => {
            format!("name=value, with {} between them", between(separator))
        }
        LineFormat::Json => "JSON, one object a line".to_owned(),
        LineFormat::Pattern(_) => "what the pattern finds in them".to_owned(),
    }
}

fn between(separator: &str) -> String {
    match separator {
        "," => "a comma".to_owned(),
        ";" => "a semicolon".to_owned(),
        "\t" => "a tab".to_owned(),
        " " => "spaces".to_owned(),
        other => format!("{other:?}"),
    }
}

/// The declarations by which a message could be read: one for a payload that is a value, one for each number among the
/// members of a JSON object. Empty where nothing in it is a number.
pub(crate) fn declarations(topic: &str, payload: &[u8]) -> Vec<MqttTopic> {
    let last = topic.rsplit('/').next().unwrap_or(topic);
    let bare = MqttTopic {
        filter: topic.to_owned(),
        channel: last.to_owned(),
        value: None,
        time: None,
        sequence: None,
    };
    if has_number(&bare, topic, payload) {
        return vec![bare];
    }
    let Ok(Json::Object(members)) = serde_json::from_slice(payload) else {
        return Vec::new();
    };
    let named = |names: &[&str]| {
        let known = |name: &&String| names.contains(&name.to_lowercase().as_str());
        members.keys().find(known).map(|name| pointer(name))
    };
    let with = |value: &str, time: Option<String>, sequence: Option<String>| MqttTopic {
        channel: last.to_owned(),
        value: Some(value.to_owned()),
        time,
        sequence,
        ..bare.clone()
    };
    let mut found = Vec::new();
    for name in members.keys() {
        let value = pointer(name);
        let own = |other: &Option<String>| other.as_deref() == Some(value.as_str());
        let (time, sequence) = (named(&TIMES), named(&COUNTS));
        if own(&time) || own(&sequence) {
            continue;
        }
        // What is named like a time or a count may be none.
        let ways = [
            (time.clone(), sequence.clone()),
            (time, None),
            (None, sequence),
            (None, None),
        ];
        let ways = ways
            .into_iter()
            .map(|(time, sequence)| with(&value, time, sequence));
        found.extend(ways.into_iter().find(|way| has_number(way, topic, payload)));
    }
    if found.len() > 1 {
        for declared in &mut found {
            let member = declared.value.as_deref().unwrap_or_default();
            declared.channel = format!("{last}{}", member.replace('/', "-"));
        }
    }
    found
}

/// RFC 6901: in a name, ~ is ~0 and / is ~1.
fn pointer(name: &str) -> String {
    format!("/{}", name.replace('~', "~0").replace('/', "~1"))
}

fn has_number(declared: &MqttTopic, topic: &str, payload: &[u8]) -> bool {
    let mut understanding = Understanding::new([declared.clone()].into());
    let mut found = false;
    understanding.of(topic.as_bytes(), payload, false, |taken| {
        found |= matches!(taken, Taken::Said(said) if matches!(said.value, Value::Number(_)));
    });
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guessed(lines: &[&str]) -> Option<LineFormat> {
        format(lines.iter().map(|line| line.as_bytes()))
    }

    fn pairs(separator: &str) -> LineFormat {
        let separator = separator.to_owned();
        LineFormat::Pairs { separator }
    }

    #[test]
    fn lines_are_what_they_look_like() {
        for (lines, expected) in [
            (vec!["168.2,95.0", "168.3,95.1"], Some(fields(",", 2))),
            (vec!["168,2;95,0", "168,3;95,1"], Some(fields(";", 2))),
            (vec!["168.2 95.0 21", "168.3 OPEN 21"], Some(fields(" ", 3))),
            (vec!["168.2\t95.0", "168.3\t95.1"], Some(fields("\t", 2))),
            (vec!["168.2", "168.3 C"], Some(fields(";", 1))),
            (
                vec!["film=168.2 exit=95 C", "film=1 exit=2"],
                Some(pairs(" ")),
            ),
            (
                vec!["film=168.2,exit=95", "film=1,exit=2"],
                Some(pairs(",")),
            ),
            (
                vec![r#"{"film": 168.2}"#, r#"{"film": 168.3}"#],
                Some(LineFormat::Json),
            ),
            (vec!["hello world", "ready"], None),
            (vec![], None),
            (vec!["", "  "], None),
        ] {
            assert_eq!(guessed(&lines), expected, "{lines:?}");
        }
    }

    /// A banner and a line cut in two do not change what most lines are.
    #[test]
    fn most_lines_decide() {
        let lines = [
            "Logger 2.1 ready",
            "168.2,95.0,21",
            "168.3,95.1,21",
            "168.3,95",
            "168.4,95.2,21",
        ];
        assert_eq!(guessed(&lines[1..]), Some(fields(",", 3)));
        assert_eq!(
            guessed(&lines),
            None,
            "three of five are less than two thirds"
        );
    }

    #[test]
    fn a_message_is_a_value_or_an_object_with_some() {
        let of = |payload: &str| {
            let found = declarations("yard/belt-1/exit", payload.as_bytes());
            let told = found.iter().map(|own| {
                let or = |text: &Option<String>| text.clone().unwrap_or_default();
                format!(
                    "{} {} {} {}",
                    own.channel,
                    or(&own.value),
                    or(&own.time),
                    or(&own.sequence)
                )
            });
            told.collect::<Vec<_>>()
        };
        assert_eq!(of("168.2"), ["exit   "]);
        let payload = r#"{"value": 128.4, "at": "2026-03-02T04:05:06Z", "n": 71}"#;
        assert_eq!(of(payload), ["exit /value /at /n"]);
        // 71 is no time of this century, and "x" no count.
        assert_eq!(
            of(r#"{"value": 128.4, "t": 71, "n": "x"}"#),
            ["exit /value  "]
        );
        let two = of(r#"{"film": 1, "cloth/b": 2}"#);
        assert_eq!(two, ["exit-cloth~1b /cloth~1b  ", "exit-film /film  "]);
        assert!(of("OPEN").is_empty() && of("[1]").is_empty() && of("\u{1}").is_empty());
    }
}
