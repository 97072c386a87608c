//! Lines become readings.

use inkdwell_config::shop::LineFormat;
use regex::Regex;
use serde_json::Value as Json;

use super::channels::{Channels, fit_for_a_name};
use super::number;
use super::text;
use super::unclear::Unclear;
use crate::intake::{Said, Value};

/// What a line means.
#[derive(Debug, Clone, PartialEq)]
pub enum Meaning {
    /// Nothing: it is blank.
    Blank,
    /// These readings, each channel once. There may be none, where every value is missing.
    Said(Vec<Said>),
    /// It cannot be understood, and why.
    Garbled(Unclear),
}

/// Says what lines of one format mean.
///
/// - `fields`: as many fields as there are names; a line with more or fewer is garbled. A separator of one
///   space stands for any run of spaces and tabs.
/// - `pairs`: every piece is `name=value`. Behind a value, a unit may stand apart. A name that comes twice,
///   as in two lines that ran into one, garbles the line.
/// - `json`: one object; numbers, texts and truths of its first level are channels.
/// - `pattern`: where the expression first matches in the line, its named groups.
///
/// An empty value is missing: nothing is said of that channel. What is no number is said as such. A unit
/// behind a number is taken off, and what the number means is for the probe's declaration to say; but the
/// unit must stay what it was when it was first seen: a meter that somebody switched from °C to °F says no
/// number until it is switched back. Commas may be decimal commas except where they separate.
#[derive(Debug)]
pub struct LineParser {
    format: Format,
    channels: Channels,
}

#[derive(Debug)]
enum Format {
    Fields {
        separator: String,
        names: Vec<String>,
    },
    Pairs {
        separator: String,
    },
    Json,
    Pattern(Regex),
}

impl LineParser {
    /// A parser for lines of a format.
    ///
    /// # Errors
    /// When a pattern is none.
    pub fn new(format: &LineFormat) -> Result<LineParser, regex::Error> {
        let format = match format {
            LineFormat::Fields { separator, names } => Format::Fields {
                separator: separator.clone(),
                names: names.clone(),
            },
            LineFormat::Pairs { separator } => Format::Pairs {
                separator: separator.clone(),
            },
            LineFormat::Json => Format::Json,
            LineFormat::Pattern(pattern) => Format::Pattern(Regex::new(pattern)?),
        };
        Ok(LineParser {
            format,
            channels: Channels::default(),
        })
    }

    /// What a line, without its end, means.
    pub fn read(&mut self, line: &[u8]) -> Meaning {
        let Some(text) = text::of_line(line) else {
            return Meaning::Garbled(Unclear::Noise(text::noise_in(line)));
        };
        if text.trim().is_empty() {
            return Meaning::Blank;
        }
        let channels = &mut self.channels;
        let said = match &self.format {
            Format::Fields { separator, names } => fields(channels, separator, names, &text),
            Format::Pairs { separator } => pairs(channels, separator, &text),
            Format::Json => json(channels, &text),
            Format::Pattern(pattern) => matched(channels, pattern, &text),
        };
        said.map_or_else(Meaning::Garbled, Meaning::Said)
    }

    /// The unit that stood behind a channel's numbers, in its usual spelling, as far as it is known.
    pub fn unit(&self, channel: &str) -> Option<&'static str> {
        self.channels.unit(channel)
    }
}

/// The pieces between separators.
fn pieces<'a>(text: &'a str, separator: &'a str) -> Box<dyn Iterator<Item = &'a str> + 'a> {
    match separator {
        " " => Box::new(text.split([' ', '\t']).filter(|piece| !piece.is_empty())),
        separator => Box::new(text.split(separator).map(str::trim)),
    }
}

fn fields(
    channels: &mut Channels,
    separator: &str,
    names: &[String],
    text: &str,
) -> Result<Vec<Said>, Unclear> {
    let came = pieces(text, separator).count();
    if came != names.len() {
        let named = names.len();
        return Err(Unclear::Fields { came, named });
    }
    let comma = !separator.contains(',');
    let named = names.iter().zip(pieces(text, separator));
    let named = named.filter(|(name, _)| !name.is_empty());
    let said =
        named.filter_map(|(name, piece)| channels.written(name, piece, number::read(piece, comma)));
    Ok(said.collect())
}

