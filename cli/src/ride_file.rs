//! A ride from a trace file: one whole pass with its belt speed.

use std::fs::File;
use std::io::Read;

use inkdwell_config::Quantity;
use inkdwell_config::display::Units;
use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::engine::{Engine, EventKind};
use inkdwell_cure::heat::fit::{Ride, Trip};
use inkdwell_cure::judged::JudgedPass;
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::tolerance::expanded_uncertainty;
use inkdwell_cure::sensor::{ThermocoupleType, ToleranceClass, Uncertainty};
use inkdwell_cure::trace_file::{
    Cell, Column, ColumnKind, Layout, NoteScanner, Notes, Reader, TraceFileError,
};

use crate::failure::Failure;

/// A test ride of a print takes minutes; a larger file is something else.
const LARGEST: u64 = 256 << 20;

/// What a ride is of, and how it is read.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RideOf<'a> {
    pub(crate) ink: &'a Ink,
    pub(crate) fabric: &'a Fabric,
    pub(crate) station: &'a Station,
    /// The ride's channel, where a file has several.
    pub(crate) channel: Option<&'a str>,
    /// The call's uncertainty.
    pub(crate) uncertainty: Option<CelsiusDifference>,
    pub(crate) units: Units,
}

/// A ride file as it is used.
#[derive(Debug)]
pub(crate) struct RideFile {
    /// As it was named.
    pub(crate) file: String,
    /// What the fit takes.
    pub(crate) ride: Ride,
    /// Its pass.
    pub(crate) pass: JudgedPass,
    /// The slowest and the fastest that the belt ran during it, where that is not one speed.
    pub(crate) unsteady: Option<[MetresPerSecond; 2]>,
}

/// A belt that wanders by more than this during a pass, as a share, did not run at one speed. Common practice,
/// no source: drives hold their speed to a few per cent.
const STEADY: f64 = 0.1;

/// Everything in a trace file.
#[derive(Debug)]
pub(crate) struct Trace {
    pub(crate) notes: Notes,
    pub(crate) columns: Vec<Column>,
    /// By column; NaN where a cell was bad.
    pub(crate) series: Vec<Vec<(f64, f64)>>,
}

impl RideFile {
    /// Takes a ride from a trace that has been read, and refuses what a fit cannot use.
    pub(crate) fn of(call: &RideOf<'_>, file: &str, trace: &Trace) -> Result<RideFile, Failure> {
        if let Some(note) = trace.notes.get("station")
            && note.value != call.station.id
        {
            return Err(Failure::at_line(
                file,
                note.line,
                "station",
                format_args!("this ride was made on {:?}", note.value),
                format_args!("name rides of {:?}, or its own station", call.station.id),
            ));
        }
        if call.station.kind == StationKind::FlashUnit {
            return Err(Failure::of_file(
                file,
                format_args!(
                    "{:?} is a flash unit, and no belt carries prints there",
                    call.station.id
                ),
                "name the belt dryer that this ride went through",
            ));
        }
        let film = trace.film(file, call)?;
        let uncertainty = trace.uncertainty(file, call, film)?;
        let pass = trace.pass(file, call, film, uncertainty)?;
        let (belt, unsteady) = trace.belt(file, &pass)?;
        let cloth = trace
            .columns
            .iter()
            .position(|column| column.kind.is_temperature() && column.name.starts_with("cloth"));
        let room: Option<Celsius> = note(file, &trace.notes, "room")?;
        let window = (pass.start.0 - 60.0, pass.end.0 + 60.0);
        let ride = Ride {
            trip: Trip::Belt(belt),
            film: good(&trace.series[film], window),
            cloth: cloth
                .map(|cloth| good(&trace.series[cloth], window))
                .unwrap_or_default(),
            room,
            uncertainty: CelsiusDifference(uncertainty.at(pass.peak.0)),
        };
        Ok(RideFile {
            file: file.to_owned(),
            ride,
            pass,
            unsteady,
        })
    }
}

/// Readings that can be temperatures, near the pass.
fn good(series: &[(f64, f64)], window: (f64, f64)) -> Vec<(Seconds, Celsius)> {
    inkdwell_cure::good_samples(series)
        .into_iter()
        .filter(|sample| sample.0 >= window.0 && sample.0 <= window.1)
        .map(|(time, celsius)| (Seconds(time), Celsius(celsius)))
        .collect()
}

