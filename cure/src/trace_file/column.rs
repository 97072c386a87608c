//! What the columns of a trace file are, by their names.

use crate::sensor::ThermocoupleType;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ColumnKind {
    /// °C.
    Celsius,
    /// °F, given out in °C.
    Fahrenheit,
    /// Millivolts of a thermocouple, given out in °C.
    Thermocouple(ThermocoupleType),
    /// The reference junction of the thermocouples, °C.
    Junction,
    /// A belt speed, given out in metres a second: the reading times this.
    Belt(f64),
    /// A print counter.
    Count,
    /// Nothing that is read.
    Ignored,
}

impl ColumnKind {
    /// Whether it is a temperature of something, the reference junction aside.
    pub fn is_temperature(self) -> bool {
        matches!(
            self,
            Self::Celsius | Self::Fahrenheit | Self::Thermocouple(_)
        )
    }
}

/// A column besides the time.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// The channel's name: the header without its unit.
    pub name: String,
    /// The whole name as the header has it.
    pub header: String,
    /// What it holds.
    pub kind: ColumnKind,
}

/// Metres a second for a metre, foot and inch a minute.
const BELT: [(&str, f64); 3] = [
    ("_m_per_min", 1.0 / 60.0),
    ("_ft_per_min", 0.3048 / 60.0),
    ("_in_per_min", 0.0254 / 60.0),
];

impl Column {
    /// What a header says.
    pub(super) fn of(header: &str) -> Column {
        let (name, kind) = name_and_kind(header).unwrap_or((header, ColumnKind::Ignored));
        Column {
            name: name.to_owned(),
            header: header.to_owned(),
            kind,
        }
    }
}

fn name_and_kind(header: &str) -> Option<(&str, ColumnKind)> {
    if header == "junction_c" {
        return Some(("junction", ColumnKind::Junction));
    }
    let (name, kind) =
        if let Some((suffix, factor)) = BELT.iter().find(|(suffix, _)| header.ends_with(suffix)) {
            (header.strip_suffix(suffix)?, ColumnKind::Belt(*factor))
        } else if let Some(name) = header.strip_suffix("_count") {
            (name, ColumnKind::Count)
        } else if let Some(rest) = header.strip_suffix("_mv") {
            let (name, letter) = rest.rsplit_once('_')?;
            let mut letters = letter.chars();
            let (Some(letter @ 'a'..='z'), None) = (letters.next(), letters.next()) else {
                return None;
            };
            (
                name,
                ColumnKind::Thermocouple(ThermocoupleType::from_letter(letter)?),
            )
        } else if let Some(name) = header.strip_suffix("_c") {
            (name, ColumnKind::Celsius)
        } else {
            (header.strip_suffix("_f")?, ColumnKind::Fahrenheit)
        };
    (!name.is_empty()).then_some((name, kind))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_say_what_columns_are() {
        for (header, name, kind) in [
            ("film_c", "film", ColumnKind::Celsius),
            ("exit_2_f", "exit_2", ColumnKind::Fahrenheit),
            (
                "film_k_mv",
                "film",
                ColumnKind::Thermocouple(ThermocoupleType::K),
            ),
            ("junction_c", "junction", ColumnKind::Junction),
            ("belt_m_per_min", "belt", ColumnKind::Belt(1.0 / 60.0)),
            ("prints_count", "prints", ColumnKind::Count),
            ("film", "film", ColumnKind::Ignored),
            ("film_x_mv", "film_x_mv", ColumnKind::Ignored),
            ("_c", "_c", ColumnKind::Ignored),
        ] {
            let column = Column::of(header);
            assert_eq!(
                (column.name.as_str(), column.kind),
                (name, kind),
                "{header}"
            );
        }
    }
}