fn pairs(channels: &mut Channels, separator: &str, text: &str) -> Result<Vec<Said>, Unclear> {
    let comma = !separator.contains(',');
    let mut found: Vec<(&str, String)> = Vec::new();
    for piece in pieces(text, separator) {
        match piece.split_once('=') {
            Some((name, value)) => {
                let name = name.trim_end();
                let twice = found.iter().any(|(known, _)| *known == name);
                if twice {
                    return Err(Unclear::NameTwice);
                }
                if !fit_for_a_name(name) {
                    return Err(Unclear::UnfitName);
                }
                found.push((name, value.trim_start().to_owned()));
            }
            None if piece.is_empty() => {}
            // A unit that stands apart from its number.
            None => {
                number::unit(piece).ok_or(Unclear::NoPair)?;
                let (_, value) = found.last_mut().ok_or(Unclear::NoPair)?;
                value.push(' ');
                value.push_str(piece);
            }
        }
    }
    if found.is_empty() {
        return Err(Unclear::NoPairs);
    }
    let said = found
        .iter()
        .filter_map(|(name, value)| channels.written(name, value, number::read(value, comma)));
    Ok(said.collect())
}

fn json(channels: &mut Channels, text: &str) -> Result<Vec<Said>, Unclear> {
    let members: serde_json::Map<String, Json> =
        serde_json::from_str(text).map_err(|_| Unclear::NoJson)?;
    let mut said = Vec::with_capacity(members.len());
    let mut any = false;
    for (name, member) in &members {
        let value = match member {
            Json::Number(number) => Value::Number(number.as_f64().ok_or(Unclear::NoJson)?),
            Json::Bool(truth) => Value::Number(f64::from(u8::from(*truth))),
            // JSON knows no NaN; devices write null for it.
            Json::Null => number::word("null"),
            Json::String(text) => {
                any = true;
                if fit_for_a_name(name) {
                    said.extend(channels.written(name, text, number::read(text, true)));
                }
                continue;
            }
            Json::Array(_) | Json::Object(_) => continue,
        };
        any = true;
        if fit_for_a_name(name) {
            said.push(channels.said(name, value));
        }
    }
    any.then_some(said).ok_or(Unclear::NoMember)
}

