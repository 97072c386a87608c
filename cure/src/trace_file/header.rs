//! From a header line to columns.

use super::column::{Column, ColumnKind};
use super::error::{TraceFileError, quoted, shortened};
use super::layout::{Layout, TemperatureColumn, TimeForm};
use super::time;
use crate::sensor::ThermocoupleType;

/// The channel of the thermocouples' reference junction.
const JUNCTION: &str = "junction";
/// An error lists so many of a file's columns.
const MOST_LISTED: usize = 20;

/// What the cells of a row are, in their order.
#[derive(Debug, Clone)]
pub(super) struct Header {
    /// The name of the time column.
    pub(super) time_header: String,
    pub(super) form: TimeForm,
    /// The time's place in the row, and that of its second half where date and time of day stand apart.
    pub(super) time_places: (usize, Option<usize>),
    /// The other cells: for each its place in the row.
    pub(super) places: Vec<usize>,
    /// What they are, in the same order.
    pub(super) columns: Vec<Column>,
    /// Whether the reference junction is written in °F.
    pub(super) fahrenheit_junction: bool,
    /// How many cells a row has.
    pub(super) cells: usize,
}

const HOW_TO_NAME: &str = "name each temperature with its unit, as film_c, film_f or film_k_mv, or say \
     on the command line which column is what";
const HOW_TO_NAME_TIME: &str = "name it time_s (seconds) or time (RFC 3339), or say on the command line \
     which column it is";

impl Header {
    /// Understands the names of the columns.
    pub(super) fn new(
        line: u64,
        names: &[String],
        layout: &Layout,
    ) -> Result<Header, TraceFileError> {
        let names = Names { line, names };
        if layout.time.is_none() || layout.temperatures.is_empty() {
            names.refuse_twins()?;
        }
        let (time_header, form, time_places) = time_column(&names, layout)?;
        let declared = declared(&names, layout, time_places)?;
        let is_time = |place| time_places.0 == place || time_places.1 == Some(place);
        let places: Vec<usize> = (0..names.names.len())
            .filter(|place| !is_time(*place))
            .collect();
        let mut columns: Vec<Column> = places
            .iter()
            .zip(names.names_at(&places))
            .map(|(place, name)| {
                as_declared(name, declared.iter().find(|(at, _)| at == place), layout)
            })
            .collect();
        let fahrenheit_junction = settle_junction(&mut columns);
        for column in &columns {
            if column.kind == ColumnKind::Thermocouple(ThermocoupleType::B) {
                let what = "a type B thermocouple tells nothing below 250 °C";
                return Err(names.wrong(Some(&column.header), what, "use a probe of another type"));
            }
        }
        if !columns.iter().any(|column| column.kind.is_temperature()) {
            let what = "no column is a temperature with a unit";
            return Err(names.wrong(None, what, HOW_TO_NAME));
        }
        Ok(Header {
            time_header,
            form,
            time_places,
            places,
            columns,
            fahrenheit_junction,
            cells: names.names.len(),
        })
    }
}

/// The names of the columns, and where they stand.
struct Names<'a> {
    line: u64,
    names: &'a [String],
}

impl Names<'_> {
    fn wrong(
        &self,
        field: Option<&str>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> TraceFileError {
        TraceFileError::at(self.line, field, what, remedy)
    }

    fn names_at(&self, places: &[usize]) -> impl Iterator<Item = &str> {
        places
            .iter()
            .filter_map(|place| self.names.get(*place))
            .map(String::as_str)
    }

    fn refuse_twins(&self) -> Result<(), TraceFileError> {
        let mut sorted: Vec<&String> = self.names.iter().filter(|name| !name.is_empty()).collect();
        sorted.sort_unstable();
        match sorted.windows(2).find(|pair| pair.first() == pair.last()) {
            Some(pair) => {
                let name = pair.first().map_or("", |name| name.as_str());
                let what = format!("two columns are named {}", shortened(name));
                Err(self.wrong(Some(name), what, "rename one of them"))
            }
            None => Ok(()),
        }
    }

    /// The place of a column by its name, or by its number from 1.
    fn place_of(&self, column: &str) -> Result<usize, TraceFileError> {
        let mut named = (0..self.names.len())
            .filter(|place| self.names.get(*place).is_some_and(|name| name == column));
        match (named.next(), named.next()) {
            (Some(place), None) => Ok(place),
            (Some(_), Some(_)) => {
                let what = format!("two columns are named {}", shortened(column));
                let remedy = "say which by its number, counted from 1";
                Err(self.wrong(Some(column), what, remedy))
            }
            (None, _) => {
                let number = column.parse::<usize>().ok();
                let place = number.and_then(|number| number.checked_sub(1));
                place
                    .filter(|place| *place < self.names.len())
                    .ok_or_else(|| self.not_there(column))
            }
        }
    }

    fn not_there(&self, column: &str) -> TraceFileError {
        let what = format!("there is no column {}", quoted(column.as_bytes()));
        let listed: Vec<String> = self
            .names
            .iter()
            .take(MOST_LISTED)
            .map(|name| shortened(name))
            .collect();
        let more = self.names.len().saturating_sub(MOST_LISTED);
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        let remedy = format!("the columns are {}{more}", listed.join(", "));
        self.wrong(Some(column), what, remedy)
    }

    /// What probably separates the cells, where the whole header was taken for one.
    fn other_delimiter(&self) -> Option<&'static str> {
        let [name] = self.names else { return None };
        let known = [
            (';', "\";\""),
            ('\t', "tabs"),
            ('|', "\"|\""),
            (',', "\",\""),
        ];
        let found = known
            .iter()
            .find(|(delimiter, _)| name.contains(*delimiter));
        found.map(|(_, name)| *name)
    }
}

