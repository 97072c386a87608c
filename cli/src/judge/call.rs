//! What is meant by a call of `judge`.

use std::path::PathBuf;

use inkdwell_config::Quantity;
use inkdwell_config::display::Units;
use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};
use inkdwell_config::shop::Shop;
use inkdwell_cure::plan::Watch;
use inkdwell_cure::sensor::ThermocoupleType;
use inkdwell_cure::trace_file::{ColumnKind, Layout, TemperatureColumn, TimeColumn, TimeForm};

use crate::arguments::{JudgeArguments, LayoutArguments, PlaceArgument};
use crate::command::library;
use crate::failure::Failure;
use crate::plot::Target;

/// A file as it was named, and where its bytes are.
#[derive(Debug, Clone)]
pub(crate) struct Named {
    pub(crate) shown: String,
    /// `None` is standard input.
    pub(crate) path: Option<PathBuf>,
}

/// What is written to standard output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    Json,
    Text,
}

/// A call that can be done, as far as the arguments alone can tell.
#[derive(Debug)]
pub(crate) struct Call {
    pub(crate) files: Vec<Named>,
    pub(crate) ink: Option<String>,
    pub(crate) fabric: Option<String>,
    pub(crate) channels: Vec<String>,
    pub(crate) uncertainty: Option<CelsiusDifference>,
    pub(crate) watch: Watch,
    /// The reference ride of `--place exit`.
    pub(crate) reference: Option<String>,
    pub(crate) form: Form,
    pub(crate) units: Units,
    pub(crate) plot: Option<Target>,
    pub(crate) shop: Option<Shop>,
    pub(crate) station: Option<String>,
    pub(crate) max_gap: Option<Seconds>,
    pub(crate) wake: Option<Celsius>,
    pub(crate) library: Library,
    pub(crate) layout: Layout,
}

impl Call {
    /// Understands what was typed.
    pub(crate) fn new(typed: JudgeArguments) -> Result<Call, Failure> {
        let (shop, library) = library::load(&typed.library)?;
        let watch = match (typed.place, typed.r#final) {
            (PlaceArgument::Ride | PlaceArgument::Exit, false) => Watch::Ride,
            (PlaceArgument::Flash, false) => Watch::FlashGel,
            (PlaceArgument::Flash, true) => Watch::FlashFinal,
            (PlaceArgument::Ride | PlaceArgument::Exit, true) => {
                return Err(Failure::new(
                    "--final is for a flash unit that is the last heat; add --place flash",
                ));
            }
        };
        if let Some(id) = &typed.ink {
            library
                .ink(id)
                .map_err(|unknown| Failure::new(format!("--ink: {unknown}")))?;
        }
        if let Some(id) = &typed.fabric {
            library
                .fabric(id)
                .map_err(|unknown| Failure::new(format!("--fabric: {unknown}")))?;
        }
        let uncertainty: Option<CelsiusDifference> = quantity("--uncertainty", &typed.uncertainty)?;
        if uncertainty.is_some_and(|uncertainty| uncertainty.0 < 0.0) {
            return Err(Failure::new(
                "--uncertainty: an uncertainty is not negative; write \"1.5 C\"",
            ));
        }
        let max_gap: Option<Seconds> = quantity("--max-gap", &typed.max_gap)?;
        if max_gap.is_some_and(|max_gap| max_gap.0 <= 0.0) {
            return Err(Failure::new(
                "--max-gap: with no time between samples all of a trace is gap; write \"5 s\"",
            ));
        }
        if let (Some(id), Some(shop)) = (&typed.station, &shop) {
            let known: Vec<&str> = shop
                .stations
                .iter()
                .map(|station| station.id.as_str())
                .collect();
            if !known.contains(&id.as_str()) {
                let remedy = inkdwell_config::problem::suggestion(id, &known);
                return Err(Failure::new(format!(
                    "--station: {id:?} is unknown; {remedy}"
                )));
            }
        }
        let reference = reference(&typed)?;
        Ok(Call {
            reference,
            files: files(&typed.files)?,
            ink: typed.ink,
            fabric: typed.fabric,
            channels: typed.channel,
            uncertainty,
            watch,
            form: if typed.json { Form::Json } else { Form::Text },
            units: library::units(typed.units, shop.as_ref()),
            plot: typed.plot.map(Target::new).transpose()?,
            station: typed.station,
            max_gap,
            wake: quantity("--wake", &typed.wake)?,
            shop,
            library,
            layout: layout(&typed.layout)?,
        })
    }

    /// What was looked for in a file that has no pass: above `wake`, if rides were.
    pub(crate) fn no_pass(&self, file: &str, wake: Celsius) -> String {
        match self.watch {
            Watch::Ride => {
                format!(
                    "inkdwell: {file}: no pass found; looked for at least 10 s above {} (--wake) in each \
                     temperature channel",
                    self.units.temperature(wake)
                )
            }
            Watch::FlashGel | Watch::FlashFinal => format!(
                "inkdwell: {file}: no heating found; looked for rises of at least {} in each \
                 temperature channel",
                self.units.difference(CelsiusDifference(15.0))
            ),
        }
    }
}

/// The reference ride, which exit evidence needs and nothing else takes.
fn reference(typed: &JudgeArguments) -> Result<Option<String>, Failure> {
    match (typed.place, &typed.reference) {
        (PlaceArgument::Exit, None) => Err(Failure::new(
            "--place exit: an exit temperature alone tells nothing; name a ride of the same print, recorded \
             with the exit probe, with --reference",
        )),
        (PlaceArgument::Exit, Some(_)) if typed.library.shop.is_none() => Err(Failure::new(
            "--place exit: the station's zones and its exit probe are needed; name the shop file with --shop, \
             and --station",
        )),
        (PlaceArgument::Exit, Some(_)) if typed.plot.is_some() => Err(Failure::new(
            "--plot: exit traces are not drawn; leave it out",
        )),
        (PlaceArgument::Exit, Some(file)) => Ok(Some(file.clone())),
        (_, Some(_)) => Err(Failure::new(
            "--reference goes with --place exit; add it, or leave it out",
        )),
        (_, None) => Ok(None),
    }
}

