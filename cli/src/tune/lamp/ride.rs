//! Rides under a flash unit from a trace file: heatings of a print's surface.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};
use inkdwell_cure::engine::{Engine, Event, EventKind};
use inkdwell_cure::heat::fit::Ride;
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::tolerance::expanded_uncertainty;
use inkdwell_cure::sensor::{ThermocoupleType, ToleranceClass, Uncertainty};
use inkdwell_cure::trace_file::ColumnKind;
use inkdwell_cure::tuning;

use crate::failure::Failure;
use crate::ride_file::{RideOf, Trace, note};

/// Of each file so many heatings are used, the last ones: more tell nothing new.
const MOST: usize = 6;
/// And only those whose trough lies this close to the last one's, in °C: their platen was as warm.
const ALIKE: f64 = 6.0;

/// A heating as it is used.
#[derive(Debug)]
pub(super) struct Heating {
    /// The file, as it was named.
    pub(super) file: usize,
    /// Its number in the file, from 1.
    pub(super) number: u64,
    /// What the fit takes.
    pub(super) ride: Ride,
    /// Its pass.
    pub(super) pass: JudgedPass,
    /// The surface in the trough before.
    pub(super) trough: Celsius,
    /// The platen then, where a channel shows it.
    pub(super) platen: Option<Celsius>,
}

/// What was found in a file.
pub(super) struct Found {
    pub(super) heatings: Vec<Heating>,
    /// What is worth knowing about it.
    pub(super) remarks: Vec<String>,
}

/// Reads the heatings of a file and refuses what a fit cannot use.
pub(super) fn read(
    of: &RideOf<'_>,
    (number, file): (usize, &str),
    trace: &Trace,
) -> Result<Found, Failure> {
    if let Some(note) = trace.notes.get("station")
        && note.value != of.station.id
    {
        return Err(Failure::at_line(
            file,
            note.line,
            "station",
            format_args!("this ride was made on {:?}", note.value),
            format_args!("name rides of {:?}, or its own station", of.station.id),
        ));
    }
    let surface = surface(of, file, trace)?;
    let platen = place(trace, "platen");
    let noted: Option<Seconds> = note(file, &trace.notes, "stay")?;
    if let (Some(stay), Some(note)) = (noted, trace.notes.get("stay"))
        && !(0.2..=600.0).contains(&stay.0)
    {
        return Err(Failure::at_line(
            file,
            note.line,
            "stay",
            format_args!("no lamp stays over a print for {}", note.value),
            "note the seconds that the timer was set to",
        ));
    }
    let uncertainty = uncertainty(of, file, trace, surface)?;
    let series = inkdwell_cure::good_samples(&trace.series[surface]);
    let (whole, cut): (Vec<_>, Vec<_>) = passes(of, &trace.series[surface], uncertainty)
        .into_iter()
        .partition(|pass| !pass.cut);
    let mut remarks = Vec::new();
    if whole.is_empty() {
        return Err(nothing(file, of, &series, !cut.is_empty()));
    }
    let mut heatings = Vec::new();
    for pass in whole {
        let Some(mut seen) = tuning::Heating::seen(&series, pass.start, pass.end) else {
            continue;
        };
        match noted {
            Some(stay) => seen.stay = stay,
            None if seen.is_coarse => return Err(too_coarse(file, &pass)),
            None => {}
        }
        heatings.push(Heating {
            file: number,
            number: pass.index,
            ride: seen.ride(CelsiusDifference(uncertainty.at(pass.peak.0))),
            trough: seen.trough,
            platen: platen.and_then(|platen| mean(&trace.series[platen], &pass)),
            pass,
        });
    }
    let all = heatings.len();
    keep_alike(&mut heatings);
    if heatings.len() < all {
        remarks.push(format!(
            "{file}: of {all} heatings the last {} on one warmth of platen are used",
            heatings.len()
        ));
    }
    if noted.is_none() {
        remarks.push(format!(
            "{file}: the stays are taken from the trace; a note such as \"# stay: 8 s\" with what the timer \
             was set to is surer"
        ));
    }
    Ok(Found { heatings, remarks })
}

