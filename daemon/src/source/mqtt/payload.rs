//! What a message says: a bare number, or what JSON pointers (RFC 6901) find in it.

use inkdwell_config::shop::MqttTopic;
use serde_json::Value as Json;

use crate::intake::Value;

/// So many characters are kept of what is no number.
const TEXT_KEPT: usize = 32;
/// 2000-01-01 00:00 UTC in microseconds. A time before it is that of a device whose clock was never set.
const YEAR_2000: i64 = 946_684_800_000_000;

/// Why a message is not understood, in a sentence's second half: "not taken: ...".
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, thiserror::Error)]
pub enum Unfit {
    /// The payload itself is no value.
    #[error("its payload is no number and no word")]
    NoValue,
    /// The payload is no JSON, or has nothing where the value is said to be.
    #[error("it has no number or word where value points")]
    NoValueThere,
    /// There is no time where the time is said to be.
    #[error("it has no time where time points")]
    NoTimeThere,
    /// The count is none.
    #[error("it has no whole number where sequence points")]
    NoCountThere,
}

/// What a message says of one channel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Statement {
    pub value: Value,
    pub device_time: Option<i64>,
    pub sequence: Option<u64>,
}

/// A payload, read as JSON at most once.
pub(super) struct Payload<'a> {
    bytes: &'a [u8],
    json: Option<Option<Json>>,
}

impl<'a> Payload<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Payload<'a> {
        Payload { bytes, json: None }
    }

    /// What it says by a declaration, or why it cannot be understood.
    ///
    /// A declared time must be there and be one: without it, a message that had waited at the broker would
    /// pass for a fresh one. A sequence number may be missing.
    pub(super) fn says(&mut self, topic: &MqttTopic) -> Result<Statement, Unfit> {
        let value = match &topic.value {
            None => bare(self.bytes).ok_or(Unfit::NoValue)?,
            Some(pointer) => {
                let there = self.find(pointer).and_then(of_json);
                there.ok_or(Unfit::NoValueThere)?
            }
        };
        let device_time = match &topic.time {
            None => None,
            Some(pointer) => {
                let there = self.find(pointer).and_then(time);
                Some(there.ok_or(Unfit::NoTimeThere)?)
            }
        };
        let sequence = match &topic.sequence {
            None => None,
            Some(pointer) => match self.find(pointer) {
                None | Some(Json::Null) => None,
                Some(json) => Some(whole(json).ok_or(Unfit::NoCountThere)?),
            },
        };
        Ok(Statement {
            value,
            device_time,
            sequence,
        })
    }

    fn find(&mut self, pointer: &str) -> Option<&Json> {
        let bytes = self.bytes;
        let json = self
            .json
            .get_or_insert_with(|| serde_json::from_slice(bytes).ok());
        json.as_ref()?.pointer(pointer)
    }
}

/// A payload that is the value itself.
fn bare(bytes: &[u8]) -> Option<Value> {
    of_text(std::str::from_utf8(bytes).ok()?.trim())
}

fn of_json(json: &Json) -> Option<Value> {
    match json {
        Json::Number(number) => number.as_f64().map(Value::Number),
        Json::String(text) => of_text(text.trim()),
        Json::Bool(truth) => Some(Value::Number(f64::from(u8::from(*truth)))),
        // JSON knows no NaN; devices write null for it.
        Json::Null => Some(Value::NoNumber("null".into())),
        Json::Array(_) | Json::Object(_) => None,
    }
}

/// A number, `true` or `false` as 1 or 0, or a word such as OPEN.
fn of_text(text: &str) -> Option<Value> {
    if let Some(number) = number(text) {
        return Some(Value::Number(number));
    }
    match text {
        "" => None,
        "true" => Some(Value::Number(1.0)),
        "false" => Some(Value::Number(0.0)),
        text if text.chars().any(char::is_control) => None,
        text => {
            let end = text.char_indices().nth(TEXT_KEPT);
            let kept = &text[..end.map_or(text.len(), |(end, _)| end)];
            Some(Value::NoNumber(kept.into()))
        }
    }
}

/// A finite number; `nan` and `inf` are none.
fn number(text: &str) -> Option<f64> {
    text.parse().ok().filter(|number: &f64| number.is_finite())
}