fn matched(channels: &mut Channels, pattern: &Regex, text: &str) -> Result<Vec<Said>, Unclear> {
    let captures = pattern.captures(text).ok_or(Unclear::NoMatch)?;
    let mut said = Vec::new();
    for name in pattern.capture_names().flatten() {
        if let Some(group) = captures.name(name) {
            let group = group.as_str();
            said.extend(channels.written(name, group, number::read(group, true)));
        }
    }
    Ok(said)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::channels::{LONGEST_NAME, REMEMBERED};
    use super::*;

    fn parser(format: &LineFormat) -> LineParser {
        LineParser::new(format).unwrap()
    }

    fn fields(separator: &str, names: &[&str]) -> LineFormat {
        LineFormat::Fields {
            separator: separator.to_owned(),
            names: names.iter().map(|name| (*name).to_owned()).collect(),
        }
    }

    fn pairs(separator: &str) -> LineFormat {
        LineFormat::Pairs {
            separator: separator.to_owned(),
        }
    }

    /// A meaning in short: `film 168.2, exit OPEN`.
    fn short(meaning: Meaning) -> String {
        match meaning {
            Meaning::Blank => "blank".to_owned(),
            Meaning::Garbled(_) => "garbled".to_owned(),
            Meaning::Said(said) => {
                let each = said.iter().map(|said| match &said.value {
                    Value::Number(number) => format!("{} {number}", said.channel),
                    Value::NoNumber(word) => format!("{} {word:?}", said.channel),
                });
                each.collect::<Vec<String>>().join(", ")
            }
        }
    }

    fn read(format: &LineFormat, line: &str) -> String {
        short(parser(format).read(line.as_bytes()))
    }

    #[test]
    fn fields_are_named_in_order() {
        let two = fields(",", &["film", "", "exit"]);
        for (line, expected) in [
            ("168.2,ignored,95", "film 168.2, exit 95"),
            (" 168.2 , , 95 C ", "film 168.2, exit 95"),
            ("OPEN,,95", "film \"OPEN\", exit 95"),
            (",,95", "exit 95"),
            (",,", ""),
            ("168.2,95", "garbled"),
            ("168.2,1,95,", "garbled"),
            ("168.2", "garbled"),
            ("  ", "blank"),
            ("\u{2}\u{3}", "blank"),
        ] {
            assert_eq!(read(&two, line), expected, "{line:?}");
        }
    }

    #[test]
    fn a_comma_is_a_decimal_comma_where_it_does_not_separate() {
        let semicolon = fields(";", &["film", "exit"]);
        assert_eq!(read(&semicolon, "168,2;95,05"), "film 168.2, exit 95.05");
        let comma = fields(",", &["film", "exit"]);
        assert_eq!(read(&comma, "168,2,95"), "garbled");
        let spaces = fields(" ", &["film", "exit"]);
        assert_eq!(read(&spaces, "  168,2 \t  95"), "film 168.2, exit 95");
        assert_eq!(read(&spaces, "168.2"), "garbled");
        let tab = fields("\t", &["film", "exit"]);
        assert_eq!(read(&tab, "\t95"), "exit 95");
        assert_eq!(read(&tab, "168.2 \t"), "film 168.2");
        let word = fields(" | ", &["film", "exit"]);
        assert_eq!(read(&word, "168.2 | 95"), "film 168.2, exit 95");
        assert_eq!(read(&pairs(","), "film=168,exit=9"), "film 168, exit 9");
        assert_eq!(read(&pairs(";"), "film=168,5;exit=9"), "film 168.5, exit 9");
    }

    #[test]
    fn pairs_name_their_channels() {
        for (line, expected) in [
            ("film=168.2 exit=95", "film 168.2, exit 95"),
            ("film=168.2 C  exit=203 °F", "film 168.2, exit 203"),
            ("film= exit=ERR", "exit \"ERR\""),
            ("film=", ""),
            ("film=168.2 film=168.3", "garbled"),
            ("film=168.2 exit", "garbled"),
            ("film 168.2", "garbled"),
            ("=168.2", "garbled"),
            ("C film=168.2", "garbled"),
            ("film=a=b", "film \"a=b\""),
        ] {
            assert_eq!(read(&pairs(" "), line), expected, "{line:?}");
        }
        let semicolon = pairs(";");
        let line = "film = 168.2 ; exit = 95 ;";
        assert_eq!(read(&semicolon, line), "film 168.2, exit 95");
        let long = format!("{}=1", "n".repeat(LONGEST_NAME + 1));
        assert_eq!(read(&semicolon, &long), "garbled");
    }

    #[test]
    fn members_of_an_object_are_channels() {
        for (line, expected) in [
            (
                r#"{"film": 168.2, "exit": "95,5 C", "fan": true, "belt": null}"#,
                "belt \"null\", exit 95.5, fan 1, film 168.2",
            ),
            (r#"{"film": "OPEN", "exit": ""}"#, "film \"OPEN\""),
            (r#"{"film": 1, "more": {"x": 2}, "list": [3]}"#, "film 1"),
            (r#"{"film": 0.1, "film": 168.2}"#, "film 168.2"),
            (r#"{"": 1, "film": 2}"#, "film 2"),
            ("{}", "garbled"),
            (r#"{"more": {"film": 2}}"#, "garbled"),
            ("168.2", "garbled"),
            ("[168.2]", "garbled"),
            (r#"{"film": 168.2"#, "garbled"),
            (r#"{"film": 1}{"film": 2}"#, "garbled"),
            (r#"{"film": 1e999}"#, "garbled"),
        ] {
            assert_eq!(read(&LineFormat::Json, line), expected, "{line}");
        }
    }

    #[test]
    fn named_groups_are_channels() {
        let pattern = r"T1:\s*(?<film>[^ ]+)(?: T2:(?<exit>\S*))?";
        let pattern = LineFormat::Pattern(pattern.to_owned());
        for (line, expected) in [
            ("# T1: +168.2C T2:95,5", "film 168.2, exit 95.5"),
            ("T1:OPEN T2:", "film \"OPEN\""),
            ("T1:168.2", "film 168.2"),
            ("T3:168.2", "garbled"),
        ] {
            assert_eq!(read(&pattern, line), expected, "{line}");
        }
        assert!(LineParser::new(&LineFormat::Pattern("(".to_owned())).is_err());
    }

    #[test]
    fn a_meter_that_was_switched_to_another_unit_says_no_number() {
        let mut parser = parser(&fields(",", &["film", "exit"]));
        let mut read = |line: &str| short(parser.read(line.as_bytes()));
        assert_eq!(read("160 C,95"), "film 160, exit 95");
        assert_eq!(read("320 F,95"), "film \"320 F\", exit 95");
        assert_eq!(read("160,95 F"), "film 160, exit 95");
        assert_eq!(read("161°C,96F"), "film 161, exit 96");
        assert_eq!(read("162C,36C"), "film 162, exit \"36C\"");
    }

    #[test]
    fn noise_garbles_a_line() {
        let mut parser = parser(&fields(",", &["film", "exit"]));
        assert_eq!(short(parser.read(b"16\x008.2,95")), "garbled");
        assert_eq!(short(parser.read(b"\xb168.2,95")), "garbled");
        assert_eq!(
            short(parser.read(b"\x00168.2,95\xb0C")),
            "film 168.2, exit 95"
        );
    }

    #[test]
    fn why_a_line_is_not_understood_is_told() {
        let two = fields(",", &["film", "exit"]);
        for (format, line, why) in [
            (&two, &b"168.2"[..], Unclear::Fields { came: 1, named: 2 }),
            (&two, b"1,2,3", Unclear::Fields { came: 3, named: 2 }),
            (&two, b"16\x1b8.2,95", Unclear::Noise(1)),
            (&pairs(" "), b"film=1 film=2", Unclear::NameTwice),
            (&pairs(" "), b"film=1 exit", Unclear::NoPair),
            (&pairs(" "), b"film 168.2", Unclear::NoPair),
            (&pairs(","), b" , ", Unclear::NoPairs),
            (&pairs(" "), b"=168.2", Unclear::UnfitName),
            (&LineFormat::Json, b"[168.2]", Unclear::NoJson),
            (&LineFormat::Json, b"{\"more\": {}}", Unclear::NoMember),
            (
                &LineFormat::Pattern("T(?<film>.+)".to_owned()),
                b"168.2",
                Unclear::NoMatch,
            ),
        ] {
            let meaning = parser(format).read(line);
            assert_eq!(meaning, Meaning::Garbled(why), "{}", line.escape_ascii());
        }
    }

    #[test]
    fn the_unit_behind_a_number_is_remembered() {
        let mut parser = parser(&fields(",", &["film", "exit"]));
        parser.read(b"168.2 \xb0C,95");
        assert_eq!(
            (parser.unit("film"), parser.unit("exit")),
            (Some("C"), None)
        );
    }

    fn any_format() -> impl Strategy<Value = LineFormat> {
        prop_oneof![
            "[,;| \t]{1,3}".prop_map(|separator| fields(&separator, &["a", "", "b"])),
            "[,;| =]{1,2}".prop_map(|separator| pairs(&separator)),
            Just(LineFormat::Json),
            Just(LineFormat::Pattern("(?<a>[^,]*),(?<b>.*)".to_owned())),
        ]
    }

    proptest! {
        /// Any bytes have a meaning; each channel comes once, and what is remembered stays bounded.
        #[test]
        fn no_line_makes_it_panic(
            format in any_format(),
            lines in proptest::collection::vec(
                prop_oneof![
                    "[-+0-9.,; =CF°a-c{}\":\0]{0,40}".prop_map(String::into_bytes),
                    proptest::collection::vec(any::<u8>(), 0..60),
                ],
                0..40,
            ),
        ) {
            let mut parser = parser(&format);
            for line in &lines {
                if let Meaning::Said(said) = parser.read(line) {
                    let mut names: Vec<&str> = said.iter().map(|said| &*said.channel).collect();
                    names.sort_unstable();
                    names.dedup();
                    prop_assert_eq!(names.len(), said.len());
                }
            }
            prop_assert!(parser.channels.remembered() <= REMEMBERED);
        }
    }

    #[test]
    fn channels_without_end_are_read_but_not_all_remembered() {
        let mut parser = parser(&pairs(" "));
        for number in 0..2 * REMEMBERED {
            let meaning = parser.read(format!("c{number}=1C").as_bytes());
            assert_eq!(short(meaning), format!("c{number} 1"));
        }
        assert_eq!(parser.channels.remembered(), REMEMBERED);
    }
}
