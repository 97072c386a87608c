//! A serial port: its speed, and how its lines are read.

use std::collections::BTreeSet;

use inkdwell_config::shop::LineFormat;
use toml::Table;

use super::{Found, channel_name};
use crate::probe::listen::declare::{self, named_separator};
use crate::probe::listen::guess;
use crate::probe::listen::shown::shown;
use crate::start::checks;
use crate::start::hear::{LineHeard, Where};
use crate::start::plan::Wire;
use crate::start::questions::{of_source, port_of};
use crate::start::shop_file::put_format;
use crate::start::state::{Question, State, Step};

/// How a port is reached and read, and its channels.
pub(super) fn wire(state: &State, number: usize, path: &str) -> Result<(Wire, Vec<Found>), Step> {
    let port = port_of(state, path);
    let typed = state.answers.get(&format!("source.{number}.baud"));
    let typed = typed.and_then(|text| text.parse().ok());
    // What was heard at all speeds stands for the one that is answered too.
    let known = state.findings.line(&port, None);
    let Some(heard) = known.or_else(|| state.findings.line(&port, typed)) else {
        return Err(Step::Hear(Where::Line { port, baud: typed }));
    };
    let baud = state.answer(Question {
        usual: Some(heard.baud.unwrap_or(9600).to_string()),
        quiet: Some(heard.baud.unwrap_or(9600).to_string()),
        check: Box::new(checks::baud),
        ..of_source(
            number,
            "baud",
            "--baud BITS",
            "bits a second",
            "How many bits a second does it send?",
            "Both ends have to agree. The device's manual says it, mostly as 9600 8N1. Seven data bits, a parity bit or two \
             stop bits are set in the shop file: data_bits, parity, stop_bits.",
        )
    })?;
    let format = state.answer(line_format(number, heard))?;
    let format = named(state, number, heard, &parsed(&format))?;
    let channels = line_channels(state, number, heard, &format)?;
    let wire = Wire::Serial {
        port,
        baud: baud.parse().unwrap_or(9600),
        heard: heard
            .lines
            .iter()
            .rev()
            .take(2)
            .rev()
            .map(|line| shown(line))
            .collect(),
        format,
    };
    Ok((wire, channels))
}

fn line_format(number: usize, heard: &LineHeard) -> Question {
    let guess = heard.format.as_ref().map(written);
    let lines = heard.lines.clone();
    Question {
        usual: guess.clone(),
        quiet: guess,
        example: "json".to_owned(),
        check: Box::new(move |text| format_that_fits(text, &lines)),
        ..of_source(
            number,
            "format",
            "--format FORMAT",
            "read as",
            "How are its lines to be read?",
            "As fields with a separator between them (fields ,  fields ;  fields tab  fields space), as name=value (pairs \
             space  pairs ,), as JSON (json), or by a pattern whose named groups are channels (pattern \
             T1:(?<film>[0-9.]+)).",
        )
    }
}

/// A format as it is answered.
fn written(format: &LineFormat) -> String {
    let name = |separator: &str| match separator {
        "\t" => "tab".to_owned(),
        " " => "space".to_owned(),
        other => other.to_owned(),
    };
    match format {
        LineFormat::Fields { separator, .. } => format!("fields {}", name(separator)),
        LineFormat::Pairs { separator } => format!("pairs {}", name(separator)),
        LineFormat::Json => "json".to_owned(),
        LineFormat::Pattern(pattern) => format!("pattern {pattern}"),
    }
}

/// A format that was checked. Its fields have no names yet.
fn parsed(text: &str) -> LineFormat {
    let (word, rest) = text.split_once(' ').unwrap_or((text, ""));
    let separator = named_separator(rest.trim()).to_owned();
    match word {
        "fields" => LineFormat::Fields {
            separator,
            names: Vec::new(),
        },
        "pairs" => LineFormat::Pairs { separator },
        "pattern" => LineFormat::Pattern(rest.trim().to_owned()),
        _ => LineFormat::Json,
    }
}

/// A format, in its usual spelling, that the shop file takes and by which what was heard can be read.
fn format_that_fits(text: &str, lines: &[Vec<u8>]) -> Result<String, String> {
    let text = checks::words(text)?;
    let (word, rest) = text.split_once(' ').unwrap_or((&text, ""));
    let rest = rest.trim();
    let format = match (word, rest) {
        ("json", "") => LineFormat::Json,
        ("fields", "") => parsed("fields ,"),
        ("pairs", "") => parsed("pairs space"),
        ("fields" | "pairs", _) => parsed(&text),
        ("pattern", _) => parsed(&text),
        _ => {
            return Err(
                "write fields and what stands between them (fields ,), pairs and the same (pairs space), json, or \
                 pattern and the pattern"
                    .to_owned(),
            );
        }
    };
    // The shop file's own rules say whether a pattern is one.
    let mut source = Table::new();
    source.insert("kind".to_owned(), "serial".into());
    source.insert("port".to_owned(), "/dev/null".into());
    put_format(&mut source, &with_names(&format, lines));
    declare::read(source).map_err(|failure| failure.to_string())?;
    let read = guess::understood(&with_names(&format, lines), lines.iter().map(Vec::as_slice));
    match (lines.len(), read) {
        (0, _) | (_, 1..) => Ok(written(&format)),
        (heard, 0) => Err(format!(
            "of the {heard} lines that were heard, none can be read so; the last was: {}",
            lines.last().map(|line| shown(line)).unwrap_or_default()
        )),
    }
}