pub(crate) fn note<Q: Quantity>(
    file: &str,
    notes: &Notes,
    key: &str,
) -> Result<Option<Q>, Failure> {
    let parse = |note: &inkdwell_cure::trace_file::Note| {
        Q::parse(&note.value)
            .map_err(|error| Failure::at_line(file, note.line, key, error.what, error.remedy))
    };
    notes.get(key).map(parse).transpose()
}

/// A file that cannot be read.
pub(crate) fn refused(file: &str, error: &std::io::Error) -> Failure {
    let what = format_args!("cannot be read ({error})");
    Failure::of_file(file, what, "check its name and its rights")
}

impl Trace {
    pub(crate) fn read(file: &str) -> Result<Trace, Failure> {
        let opened = File::open(file).map_err(|error| refused(file, &error))?;
        Trace::from(file, opened, Layout::default(), "cut one ride out of it")
    }

    /// Reads all of a trace that is laid out in a way of its own; `too_large` is what to do where it is.
    pub(crate) fn from(
        file: &str,
        opened: impl Read,
        layout: Layout,
        too_large: &str,
    ) -> Result<Trace, Failure> {
        let mut bytes = Vec::new();
        opened
            .take(LARGEST + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| refused(file, &error))?;
        if bytes.len() as u64 > LARGEST {
            return Err(Failure::of_file(file, "is larger than 256 MB", too_large));
        }
        let mut scanner = NoteScanner::new();
        scanner.feed(&bytes);
        let mut series: Vec<Vec<(f64, f64)>> = Vec::new();
        let mut take = |time: f64, cells: &[Cell]| {
            series.resize_with(cells.len(), Vec::new);
            for (column, cell) in series.iter_mut().zip(cells) {
                match cell {
                    Cell::Value(value) => column.push((time, *value)),
                    Cell::Bad => column.push((time, f64::NAN)),
                    Cell::Missing => {}
                }
            }
        };
        let mut reader = Reader::new(layout);
        let read = reader
            .feed(&bytes, &mut take)
            .and_then(|()| reader.finish(&mut take));
        read.map_err(|error: TraceFileError| match error.line {
            Some(_) => Failure::new(format!("{file}:{error}")),
            None => Failure::new(format!("{file}: {error}")),
        })?;
        Ok(Trace {
            notes: scanner.finish(),
            columns: reader.columns().to_vec(),
            series,
        })
    }

    /// The ride's own channel: the one asked for, else the only one that is no companion.
    pub(crate) fn film(&self, file: &str, call: &RideOf<'_>) -> Result<usize, Failure> {
        let rides: Vec<usize> = (0..self.columns.len())
            .filter(|place| {
                let column = &self.columns[*place];
                let companion = column.name.starts_with("cloth") || column.name.starts_with("exit");
                column.kind.is_temperature() && !companion
            })
            .collect();
        let named = |place: &usize| {
            let column = &self.columns[*place];
            call.channel
                .is_none_or(|name| name == column.name || name == column.header)
        };
        let names: Vec<&str> = rides
            .iter()
            .map(|place| self.columns[*place].header.as_str())
            .collect();
        let remedy = format!(
            "name one of its channels with --channel: {}",
            names.join(", ")
        );
        let wanted: Vec<usize> = rides.iter().copied().filter(named).collect();
        match wanted.as_slice() {
            [one] => Ok(*one),
            [] if rides.is_empty() => Err(Failure::of_file(
                file,
                "no channel lies in the ink",
                "name the ride's column as film_c, with its unit",
            )),
            [] => Err(Failure::of_file(file, "has no such ride channel", remedy)),
            _ => Err(Failure::of_file(file, "has several ride channels", remedy)),
        }
    }

    /// The belt's speed: the mean of its signal during the pass, else the note; and between which speeds it ran
    /// where that was not one.
    fn belt(
        &self,
        file: &str,
        pass: &JudgedPass,
    ) -> Result<(MetresPerSecond, Option<[MetresPerSecond; 2]>), Failure> {
        let signal = self
            .columns
            .iter()
            .position(|column| matches!(column.kind, ColumnKind::Belt(_)));
        let shown = signal.map_or(&[][..], |signal| &self.series[signal]);
        if let Some(ran) = Ran::during(shown, pass) {
            return Ok((ran.mean, ran.unsteady()));
        }
        let noted: Option<MetresPerSecond> = note(file, &self.notes, "belt")?;
        match noted {
            Some(speed) if speed.0 > 0.0 => Ok((speed, None)),
            Some(_) => Err(Failure::of_file(
                file,
                "the belt stood still",
                "note its real speed",
            )),
            None => Err(Failure::of_file(
                file,
                "nothing says how fast the belt ran",
                "add a note such as \"# belt: 2.6 m/min\"",
            )),
        }
    }