/// A device's own time in microseconds since 1970: RFC 3339, or a number since then whose size tells its
/// unit. Seconds stay below 1e11 (the year 5138), milliseconds below 1e14, microseconds below 1e17,
/// nanoseconds below 1e20; read in any other unit, a time of this century is far out of it.
fn time(json: &Json) -> Option<i64> {
    let micros = match json {
        Json::Number(number) => match number.as_i64() {
            Some(count) => of_count(i128::from(count))?,
            None => of_fraction(number.as_f64()?)?,
        },
        Json::String(text) => {
            let text = text.trim();
            match chrono::DateTime::parse_from_rfc3339(text) {
                Ok(time) => time.timestamp_micros(),
                Err(_) => match text.parse::<i64>() {
                    Ok(count) => of_count(i128::from(count))?,
                    Err(_) => of_fraction(number(text)?)?,
                },
            }
        }
        _ => return None,
    };
    (micros >= YEAR_2000).then_some(micros)
}

/// A whole number of some unit, exactly.
fn of_count(count: i128) -> Option<i64> {
    let micros = match count {
        ..0 => return None,
        0..100_000_000_000 => count * 1_000_000,
        100_000_000_000..100_000_000_000_000 => count * 1_000,
        100_000_000_000_000..100_000_000_000_000_000 => count,
        _ => count / 1_000,
    };
    i64::try_from(micros).ok()
}

fn of_fraction(count: f64) -> Option<i64> {
    let micros = match count {
        count if !(0.0..1e20).contains(&count) => return None,
        count if count < 1e11 => count * 1e6,
        count if count < 1e14 => count * 1e3,
        count if count < 1e17 => count,
        count => count / 1e3,
    };
    Some(micros.round() as i64)
}

