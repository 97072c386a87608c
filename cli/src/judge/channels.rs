//! Which columns of a file are judged, against what, and with which doubt.

use inkdwell_config::Quantity;
use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_config::shop::Probe;
use inkdwell_config::station::Station;
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::tolerance::expanded_uncertainty;
use inkdwell_cure::sensor::{ThermocoupleType, ToleranceClass, Uncertainty, declared_uncertainty};
use inkdwell_cure::trace_file::{Column, ColumnKind, Note, Notes};

use super::call::Call;
use crate::failure::Failure;

/// What stands above the passes of a channel.
#[derive(Debug, Clone)]
pub(crate) struct Heading {
    /// The file as it was named.
    pub(crate) file: String,
    /// The channel's name.
    pub(crate) channel: String,
    /// The ink's name.
    pub(crate) ink: String,
    /// The fabric's name.
    pub(crate) fabric: String,
}

/// A channel that is judged.
#[derive(Debug)]
pub(super) struct Judged {
    /// Its place among the columns.
    pub(super) column: usize,
    pub(super) heading: Heading,
    pub(super) plan: ChannelPlan,
}

/// A channel on unprinted cloth beside the rides.
#[derive(Debug)]
pub(super) struct Cloth {
    pub(super) column: usize,
    pub(super) header: String,
    pub(super) doubt: ProbeDoubt,
}

/// Everything that one file is judged with, before its columns are known.
pub(super) struct Context<'a> {
    call: &'a Call,
    file: &'a str,
    pub(super) ink: &'a Ink,
    pub(super) fabric: &'a Fabric,
    pub(super) station: Option<&'a Station>,
    pub(super) noted: Option<CelsiusDifference>,
}