    /// As `judge` has it: the call's, the note's, the probe's, else class 2.
    fn uncertainty(
        &self,
        file: &str,
        call: &RideOf<'_>,
        film: usize,
    ) -> Result<Uncertainty, Failure> {
        let noted: Option<CelsiusDifference> = note(file, &self.notes, "uncertainty")?;
        if let Some(given) = call.uncertainty.or(noted) {
            return Ok(Uncertainty::constant(given));
        }
        let kind = match self.columns[film].kind {
            ColumnKind::Thermocouple(kind) => kind,
            _ => ThermocoupleType::K,
        };
        Ok(expanded_uncertainty(kind, ToleranceClass::Two).unwrap_or(Uncertainty::ZERO))
    }

    /// The single pass of the ride, whole.
    fn pass(
        &self,
        file: &str,
        call: &RideOf<'_>,
        film: usize,
        uncertainty: Uncertainty,
    ) -> Result<JudgedPass, Failure> {
        let mut engine = Engine::new();
        let channel = engine.add_channel(ChannelPlan {
            laws: PrintLaws::new(call.ink, call.fabric),
            watch: Watch::Ride,
            doubt: ProbeDoubt {
                uncertainty,
                assumed: None,
            },
            max_gap: call.station.max_gap.unwrap_or(DEFAULT_MAX_GAP),
            wake: call.station.wake.unwrap_or(DEFAULT_WAKE),
        });
        let mut passes = Vec::new();
        let mut note = |event: inkdwell_cure::engine::Event| {
            if let EventKind::PassJudged(pass) = event.kind {
                passes.push(*pass);
            }
        };
        engine.feed_all(channel, &self.series[film], &mut note);
        engine.finish(&mut note);
        let wake = call.station.wake.unwrap_or(DEFAULT_WAKE);
        match passes.len() {
            1 if passes[0].cut => Err(Failure::of_file(
                file,
                "the trace begins or ends inside the pass",
                "record from before the heat until the print has cooled, and ride again",
            )),
            1 => Ok(passes.remove(0)),
            0 => Err(Failure::of_file(
                file,
                format_args!(
                    "the probe never rose above {} for ten seconds",
                    call.units.temperature(wake)
                ),
                "check that it lay in the ink, and ride again",
            )),
            count => Err(Failure::of_file(
                file,
                format_args!("holds {count} passes"),
                "give each ride a file of its own",
            )),
        }
    }
}

/// How a belt ran during a pass.
#[derive(Debug, Clone, Copy)]
struct Ran {
    mean: MetresPerSecond,
    slowest: MetresPerSecond,
    fastest: MetresPerSecond,
}

impl Ran {
    /// From the belt's signal, in metres a second. Where that is too slow to show anything during the pass, what
    /// it showed last before holds. `None` where it showed no speed.
    fn during(signal: &[(f64, f64)], pass: &JudgedPass) -> Option<Ran> {
        let (from, to) = (pass.start.0, pass.end.0);
        let runs = |sample: &&(f64, f64)| sample.1 > 0.0;
        let inside = signal
            .iter()
            .filter(|sample| (from..=to).contains(&sample.0));
        let mut speeds: Vec<f64> = inside.filter(runs).map(|sample| sample.1).collect();
        if speeds.is_empty() {
            let mut before = signal.iter().filter(|sample| sample.0 < from);
            speeds.extend(before.rfind(runs).map(|sample| sample.1));
        }
        let slowest = speeds.iter().copied().reduce(f64::min)?;
        let fastest = speeds.iter().copied().reduce(f64::max)?;
        Some(Ran {
            mean: MetresPerSecond(speeds.iter().sum::<f64>() / speeds.len() as f64),
            slowest: MetresPerSecond(slowest),
            fastest: MetresPerSecond(fastest),
        })
    }

    fn unsteady(&self) -> Option<[MetresPerSecond; 2]> {
        let wanders = self.fastest.0 - self.slowest.0 > STEADY * self.mean.0;
        wanders.then_some([self.slowest, self.fastest])
    }
}
