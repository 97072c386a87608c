//! The reference ride: read once, and the heat model fitted to it once for an ink on a fabric.

use std::cell::Cell;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_config::station::Station;
use inkdwell_cure::exit::Reference;
use inkdwell_cure::exit::run::{NOTED_DOUBT, Run, SIGNAL_DOUBT};
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::heat::fit::{ExitModel, Fit, MOST_PRINTS, Trip, fit};
use inkdwell_cure::plan::DEFAULT_MAX_GAP;
use inkdwell_cure::remark::Remark;
use inkdwell_cure::sensor::ThermocoupleType;
use inkdwell_cure::trace_file::ColumnKind;

use super::super::call::Call;
use super::super::channels::Context;
use crate::failure::Failure;
use crate::ride_file::{RideFile, RideOf, Trace, note};

/// A reference ride with the model fitted to it.
pub(super) struct Ridden {
    pub(super) file: String,
    pub(super) trace: Trace,
    pub(super) way: Way,
    pub(super) fit: Fit,
    pub(super) room: Option<Celsius>,
    pub(super) remarks: Vec<Remark>,
    /// Whether it was said what it promises of prints that follow.
    promised: Cell<bool>,
    /// Of which ink on which fabric, at which station, in which room.
    of: (String, String, String, Option<Celsius>),
}

/// The reference as it was fitted last: most calls have files of one job.
#[derive(Default)]
pub(in super::super) struct References {
    last: Option<Ridden>,
}

impl References {
    /// The reference for a run of some ink on some fabric.
    pub(super) fn of(
        &mut self,
        call: &Call,
        file: &str,
        context: &Context<'_>,
        (run, shown): (&Trace, &str),
    ) -> Result<&Ridden, Failure> {
        let station = context
            .station
            .ok_or_else(|| Failure::new("--station: name the station"))?;
        let room = note::<Celsius>(shown, &run.notes, "room")?;
        let of = (
            context.ink.id.clone(),
            context.fabric.id.clone(),
            station.id.clone(),
            room,
        );
        let kept = self.last.take().filter(|ridden| ridden.of == of);
        let ridden = match kept {
            Some(ridden) => ridden,
            None => Ridden::read(call, file, context, station, of)?,
        };
        Ok(self.last.insert(ridden))
    }
}

impl Ridden {
    fn read(
        call: &Call,
        file: &str,
        context: &Context<'_>,
        station: &Station,
        of: (String, String, String, Option<Celsius>),
    ) -> Result<Ridden, Failure> {
        let trace = Trace::read(file)?;
        same_print(call, file, &trace, context)?;
        let mut station = station.clone();
        station.max_gap = call.max_gap.or(station.max_gap);
        station.wake = call.wake.or(station.wake);
        let ride_of = |uncertainty: Option<CelsiusDifference>| RideOf {
            ink: context.ink,
            fabric: context.fabric,
            station: &station,
            channel: None,
            uncertainty,
            units: call.units,
        };
        let noted: Option<CelsiusDifference> = note(file, &trace.notes, "uncertainty")?;
        let column = trace.film(file, &ride_of(None))?;
        let probe = context.probe(&trace.columns[column]);
        let declared = probe
            .and_then(|probe| context.declared(probe))
            .map(|own| CelsiusDifference(own.at(context.ink.threshold.0)));
        let mut ride = RideFile::of(&ride_of(noted.or(declared)), file, &trace)?;
        let own_room = ride.ride.room;
        ride.ride.room = own_room.or(of.3);
        let mut remarks = Vec::new();
        if noted.or(declared).is_none() {
            let kind = match trace.columns[column].kind {
                ColumnKind::Thermocouple(kind) => kind,
                _ => ThermocoupleType::K,
            };
            remarks.push(Remark::AssumedUncertainty {
                thermocouple: kind.letter(),
                uncertainty: ride.ride.uncertainty,
            });
        }
        let fitted = fit(
            std::slice::from_ref(&ride.ride),
            &station,
            context.ink,
            context.fabric,
            Reference::fit_options(context.fabric),
        )
        .map_err(|error| {
            Failure::of_file(file, error, "ride again, with a whole pass and its belt")
        })?;
        let Trip::Belt(speed) = ride.ride.trip else {
            return Err(Failure::of_file(
                file,
                "is no ride on a belt",
                "name a ride through the dryer",
            ));
        };
        let max_gap = station.max_gap.unwrap_or(DEFAULT_MAX_GAP);
        let way = belt(&trace)
            .and_then(|readings| Way::measured(readings, max_gap.0))
            .unwrap_or_else(|| Way::steady(speed.0));
        Ok(Ridden {
            file: file.to_owned(),
            trace,
            way,
            fit: fitted,
            room: own_room,
            remarks,
            promised: Cell::new(false),
            of,
        })
    }

    /// Says once, beside the answer, where many good prints will hang.
    pub(super) fn promise(&self, model: &mut ExitModel<'_>, run: &Run<'_>, units: Units) {
        if self.promised.replace(true) {
            return;
        }
        let doubt = match run.way.is_measured() {
            true => SIGNAL_DOUBT,
            false => NOTED_DOUBT,
        };
        match model.outlook(doubt) {
            Ok(outlook) if outlook.proved < MOST_PRINTS => {
                eprintln!("inkdwell: {}: {}", self.file, outlook.sentences(units));
            }
            // What nothing can be said of is said print by print.
            _ => {}
        }
    }

    /// The speed at which the reference was ridden, in m/s.
    pub(super) fn speed(&self) -> f64 {
        match self.fit.rides().first().map(|ride| ride.trip) {
            Some(Trip::Belt(speed)) => speed.0,
            _ => f64::NAN,
        }
    }
}

/// Readings of the belt's speed in a trace: seconds, and m/s.
pub(super) fn belt(trace: &Trace) -> Option<&[(f64, f64)]> {
    let is_belt = |kind: ColumnKind| matches!(kind, ColumnKind::Belt(_));
    let column = trace
        .columns
        .iter()
        .position(|column| is_belt(column.kind))?;
    Some(trace.series[column].as_slice())
}

/// Refuses a reference that notes another ink or fabric than the run, unless the call says which it is.
fn same_print(
    call: &Call,
    file: &str,
    trace: &Trace,
    context: &Context<'_>,
) -> Result<(), Failure> {
    let pairs = [
        ("ink", &call.ink, &context.ink.id),
        ("fabric", &call.fabric, &context.fabric.id),
    ];
    for (key, typed, id) in pairs {
        if let (None, Some(note)) = (typed, trace.notes.get(key))
            && note.value != *id
        {
            return Err(Failure::at_line(
                file,
                note.line,
                key,
                format_args!("the reference is of {:?}, the run of {id:?}", note.value),
                format_args!("name a ride of the same print, or say with --{key} what both are"),
            ));
        }
    }
    Ok(())
}
