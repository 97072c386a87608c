//! From a header line to columns.

use super::TraceFileError;
use super::column::{Column, ColumnKind};
use super::layout::{Layout, TimeForm};
use crate::sensor::ThermocoupleType;

/// What the cells of a row are, in their order.
#[derive(Debug, Clone)]
pub(super) struct Header {
    /// The name of the time column.
    pub(super) time_header: String,
    pub(super) form: TimeForm,
    /// The other cells: for each its place in the row.
    pub(super) places: Vec<usize>,
    /// What they are, in the same order.
    pub(super) columns: Vec<Column>,
    /// How many cells a row has.
    pub(super) cells: usize,
}

const HOW_TO_NAME: &str = "name each temperature with its unit, as film_c, film_f or film_k_mv, or say \
     on the command line which column is what";

impl Header {
    /// Understands the names of the columns.
    pub(super) fn new(
        line: u64,
        names: &[String],
        layout: &Layout,
    ) -> Result<Header, TraceFileError> {
        let names: Vec<String> = names.iter().map(|name| name.trim().to_owned()).collect();
        for (number, name) in names.iter().enumerate() {
            if !name.is_empty() && names[..number].contains(name) {
                let what = format!("two columns are named {name}");
                return Err(TraceFileError::at(
                    line,
                    Some(name),
                    what,
                    "rename one of them",
                ));
            }
        }
        let (time, form) = time_column(line, &names, layout)?;
        let mut places = Vec::new();
        let mut columns = Vec::new();
        for (place, name) in names.iter().enumerate().filter(|(place, _)| *place != time) {
            places.push(place);
            columns.push(as_declared(name, layout));
        }
        declared_are_there(line, &names, layout)?;
        for column in &columns {
            if column.kind == ColumnKind::Thermocouple(ThermocoupleType::B) {
                return Err(TraceFileError::at(
                    line,
                    Some(&column.header),
                    "a type B thermocouple tells nothing below 250 °C",
                    "use a probe of another type",
                ));
            }
        }
        if !columns.iter().any(|column| column.kind.is_temperature()) {
            let what = "no column is a temperature with a unit";
            return Err(TraceFileError::at(line, None, what, HOW_TO_NAME));
        }
        let time_header = names[time].clone();
        Ok(Header {
            time_header,
            form,
            places,
            columns,
            cells: names.len(),
        })
    }
}

/// What a column is: as the layout says if it says anything, else by its own name.
fn as_declared(name: &str, layout: &Layout) -> Column {
    let declared = layout
        .temperatures
        .iter()
        .find(|column| column.header == name);
    match declared {
        Some(column) => Column {
            name: column.name.clone(),
            header: name.to_owned(),
            kind: column.kind,
        },
        None if layout.temperatures.is_empty() => Column::of(name),
        None => {
            let own = Column::of(name);
            let kind = if own.kind.is_temperature() {
                ColumnKind::Ignored
            } else {
                own.kind
            };
            Column { kind, ..own }
        }
    }
}

fn declared_are_there(line: u64, names: &[String], layout: &Layout) -> Result<(), TraceFileError> {
    let missing = layout
        .temperatures
        .iter()
        .find(|column| !names.contains(&column.header));
    match missing {
        Some(column) => Err(not_there(line, &column.header, names)),
        None => Ok(()),
    }
}

fn not_there(line: u64, name: &str, names: &[String]) -> TraceFileError {
    let what = format!("there is no column {name:?}");
    let remedy = format!("the columns are {}", names.join(", "));
    TraceFileError::at(line, Some(name), what, remedy)
}

fn time_column(
    line: u64,
    names: &[String],
    layout: &Layout,
) -> Result<(usize, TimeForm), TraceFileError> {
    if let Some(time) = &layout.time {
        let place = names.iter().position(|name| *name == time.header);
        let place = place.ok_or_else(|| not_there(line, &time.header, names))?;
        return Ok((place, time.form.clone()));
    }
    let seconds = names.iter().position(|name| name == "time_s");
    let zoned = names.iter().position(|name| name == "time");
    match (seconds, zoned) {
        (Some(place), None) => Ok((place, TimeForm::Seconds)),
        (None, Some(place)) => Ok((place, TimeForm::Rfc3339)),
        (Some(_), Some(_)) => Err(TraceFileError::at(
            line,
            Some("time"),
            "there are two time columns, time_s and time",
            "keep one of them",
        )),
        (None, None) => Err(TraceFileError::at(
            line,
            Some("time_s"),
            "there is no time column",
            "name it time_s (seconds) or time (RFC 3339), or say on the command line which column it is",
        )),
    }
}