fn whole(json: &Json) -> Option<u64> {
    match json {
        Json::Number(number) => number.as_u64(),
        Json::String(text) => text.trim().parse().ok(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn topic(value: Option<&str>, time: Option<&str>, sequence: Option<&str>) -> MqttTopic {
        MqttTopic {
            filter: "#".to_owned(),
            channel: "c".to_owned(),
            value: value.map(str::to_owned),
            time: time.map(str::to_owned),
            sequence: sequence.map(str::to_owned),
        }
    }

    fn value(pointer: Option<&str>, payload: &str) -> Option<Value> {
        let said = Payload::new(payload.as_bytes()).says(&topic(pointer, None, None));
        said.map(|statement| statement.value).ok()
    }

    fn word(text: &str) -> Option<Value> {
        Some(Value::NoNumber(text.into()))
    }

    #[test]
    fn a_bare_payload_is_a_number_or_a_word() {
        for (payload, expected) in [
            ("160.25", 160.25),
            (" -4e1\r\n", -40.0),
            ("007", 7.0),
            ("true", 1.0),
        ] {
            assert_eq!(
                value(None, payload),
                Some(Value::Number(expected)),
                "{payload}"
            );
        }
        for text in ["OPEN", "nan", "inf", "1e999", "12,5", "160 C"] {
            assert_eq!(value(None, text), word(text));
        }
        let long = "e".repeat(40);
        assert_eq!(value(None, &long), word(&long[..32]));
        for garbage in ["", "  ", "\u{1}\u{2}", "a\nb"] {
            assert_eq!(value(None, garbage), None, "{garbage:?}");
        }
        assert!(
            Payload::new(b"\xff\xfe")
                .says(&topic(None, None, None))
                .is_err()
        );
    }

    /// The document and pointers of RFC 6901, section 5.
    #[test]
    fn pointers_find_what_the_standard_says() {
        let document = r#"{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
            "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}"#;
        for (pointer, expected) in [
            ("/", 0.0),
            ("/a~1b", 1.0),
            ("/c%d", 2.0),
            ("/e^f", 3.0),
            ("/g|h", 4.0),
            ("/i\\j", 5.0),
            ("/k\"l", 6.0),
            ("/ ", 7.0),
            ("/m~0n", 8.0),
        ] {
            let found = value(Some(pointer), document);
            assert_eq!(found, Some(Value::Number(expected)), "{pointer}");
        }
        assert_eq!(value(Some("/foo/0"), document), word("bar"));
        for none in ["", "/foo", "/foo/2", "/foo/-", "/nothing"] {
            assert_eq!(value(Some(none), document), None, "{none}");
        }
        assert_eq!(value(Some(""), "21.5"), Some(Value::Number(21.5)));
    }

    #[test]
    fn json_says_numbers_in_many_ways() {
        for (json, expected) in [
            ("[\"160.5\"]", 160.5),
            ("[true]", 1.0),
            ("[false]", 0.0),
            ("[18446744073709551616]", 18_446_744_073_709_551_616.0),
        ] {
            assert_eq!(
                value(Some("/0"), json),
                Some(Value::Number(expected)),
                "{json}"
            );
        }
        assert_eq!(value(Some("/0"), "[null]"), word("null"));
        for garbage in ["[", "[1", "{\"0\": {}}", "[[1]]", "[NaN]", "[\"\"]"] {
            assert_eq!(value(Some("/0"), garbage), None, "{garbage}");
        }
    }

    /// 1 700 000 000 s since 1970 are 2023-11-14 22:13:20 UTC (`date -u -d @1700000000`).
    #[test]
    fn a_time_s_unit_is_told_by_its_size() {
        let declared = topic(Some("/v"), Some("/t"), None);
        let time = |text: &str| {
            let payload = format!("{{\"v\": 1, \"t\": {text}}}");
            let said = Payload::new(payload.as_bytes()).says(&declared).ok()?;
            said.device_time
        };
        let expected = 1_700_000_000_123_456;
        for text in [
            "\"2023-11-14T22:13:20.123456Z\"",
            "\"2023-11-14T23:13:20.123456+01:00\"",
            "1700000000.123456",
            "\"1700000000.123456\"",
            "1700000000123.456",
            "1700000000123456",
            "1700000000123456789",
        ] {
            assert_eq!(time(text), Some(expected), "{text}");
        }
        assert_eq!(time("1700000000"), Some(1_700_000_000_000_000));
        assert_eq!(time("\"1700000000123\""), Some(1_700_000_000_123_000));
        for none in [
            "null", "true", "\"\"", "\"noon\"", "-5", "0", "3600.5", "1e300", "{}",
        ] {
            assert_eq!(time(none), None, "{none}");
        }
        // Without its declared time a message is not understood.
        assert!(Payload::new(b"{\"v\": 1}").says(&declared).is_err());
    }

    #[test]
    fn a_sequence_number_may_be_missing_but_not_nonsense() {
        let declared = topic(Some("/v"), None, Some("/n"));
        let sequence = |text: &str| {
            let payload = format!("{{\"v\": 1{text}}}");
            let said = Payload::new(payload.as_bytes()).says(&declared);
            said.map(|statement| statement.sequence).ok()
        };
        assert_eq!(
            sequence(", \"n\": 18446744073709551615"),
            Some(Some(u64::MAX))
        );
        assert_eq!(sequence(", \"n\": \"12\""), Some(Some(12)));
        assert_eq!(sequence(""), Some(None));
        assert_eq!(sequence(", \"n\": null"), Some(None));
        for nonsense in ["-1", "1.5", "\"x\"", "[]"] {
            assert_eq!(
                sequence(&format!(", \"n\": {nonsense}")),
                None,
                "{nonsense}"
            );
        }
    }

    proptest! {
        #[test]
        fn no_payload_makes_it_panic(bytes: Vec<u8>, text: String) {
            let declared = topic(Some("/v"), Some("/t"), Some("/n"));
            for bytes in [&bytes[..], text.as_bytes()] {
                let _ = Payload::new(bytes).says(&declared);
                let _ = Payload::new(bytes).says(&topic(None, None, None));
            }
            let json = serde_json::json!({ "v": text, "t": text, "n": text }).to_string();
            let _ = Payload::new(json.as_bytes()).says(&declared);
        }

        /// Seconds, milliseconds and microseconds of the same moment are the same time.
        #[test]
        fn units_agree(seconds in 946_684_800_i64..99_999_999_999) {
            let expected = Some(seconds * 1_000_000);
            for scale in [1, 1_000, 1_000_000] {
                let json = Json::from(seconds * scale);
                prop_assert_eq!(time(&json), expected);
            }
        }
    }
}