fn quantity<Q: Quantity>(option: &str, typed: &Option<String>) -> Result<Option<Q>, Failure> {
    let parse = |text: &String| {
        Q::parse(text)
            .map_err(|error| Failure::new(format!("{option}: {}; {}", error.what, error.remedy)))
    };
    typed.as_ref().map(parse).transpose()
}

/// The files of a call; patterns that the shell did not expand are expanded here, in order.
fn files(typed: &[String]) -> Result<Vec<Named>, Failure> {
    let mut files = Vec::new();
    for shown in typed {
        let path = PathBuf::from(shown);
        if shown == "-" {
            if files.iter().any(|named: &Named| named.path.is_none()) {
                return Err(Failure::new(
                    "-: standard input can be read only once; name it once",
                ));
            }
            files.push(Named {
                shown: shown.clone(),
                path: None,
            });
        } else if shown.contains(['*', '?', '[']) && !path.exists() {
            files.extend(matching(shown)?);
        } else {
            files.push(Named {
                shown: shown.clone(),
                path: Some(path),
            });
        }
    }
    Ok(files)
}

fn matching(pattern: &str) -> Result<Vec<Named>, Failure> {
    let paths = glob::glob(pattern).map_err(|error| {
        Failure::of_file(pattern, error.msg, "mend the pattern, or quote the name")
    })?;
    let mut found = Vec::new();
    for path in paths {
        let path = path.map_err(|error| {
            Failure::of_file(
                error.path().display(),
                error.error(),
                "check the rights of the folder",
            )
        })?;
        if path.is_file() {
            found.push(Named {
                shown: path.display().to_string(),
                path: Some(path),
            });
        }
    }
    if found.is_empty() {
        return Err(Failure::of_file(
            pattern,
            "no file matches",
            "check the pattern and the folder",
        ));
    }
    Ok(found)
}

fn layout(typed: &LayoutArguments) -> Result<Layout, Failure> {
    let delimiter = match typed.delimiter.as_deref() {
        None if typed.decimal_comma => b';',
        None | Some("comma") => b',',
        Some("tab" | "\\t" | "\t") => b'\t',
        Some("space") => b' ',
        Some("semicolon") => b';',
        Some(other) => match other.as_bytes() {
            [byte] if byte.is_ascii() && !byte.is_ascii_alphanumeric() && *byte != b'"' => *byte,
            _ => {
                return Err(Failure::new(format!(
                    "--delimiter: {other:?} is none; write one character, or tab, space, semicolon, comma"
                )));
            }
        },
    };
    if typed.decimal_comma && delimiter == b',' {
        return Err(Failure::new(
            "--decimal-comma: the comma separates cells already; say with --delimiter what does",
        ));
    }
    let form = match typed.time_form.as_deref() {
        None | Some("seconds") => TimeForm::Seconds,
        Some("milliseconds") => TimeForm::Milliseconds,
        Some("minutes") => TimeForm::Minutes,
        Some("rfc3339") => TimeForm::Rfc3339,
        Some(pattern) if pattern.contains('%') => TimeForm::Pattern(pattern.to_owned()),
        Some(other) => {
            return Err(Failure::new(format!(
                "--time-form: {other:?} is none; write seconds, milliseconds, minutes, rfc3339, or a \
                 pattern such as \"%d.%m.%Y %H:%M:%S\""
            )));
        }
    };
    let time = typed.time_column.as_ref().map(|header| TimeColumn {
        header: header.clone(),
        form,
    });
    let temperatures = typed
        .temperature
        .iter()
        .map(|text| temperature_column(text));
    Ok(Layout {
        delimiter,
        decimal_comma: typed.decimal_comma,
        skip_lines: typed.skip_lines,
        has_header: !typed.no_header,
        time,
        temperatures: temperatures.collect::<Result<_, _>>()?,
    })
}

/// `COLUMN=NAME:UNIT`.
fn temperature_column(text: &str) -> Result<TemperatureColumn, Failure> {
    let refused = |why: &str| {
        Failure::new(format!(
            "--temperature: {text:?} {why}; write COLUMN=NAME:UNIT, such as \"Channel 1=film:C\""
        ))
    };
    let (header, rest) = text
        .rsplit_once('=')
        .ok_or_else(|| refused("names no channel"))?;
    let (name, unit) = rest
        .rsplit_once(':')
        .ok_or_else(|| refused("names no unit"))?;
    let kind = match unit {
        "C" | "°C" => ColumnKind::Celsius,
        "F" | "°F" => ColumnKind::Fahrenheit,
        other => {
            let mut letters = other.strip_suffix("-mV").unwrap_or_default().chars();
            match (
                letters.next().and_then(ThermocoupleType::from_letter),
                letters.next(),
            ) {
                (Some(kind), None) => ColumnKind::Thermocouple(kind),
                _ => {
                    return Err(refused(
                        "has a unit that is none of C, F, K-mV, J-mV, T-mV and so on",
                    ));
                }
            }
        }
    };
    if name.is_empty() {
        return Err(refused("names no channel"));
    }
    Ok(TemperatureColumn {
        header: header.trim().to_owned(),
        name: name.to_owned(),
        kind,
    })
}
