//! Writing a scenario's trace and its truth as files.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::chance::Chance;
use crate::channel::{Channel, Unit, Value};
use crate::record::{PrintRecord, Row, SensorRecord, TruthFile};
use crate::scenario::{Record, Scenario};
use crate::sensor::Sensor;

/// What `schema` says in a truth file.
pub const TRUTH_SCHEMA: &str = "inkdwell.truth/1";

/// Why a scenario was not written.
#[derive(Debug, Error)]
pub enum WriteError {
    /// It would never end.
    #[error("scenario {name} has no end; add prints = 50 or until = \"20 min\"")]
    Endless {
        /// The scenario.
        name: String,
    },
    /// A file could not be written.
    #[error("{path} cannot be written ({source}); check the folder, its rights and its disk")]
    File {
        /// The file.
        path: String,
        /// Why.
        source: std::io::Error,
    },
}

/// The files that were written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The trace.
    pub trace: PathBuf,
    /// Its truth.
    pub truth: PathBuf,
}

/// Writes `NAME.csv` and `NAME.truth.json` of a scenario into a folder.
///
/// # Errors
/// When the scenario has no end, or a file cannot be written.
pub fn generate(scenario: &Scenario, folder: &Path) -> Result<Written, WriteError> {
    let (csv, truth) = texts(scenario)?;
    let trace_path = folder.join(format!("{}.csv", scenario.name));
    let truth_path = folder.join(format!("{}.truth.json", scenario.name));
    for (path, text) in [(&trace_path, &csv), (&truth_path, &truth)] {
        fs::write(path, text).map_err(|source| WriteError::File {
            path: path.display().to_string(),
            source,
        })?;
    }
    Ok(Written {
        trace: trace_path,
        truth: truth_path,
    })
}

/// The two files of a scenario as texts: the trace and its truth.
///
/// # Errors
/// When the scenario has no end.
pub fn texts(scenario: &Scenario) -> Result<(String, String), WriteError> {
    texts_watched(scenario, |_| {})
}

/// The same, telling how many rows there are after each.
///
/// # Errors
/// When the scenario has no end.
pub fn texts_watched(
    scenario: &Scenario,
    mut watch: impl FnMut(u64),
) -> Result<(String, String), WriteError> {
    if scenario.prints.is_none() && scenario.span.1.is_none() {
        return Err(WriteError::Endless {
            name: scenario.name.clone(),
        });
    }
    let mut csv = head(scenario);
    let mut live = scenario.live();
    for (number, row) in (1..).zip(live.by_ref()) {
        write_row(&mut csv, &row, &scenario.channels, scenario.interval);
        watch(number);
    }
    let truth = TruthFile {
        schema: TRUTH_SCHEMA.to_owned(),
        file: format!("{}.csv", scenario.name),
        about: scenario.about.clone(),
        seed: scenario.seed,
        station: scenario.station.id.clone(),
        ink: scenario.ink.id.clone(),
        fabric: scenario.fabric.id.clone(),
        prints: live.finish().into_iter().map(rounded_record).collect(),
        sensors: sensors(&scenario.channels),
    };
    let mut json = serde_json::to_string_pretty(&truth).unwrap_or_default();
    json.push('\n');
    Ok((csv, json))
}

fn head(scenario: &Scenario) -> String {
    let mut head = String::new();
    let mut note = |key: &str, value: &str| {
        let _ = writeln!(head, "# {key}: {value}");
    };
    if !scenario.about.is_empty() {
        note("about", &scenario.about);
    }
    note("station", &scenario.station.id);
    note("ink", &scenario.ink.id);
    note("fabric", &scenario.fabric.id);
    if scenario.record == Record::Flash {
        note("stay", &format!("{} s", short(scenario.stay, 2)));
    } else {
        note("belt", &format!("{} m/min", short(60.0 * scenario.belt, 3)));
    }
    note("room", &format!("{} C", short(scenario.room.0, 1)));
    if let Some(uncertainty) = &scenario.uncertainty {
        note("uncertainty", uncertainty);
    }
    if let Some(started) = &scenario.started {
        note("started", started);
    }
    head.push_str("time_s");
    for channel in &scenario.channels {
        head.push(',');
        head.push_str(&channel.name);
    }
    head.push('\n');
    head
}

fn write_row(csv: &mut String, row: &Row, channels: &[Channel], interval: f64) {
    csv.push_str(&short(row.time, decimals(interval)));
    for (value, channel) in row.values.iter().zip(channels) {
        csv.push(',');
        match value {
            Value::Number(number) => csv.push_str(&short(*number, decimals_of(channel))),
            Value::Missing => {}
            Value::Open => csv.push_str("OPEN"),
        }
    }
    csv.push('\n');
}

fn decimals_of(channel: &Channel) -> usize {
    match channel.unit {
        Unit::Count => 0,
        _ => decimals(channel.flaws.resolution),
    }
}

/// Decimals that a multiple of a step needs.
fn decimals(step: f64) -> usize {
    (0..6)
        .find(|places| {
            let scaled = step * 10.0_f64.powi(*places);
            (scaled - scaled.round()).abs() < 1e-6 && scaled.round() >= 1.0
        })
        .map_or(6, |places| places as usize)
}

/// A number with at most so many decimals, without zeros at its end.
fn short(number: f64, places: usize) -> String {
    let mut text = format!("{number:.places$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".to_owned() } else { text }
}

/// How each temperature column errs, for the truth file.
fn sensors(channels: &[Channel]) -> Vec<SensorRecord> {
    channels
        .iter()
        .filter(|channel| {
            matches!(
                channel.unit,
                Unit::Celsius | Unit::Fahrenheit | Unit::Millivolts(_)
            )
        })
        .map(|channel| {
            let sensor = Sensor::new(channel.flaws.clone(), Chance::new(0, "unused"));
            SensorRecord {
                column: channel.name.clone(),
                error_at_160_c: digits(sensor.shown(160.0) - 160.0),
                lag_s: digits(channel.flaws.lag),
                noise_c: digits(channel.flaws.noise),
            }
        })
        .collect()
}

/// Seven digits: more than any truth here deserves, few enough that files stay the same whatever the last
/// bits of a logarithm are.
fn digits(number: f64) -> f64 {
    format!("{number:.6e}").parse().unwrap_or(number)
}

fn rounded_record(mut record: PrintRecord) -> PrintRecord {
    let truth = &mut record.truth;
    for number in [
        &mut record.laid_s,
        &mut record.belt_m_per_min,
        &mut record.mass_g_per_m2,
        &mut record.moisture,
        &mut record.film_um,
        &mut truth.peak_c,
        &mut truth.surface_peak_c,
        &mut truth.cloth_peak_c,
        &mut truth.time_above_s,
        &mut truth.cure,
    ] {
        *number = digits(*number);
    }
    for number in [&mut record.enters_s, &mut record.leaves_s]
        .into_iter()
        .flatten()
    {
        *number = digits(*number);
    }
    for harm in &mut truth.harms {
        harm.dose = digits(harm.dose);
    }
    record
}