/// The channel that sees the surface: the one asked for, else the only one that is no companion.
fn surface(of: &RideOf<'_>, file: &str, trace: &Trace) -> Result<usize, Failure> {
    let companions = ["cloth", "exit", "platen", "room", "zone", "junction"];
    let channels: Vec<usize> = (0..trace.columns.len())
        .filter(|place| {
            let column = &trace.columns[*place];
            let companion = companions.iter().any(|name| column.name.starts_with(name));
            column.kind.is_temperature() && !companion
        })
        .collect();
    let named = |place: &usize| {
        let column = &trace.columns[*place];
        of.channel
            .is_none_or(|name| name == column.name || name == column.header)
    };
    let names: Vec<&str> = channels
        .iter()
        .map(|place| trace.columns[*place].header.as_str())
        .collect();
    let wanted: Vec<usize> = channels.iter().copied().filter(named).collect();
    match wanted.as_slice() {
        [one] => Ok(*one),
        _ if channels.is_empty() => Err(Failure::of_file(
            file,
            "no channel sees the surface",
            "name the infrared probe's column as surface_c, with its unit",
        )),
        _ => Err(Failure::of_file(
            file,
            "has no such channel, or several",
            format_args!("name one of them with --channel: {}", names.join(", ")),
        )),
    }
}

fn place(trace: &Trace, name: &str) -> Option<usize> {
    trace
        .columns
        .iter()
        .position(|column| column.kind.is_temperature() && column.name.starts_with(name))
}

/// As `judge` has it: the call's, the note's, else class 2.
fn uncertainty(
    of: &RideOf<'_>,
    file: &str,
    trace: &Trace,
    surface: usize,
) -> Result<Uncertainty, Failure> {
    let noted: Option<CelsiusDifference> = note(file, &trace.notes, "uncertainty")?;
    if let Some(given) = of.uncertainty.or(noted) {
        return Ok(Uncertainty::constant(given));
    }
    let kind = match trace.columns[surface].kind {
        ColumnKind::Thermocouple(kind) => kind,
        _ => ThermocoupleType::K,
    };
    Ok(expanded_uncertainty(kind, ToleranceClass::Two).unwrap_or(Uncertainty::ZERO))
}

fn passes(of: &RideOf<'_>, series: &[(f64, f64)], uncertainty: Uncertainty) -> Vec<JudgedPass> {
    let mut engine = Engine::new();
    let channel = engine.add_channel(ChannelPlan {
        laws: PrintLaws::new(of.ink, of.fabric),
        watch: Watch::FlashFinal,
        doubt: ProbeDoubt {
            uncertainty,
            assumed: None,
        },
        max_gap: of.station.max_gap.unwrap_or(DEFAULT_MAX_GAP),
        wake: of.station.wake.unwrap_or(DEFAULT_WAKE),
    });
    let mut passes = Vec::new();
    let mut take = |event: Event| {
        if let EventKind::PassJudged(pass) = event.kind {
            passes.push(*pass);
        }
    };
    engine.feed_all(channel, series, &mut take);
    engine.finish(&mut take);
    passes
}

/// Why a file without a whole heating cannot be used.
fn nothing(file: &str, of: &RideOf<'_>, series: &[(f64, f64)], cut: bool) -> Failure {
    if cut {
        return Failure::of_file(
            file,
            "the trace begins or ends inside the heating",
            "record from before the lamp comes until the print has cooled, and ride again",
        );
    }
    let hottest = series
        .iter()
        .map(|sample| sample.1)
        .fold(f64::NAN, f64::max);
    Failure::of_file(
        file,
        format_args!(
            "no heating is in it: the surface never rose by {} (hottest {})",
            of.units.difference(CelsiusDifference(15.0)),
            of.units.temperature(Celsius(hottest))
        ),
        "check that the probe looks at the print, and ride again",
    )
}

fn too_coarse(file: &str, pass: &JudgedPass) -> Failure {
    Failure::of_file(
        file,
        format_args!(
            "heating {} is sampled too coarsely to tell how long the lamp stayed",
            pass.index
        ),
        "note what the timer was set to, as \"# stay: 8 s\", or record ten samples a second",
    )
}

fn mean(series: &[(f64, f64)], pass: &JudgedPass) -> Option<Celsius> {
    let inside: Vec<f64> = series
        .iter()
        .filter(|(time, value)| {
            (pass.start.0..=pass.end.0).contains(time) && (-40.0..=600.0).contains(value)
        })
        .map(|sample| sample.1)
        .collect();
    let sum: f64 = inside.iter().sum();
    (!inside.is_empty()).then(|| Celsius(sum / inside.len() as f64))
}

/// Leaves the last heatings on a platen of one warmth.
fn keep_alike(heatings: &mut Vec<Heating>) {
    let Some(last) = heatings.last().map(|heating| heating.trough.0) else {
        return;
    };
    let unlike = heatings
        .iter()
        .rposition(|heating| (heating.trough.0 - last).abs() > ALIKE)
        .map_or(0, |unlike| unlike + 1);
    let from = unlike.max(heatings.len().saturating_sub(MOST));
    heatings.drain(..from);
}