/// Fields with names, as many as most lines have.
fn with_names(format: &LineFormat, lines: &[Vec<u8>]) -> LineFormat {
    match format {
        LineFormat::Fields { separator, names } if names.is_empty() => {
            let count = guess::usual_count(lines.iter().map(Vec::as_slice), separator);
            guess::fields(separator, count.unwrap_or(1))
        }
        other => other.clone(),
    }
}

/// Fields get the names that somebody gives them.
fn named(
    state: &State,
    number: usize,
    heard: &LineHeard,
    format: &LineFormat,
) -> Result<LineFormat, Step> {
    let LineFormat::Fields { separator, .. } = format else {
        return Ok(format.clone());
    };
    let count = match heard.lines.is_empty() {
        true => None,
        false => match with_names(format, &heard.lines) {
            LineFormat::Fields { names, .. } => Some(names.len()),
            _ => None,
        },
    };
    let usual = count.map(|count| {
        let names = (1..=count).map(|number| format!("t{number}"));
        names.collect::<Vec<_>>().join(",")
    });
    let names = state.answer(Question {
        quiet: usual.clone(),
        usual,
        example: "film".to_owned(),
        check: Box::new(move |text| field_names(text, count)),
        ..of_source(
            number,
            "names",
            "--names NAMES",
            "fields",
            "What are its fields to be called, in order and with commas between them?",
            "Short names that mean something: film for a probe in the wet ink, cloth beside it, exit behind the dryer, zone-1 \
             in the chamber, belt, prints. An empty name (film,,exit) passes a field over.",
        )
    })?;
    Ok(LineFormat::Fields {
        separator: separator.clone(),
        names: names.split(',').map(str::to_owned).collect(),
    })
}

fn field_names(text: &str, count: Option<usize>) -> Result<String, String> {
    let text = checks::words(text)?;
    let names: Vec<&str> = text.split(',').map(str::trim).collect();
    if let Some(count) = count
        && names.len() != count
    {
        let given = names.len();
        return Err(format!(
            "the lines have {count} fields, and {given} names are given; pass a field over with an empty name: film,,exit"
        ));
    }
    let mut seen = BTreeSet::new();
    for name in names.iter().filter(|name| !name.is_empty()) {
        channel_name(name)?;
        if !seen.insert(*name) {
            return Err(format!("{name} is given twice"));
        }
    }
    if seen.is_empty() {
        return Err("no field is named".to_owned());
    }
    Ok(names.join(","))
}

fn line_channels(
    state: &State,
    number: usize,
    heard: &LineHeard,
    format: &LineFormat,
) -> Result<Vec<Found>, Step> {
    let readings = heard.readings(format);
    let mut names: Vec<String> = match format {
        LineFormat::Fields { names, .. } => names
            .iter()
            .filter(|name| !name.is_empty())
            .cloned()
            .collect(),
        LineFormat::Pattern(pattern) => declared_channels(pattern),
        LineFormat::Pairs { .. } | LineFormat::Json => readings
            .iter()
            .map(|reading| reading.channel.clone())
            .collect(),
    };
    if names.is_empty() {
        let typed = state.answer(Question {
            example: "film".to_owned(),
            check: Box::new(|text| field_names(text, None)),
            ..of_source(
                number,
                "channels",
                "--names NAMES",
                "channels",
                "Nothing was heard; which channels will it have? Names with commas between them.",
                "The names that the device gives its values, as film in film=168.2 or in {\"film\": 168.2}.",
            )
        })?;
        names = typed.split(',').map(str::to_owned).collect();
    }
    let found = names.into_iter().map(|name| Found {
        last: readings
            .iter()
            .find(|reading| reading.channel == name)
            .cloned(),
        name,
        says_unit: false,
    });
    Ok(found.collect())
}

/// The named groups of a pattern, as the shop file finds them.
fn declared_channels(pattern: &str) -> Vec<String> {
    let mut source = Table::new();
    source.insert("kind".to_owned(), "serial".into());
    source.insert("port".to_owned(), "/dev/null".into());
    put_format(&mut source, &LineFormat::Pattern(pattern.to_owned()));
    let kind = declare::read(source).ok();
    let source = kind.map(|kind| inkdwell_config::shop::Source {
        id: String::new(),
        kind,
    });
    source
        .and_then(|source| source.channels())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_format_is_taken_only_if_what_was_heard_can_be_read_by_it() {
        let lines: Vec<Vec<u8>> = ["168.2;95.0", "168.3;95.1"]
            .map(|line| line.as_bytes().to_vec())
            .to_vec();
        assert_eq!(
            format_that_fits("fields ;", &lines).as_deref(),
            Ok("fields ;")
        );
        let pattern = "pattern (?<film>[0-9.]+);(?<exit>.+)";
        assert_eq!(format_that_fits(pattern, &lines).as_deref(), Ok(pattern));
        for (wrong, says) in [
            ("json", "none can be read so; the last was: 168.3;95.1"),
            ("pairs", "none can be read so"),
            ("pattern (?<film>", "is no pattern"),
            ("pattern ([0-9]+)", "named group"),
            ("csv", "write fields"),
        ] {
            let sentence = format_that_fits(wrong, &lines).unwrap_err();
            assert!(sentence.contains(says), "{wrong}: {sentence}");
        }
        // Where nothing was heard, any format may be right.
        assert_eq!(
            format_that_fits("fields tab", &[]).as_deref(),
            Ok("fields tab")
        );
    }

    #[test]
    fn fields_have_as_many_names_as_there_are() {
        assert_eq!(
            field_names("film, ,exit", Some(3)).as_deref(),
            Ok("film,,exit")
        );
        for (wrong, count) in [("film", Some(2)), ("a,a", None), (",", None), ("a b", None)] {
            assert!(field_names(wrong, count).is_err(), "{wrong}");
        }
    }
}