impl<'a> Context<'a> {
    /// From the call and the file's notes.
    pub(super) fn new(
        call: &'a Call,
        file: &'a str,
        notes: &Notes,
    ) -> Result<Context<'a>, Failure> {
        let name = |option: &str, typed: &Option<String>| {
            let note = notes.get(option);
            match (typed, note) {
                (Some(typed), _) => Ok((typed.clone(), None)),
                (None, Some(note)) => Ok((note.value.clone(), Some(note.line))),
                (None, None) => Err(Failure::of_file(
                    file,
                    format_args!("nothing says which {option} was printed"),
                    format_args!(
                        "add --{option} ID, or a note \"# {option}: ID\"; `inkdwell {option}s` lists them"
                    ),
                )),
            }
        };
        let unknown = |error: String, line: Option<u64>| match line {
            Some(line) => Failure::new(format!("{file}:{line}: {error}")),
            None => Failure::new(error),
        };
        let (ink, line) = name("ink", &call.ink)?;
        let ink = call
            .library
            .ink(&ink)
            .map_err(|error| unknown(error.to_string(), line))?;
        let (fabric, line) = name("fabric", &call.fabric)?;
        let fabric = call
            .library
            .fabric(&fabric)
            .map_err(|error| unknown(error.to_string(), line))?;
        if call.watch == Watch::FlashGel && ink.gel.is_none() {
            return Err(Failure::of_file(
                file,
                format_args!("ink {} has no gel window", ink.id),
                "add gel = { from = …, to = … } to it, or --final if the lamp is the last heat",
            ));
        }
        let noted: Option<CelsiusDifference> = value_of(file, notes, "uncertainty")?;
        if noted.is_some_and(|noted| noted.0 < 0.0) {
            let line = notes.get("uncertainty").map_or(1, |note| note.line);
            return Err(Failure::at_line(
                file,
                line,
                "uncertainty",
                "is negative",
                "write \"1.5 C\"",
            ));
        }
        // Notes that only later uses read are checked all the same.
        let _: Option<Celsius> = value_of(file, notes, "room")?;
        let _: Option<inkdwell_config::quantity::MetresPerSecond> = value_of(file, notes, "belt")?;
        let station = station_of(call, file, notes)?;
        Ok(Context {
            call,
            file,
            ink,
            fabric,
            station,
            noted,
        })
    }

    /// Which of a file's columns are judged, and those on cloth beside them.
    pub(super) fn channels(
        &self,
        columns: &[Column],
    ) -> Result<(Vec<Judged>, Vec<Cloth>), Failure> {
        let is_cloth = |column: &Column| column.name.starts_with("cloth");
        let is_exit = |column: &Column| column.name.starts_with("exit");
        let asked = |column: &Column| {
            let names = &self.call.channels;
            names.is_empty()
                || names
                    .iter()
                    .any(|name| *name == column.name || *name == column.header)
        };
        self.refuse_unknown(columns)?;
        let temperatures = || {
            columns
                .iter()
                .enumerate()
                .filter(|(_, column)| column.kind.is_temperature())
        };
        let mut judged = Vec::new();
        for (place, column) in temperatures().filter(|(_, column)| asked(column)) {
            if is_cloth(column) || is_exit(column) {
                self.refuse_companion(column)?;
                continue;
            }
            judged.push(self.judged(place, column));
        }
        if judged.is_empty() {
            return Err(Failure::of_file(
                self.file,
                "no channel lies in the ink: what begins with cloth or exit is only its companion",
                "name the ride's column otherwise, as film_c",
            ));
        }
        let mut cloth = Vec::new();
        if self.call.watch == Watch::Ride {
            for (place, column) in temperatures().filter(|(_, column)| is_cloth(column)) {
                let doubt = self.doubt(column);
                cloth.push(Cloth {
                    column: place,
                    header: column.header.clone(),
                    doubt,
                });
            }
        }
        Ok((judged, cloth))
    }

    fn judged(&self, place: usize, column: &Column) -> Judged {
        let station = self.station;
        let max_gap = self
            .call
            .max_gap
            .or(station.and_then(|station| station.max_gap));
        Judged {
            column: place,
            heading: Heading {
                file: self.file.to_owned(),
                channel: column.name.clone(),
                ink: self.ink.name.clone(),
                fabric: self.fabric.name.clone(),
            },
            plan: ChannelPlan {
                laws: PrintLaws::new(self.ink, self.fabric),
                watch: self.call.watch,
                doubt: self.doubt(column),
                max_gap: max_gap.unwrap_or(DEFAULT_MAX_GAP),
                wake: self.wake(),
            },
        }
    }

    /// The temperature above which a ride's pass lies.
    pub(super) fn wake(&self) -> Celsius {
        let station = self.station.and_then(|station| station.wake);
        self.call.wake.or(station).unwrap_or(DEFAULT_WAKE)
    }

    fn refuse_unknown(&self, columns: &[Column]) -> Result<(), Failure> {
        let known: Vec<&str> = columns
            .iter()
            .filter(|column| column.kind.is_temperature())
            .map(|column| column.header.as_str())
            .collect();
        let matches = |name: &str, column: &Column| {
            column.kind.is_temperature() && (column.name == name || column.header == name)
        };
        for name in &self.call.channels {
            if !columns.iter().any(|column| matches(name, column)) {
                let remedy = format!("its temperature channels are {}", known.join(", "));
                return Err(Failure::of_file(
                    self.file,
                    format_args!("has no temperature channel {name:?}"),
                    remedy,
                ));
            }
        }
        Ok(())
    }

    fn refuse_companion(&self, column: &Column) -> Result<(), Failure> {
        if self.call.channels.is_empty() {
            return Ok(());
        }
        let (what, remedy) = if column.name.starts_with("cloth") {
            (
                "lies on unprinted cloth, where there is no ink to cure",
                "name the ride's channel",
            )
        } else {
            (
                "sees prints leave and is no ride",
                "name the ride's channel",
            )
        };
        Err(Failure::of_file(
            self.file,
            format_args!("channel {} {what}", column.header),
            remedy,
        ))
    }

    /// The call's uncertainty, else the note's, else the probe's of the shop file, else class 2.
    fn doubt(&self, column: &Column) -> ProbeDoubt {
        if let Some(given) = self.call.uncertainty.or(self.noted) {
            return ProbeDoubt {
                uncertainty: Uncertainty::constant(given),
                assumed: None,
            };
        }
        if let Some(uncertainty) = self.probe(column).and_then(|probe| self.declared(probe)) {
            return ProbeDoubt {
                uncertainty,
                assumed: None,
            };
        }
        let kind = match column.kind {
            ColumnKind::Thermocouple(kind) => kind,
            _ => ThermocoupleType::K,
        };
        let class_two = expanded_uncertainty(kind, ToleranceClass::Two);
        ProbeDoubt {
            uncertainty: class_two.unwrap_or(Uncertainty::ZERO),
            assumed: Some(kind.letter()),
        }
    }

    pub(super) fn probe(&self, column: &Column) -> Option<&'a Probe> {
        let probes = self.call.shop.as_ref()?.probes.iter();
        let here = |probe: &&Probe| match self.station {
            Some(station) => probe.station.as_ref().is_none_or(|id| *id == station.id),
            None => true,
        };
        let named = |probe: &Probe| {
            [&probe.channel, &probe.id]
                .into_iter()
                .any(|name| *name == column.name || *name == column.header)
        };
        probes.filter(here).find(|probe| named(probe))
    }

    /// What the shop file says of a probe's doubt, near where the ink cures.
    pub(super) fn declared(&self, probe: &Probe) -> Option<Uncertainty> {
        declared_uncertainty(probe, self.ink.threshold)
    }
}

/// The station of the call, of the notes, or the only one of the shop file.
fn station_of<'a>(
    call: &'a Call,
    file: &str,
    notes: &Notes,
) -> Result<Option<&'a Station>, Failure> {
    let Some(shop) = &call.shop else {
        return Ok(None);
    };
    if let Some(id) = &call.station {
        return Ok(shop.station(id));
    }
    let Some(note) = notes.get("station") else {
        let only = (shop.stations.len() == 1).then(|| shop.stations.first());
        return Ok(only.flatten());
    };
    shop.station(&note.value).map(Some).ok_or_else(|| {
        let known: Vec<&str> = shop
            .stations
            .iter()
            .map(|station| station.id.as_str())
            .collect();
        let remedy = inkdwell_config::problem::suggestion(&note.value, &known);
        let what = format!("the shop file declares no station {:?}", note.value);
        let remedy = format!("name one with --station; {remedy}");
        Failure::at_line(file, note.line, "station", what, remedy)
    })
}

/// The value of a note that is a quantity.
fn value_of<Q: Quantity>(file: &str, notes: &Notes, key: &str) -> Result<Option<Q>, Failure> {
    let parse = |note: &Note| {
        Q::parse(&note.value)
            .map_err(|error| Failure::at_line(file, note.line, key, error.what, error.remedy))
    };
    notes.get(key).map(parse).transpose()
}
