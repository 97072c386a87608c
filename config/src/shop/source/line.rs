//! How one line of text carries readings.

use std::collections::BTreeSet;

use crate::problem::quoted;
use crate::reading::{Node, TableReader};

/// How a line of text carries readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LineFormat {
    /// Fields between separators, named in order; an empty name is passed over.
    Fields {
        /// What separates them; a comma where nothing is given.
        separator: String,
        /// Channel names in order.
        names: Vec<String>,
    },
    /// `name=value`, any number of them.
    Pairs {
        /// What separates them; a space where nothing is given.
        separator: String,
    },
    /// One JSON object, its members being channels.
    Json,
    /// A regular expression whose named groups are channels.
    Pattern(String),
}

#[derive(Clone, Copy)]
enum Kind {
    Fields,
    Pairs,
    Json,
    Pattern,
}

const KINDS: [(&str, Kind); 4] = [
    ("fields", Kind::Fields),
    ("pairs", Kind::Pairs),
    ("json", Kind::Json),
    ("pattern", Kind::Pattern),
];

const PATTERN: &str = "'T1:(?<film>[0-9.]+)'";

impl LineFormat {
    /// Reads `format` and the keys that belong to it.
    pub(super) fn read(table: &TableReader<'_>) -> Option<LineFormat> {
        let kind = table
            .required("format", "\"fields\"")
            .and_then(|node| node.choice(&KINDS));
        let Some(kind) = kind else {
            table.pass_over(&["separator", "names", "pattern"]);
            return None;
        };
        match kind {
            Kind::Fields => {
                let separator = read_separator(table, ",");
                let names = table.required("names", "[\"film\", \"exit\"]");
                let names = names.and_then(|node| read_names(&node));
                Some(LineFormat::Fields {
                    separator: separator?,
                    names: names?,
                })
            }
            Kind::Pairs => Some(LineFormat::Pairs {
                separator: read_separator(table, " ")?,
            }),
            Kind::Json => Some(LineFormat::Json),
            Kind::Pattern => {
                let node = table.required("pattern", PATTERN)?;
                read_pattern(&node).map(LineFormat::Pattern)
            }
        }
    }

    /// The channels that such a line can have; `None` where the line itself names them.
    pub(super) fn channels(&self) -> Option<Vec<String>> {
        match self {
            LineFormat::Fields { names, .. } => {
                let named = names.iter().filter(|name| !name.is_empty());
                Some(named.cloned().collect())
            }
            LineFormat::Pairs { .. } | LineFormat::Json => None,
            LineFormat::Pattern(pattern) => {
                let pattern = regex::Regex::new(pattern).ok()?;
                let names = pattern.capture_names().flatten();
                Some(names.map(str::to_owned).collect())
            }
        }
    }
}

fn read_separator(table: &TableReader<'_>, usual: &str) -> Option<String> {
    let Some(node) = table.optional("separator") else {
        return Some(usual.to_owned());
    };
    let separator = node.text()?;
    if separator.is_empty() || separator.contains(['\n', '\r']) {
        node.report(
            "a separator stands between fields of one line",
            "write for example \",\", \";\" or \"\\t\"",
        );
        return None;
    }
    Some(separator)
}

fn read_names(node: &Node<'_>) -> Option<Vec<String>> {
    let elements = node.elements()?;
    let names: Vec<Option<String>> = elements.iter().map(Node::text).collect();
    let names = names.into_iter().collect::<Option<Vec<String>>>()?;
    let mut seen = BTreeSet::new();
    for (name, element) in names.iter().zip(&elements) {
        if !name.is_empty() && !seen.insert(name) {
            element.report(
                format!("{} is named twice", quoted(name)),
                "give each field its own name, or \"\" to pass it over",
            );
            return None;
        }
    }
    if seen.is_empty() {
        node.report(
            "names no field",
            "name at least one, as [\"film\", \"exit\"]",
        );
        return None;
    }
    Some(names)
}

fn read_pattern(node: &Node<'_>) -> Option<String> {
    let pattern = node.text()?;
    match regex::Regex::new(&pattern) {
        Err(error) => {
            // Its last line says what is wrong, those before draw where.
            let text = error.to_string();
            let why = text.lines().last().unwrap_or_default();
            let why = why.trim_start_matches("error: ");
            node.report(
                format!("{} is no pattern ({why})", quoted(&pattern)),
                format!("write for example {PATTERN}, in single quotes"),
            );
            None
        }
        Ok(sound) if sound.capture_names().flatten().next().is_none() => {
            node.report(
                format!("{} has no named group", quoted(&pattern)),
                format!("name each channel, as in {PATTERN}"),
            );
            None
        }
        Ok(_) => Some(pattern),
    }
}

#[cfg(test)]
mod tests {
    use crate::shop::testing::{each_is_named, sound};

    const PATTERN: &str = r#"
[[source]]
id = "p"
kind = "serial"
port = "/dev/ttyUSB0"
format = "pattern"
pattern = 'T1:(?<film>[0-9.]+) T2:(?P<exit>[0-9.]+)'
"#;

    /// The groups' names are the channels; a source of pairs or JSON names them with each line.
    #[test]
    fn a_pattern_names_its_channels() {
        let channels = |text: &str| sound(text).sources[0].channels();
        let named = Some(["film", "exit"].map(str::to_owned).to_vec());
        assert_eq!(channels(PATTERN), named);
        let pattern = PATTERN.lines().last().unwrap();
        let without = |format: &str| PATTERN.replace("\"pattern\"", format).replace(pattern, "");
        assert_eq!(channels(&without("\"json\"")), None);
        assert_eq!(channels(&without("\"pairs\"")), None);
    }

    #[test]
    fn a_pattern_that_is_none_is_named() {
        let pattern = "'T1:(?<film>[0-9.]+) T2:(?P<exit>[0-9.]+)'";
        each_is_named(
            PATTERN,
            &[
                (
                    pattern,
                    "'T1:(?<film>[0-9.]+'",
                    "source[0].pattern: \"T1:(?<film>[0-9.]+\" is no pattern (unclosed group); ",
                ),
                (
                    pattern,
                    "'T1:([0-9.]+)'",
                    "source[0].pattern: \"T1:([0-9.]+)\" has no named group; ",
                ),
                (
                    pattern,
                    "'(?<a>a{9999}){9999}'",
                    "source[0].pattern: \"(?<a>a{9999}){9999}\" is no pattern (",
                ),
                (pattern, "3", "source[0].pattern: 3 is a bare number"),
            ],
        );
    }
}