/// The columns that the layout names, by their places.
fn declared<'a>(
    names: &Names<'_>,
    layout: &'a Layout,
    time: (usize, Option<usize>),
) -> Result<Vec<(usize, &'a TemperatureColumn)>, TraceFileError> {
    let mut declared: Vec<(usize, &TemperatureColumn)> = Vec::new();
    for column in &layout.temperatures {
        let place = names.place_of(&column.header)?;
        let wrong =
            |what: &str| Err(names.wrong(Some(&column.header), what, "name each column once"));
        if place == time.0 || Some(place) == time.1 {
            return wrong("the column is the time as well as a temperature");
        }
        for (other_place, other) in &declared {
            if *other_place == place {
                return wrong("the column is named twice");
            }
            if other.name == column.name {
                return wrong(&format!(
                    "two columns are to be {}",
                    shortened(&column.name)
                ));
            }
        }
        declared.push((place, column));
    }
    Ok(declared)
}

/// What a column is: as the layout says if it says anything, else by its own name.
fn as_declared(
    name: &str,
    declared: Option<&(usize, &TemperatureColumn)>,
    layout: &Layout,
) -> Column {
    if let Some((_, column)) = declared {
        return Column {
            name: column.name.clone(),
            header: name.to_owned(),
            kind: column.kind,
        };
    }
    let own = Column::of(name);
    if own.kind.is_temperature() && !layout.temperatures.is_empty() {
        // Who names the temperatures names all of them.
        return Column {
            kind: ColumnKind::Ignored,
            ..own
        };
    }
    own
}

/// Makes the channel `junction` the reference junction, whichever scale it is written in: taken for
/// 0 °C, or for a print, it would spoil every other reading. Says whether that scale is °F. Of two, the
/// first counts.
fn settle_junction(columns: &mut [Column]) -> bool {
    let mut fahrenheit = None;
    for column in columns.iter_mut().filter(|column| column.name == JUNCTION) {
        let scale = match column.kind {
            ColumnKind::Celsius | ColumnKind::Junction => false,
            ColumnKind::Fahrenheit => true,
            _ => continue,
        };
        column.kind = match fahrenheit {
            None => ColumnKind::Junction,
            Some(_) => ColumnKind::Ignored,
        };
        fahrenheit = fahrenheit.or(Some(scale));
    }
    fahrenheit == Some(true)
}

/// The time column's name, form and places.
type Time = (String, TimeForm, (usize, Option<usize>));

fn time_column(names: &Names<'_>, layout: &Layout) -> Result<Time, TraceFileError> {
    let place_of = |name: &str| names.names.iter().position(|known| known == name);
    if let Some(time) = &layout.time {
        if let Some(pattern) = time::unreadable_pattern(&time.form) {
            let what = format!(
                "{} is no pattern of a time of day",
                quoted(pattern.as_bytes())
            );
            let remedy = "write one such as %d.%m.%Y %H:%M:%S, or %H:%M:%S%.f";
            return Err(names.wrong(Some(&time.header), what, remedy));
        }
        // A name with a plus in it wins over two names.
        let halves = time.header.split_once('+');
        let places = match halves {
            Some((date, clock)) if place_of(&time.header).is_none() => {
                let (date, clock) = (date.trim(), clock.trim());
                (names.place_of(date)?, Some(names.place_of(clock)?))
            }
            _ => (names.place_of(&time.header)?, None),
        };
        return Ok((time.header.clone(), time.form.clone(), places));
    }
    match (place_of("time_s"), place_of("time")) {
        (Some(place), None) => Ok(("time_s".to_owned(), TimeForm::Seconds, (place, None))),
        (None, Some(place)) => Ok(("time".to_owned(), TimeForm::Rfc3339, (place, None))),
        (Some(_), Some(_)) => {
            let what = "there are two time columns, time_s and time";
            Err(names.wrong(Some("time"), what, "keep one of them"))
        }
        (None, None) => {
            let what = "there is no time column";
            let remedy = names.other_delimiter().map_or_else(
                || HOW_TO_NAME_TIME.to_owned(),
                |delimiter| {
                    format!(
                        "the cells seem to be separated by {delimiter}: say so on the command line; or else {HOW_TO_NAME_TIME}"
                    )
                },
            );
            Err(names.wrong(Some("time_s"), what, remedy))
        }
    }
}
