//! Tuning a belt dryer: the window of belt speeds.

mod advice;
mod figure;
mod json;
mod sheet;

use inkdwell_cure::heat::fit::{Fit, FitOptions, Prediction, Ride, Trip, fit};
use inkdwell_cure::trace_file::Notes;
use inkdwell_cure::tuning::{Declared, Tuning, tune};

use super::call::Call;
use super::{no_answer, not_fitted, ride_of, words};
use crate::Outcome;
use crate::failure::Failure;
use crate::ride_file::{RideFile, Trace};
use crate::terminal::{Setting, print};

/// Everything that is shown.
struct Answer<'a> {
    call: &'a Call,
    rides: &'a [RideFile],
    /// What each ride's file notes.
    file_notes: &'a [Notes],
    fit: &'a Fit,
    tuning: &'a Tuning,
    at: &'a [(Trip, Prediction)],
}

pub(super) fn run(call: &Call) -> Result<Outcome, Failure> {
    let of = ride_of(call);
    let mut rides = Vec::new();
    let mut file_notes = Vec::new();
    for file in &call.rides {
        let trace = Trace::read(file)?;
        rides.push(RideFile::of(&of, file, &trace)?);
        file_notes.push(trace.notes);
    }
    let ridden: Vec<Ride> = rides.iter().map(|file| file.ride.clone()).collect();
    let options = FitOptions::default();
    let fitted = fit(&ridden, &call.station, &call.ink, &call.fabric, options)
        .map_err(|error| not_fitted(|ride| Some(rides.get(ride)?.file.as_str()), error))?;
    let imagined = &call.imagined;
    let asked = fitted.imagined(&imagined.station, &imagined.ink, &imagined.fabric);
    let declared = Declared {
        station: &imagined.station,
        ink: &imagined.ink,
        fabric: &imagined.fabric,
    };
    let tuning = tune(&asked, declared).map_err(no_answer)?;
    let predict = |trip: &Trip| {
        let prediction = asked.predict(*trip);
        prediction
            .map(|prediction| (*trip, prediction))
            .map_err(no_answer)
    };
    let at = call.at.iter().map(predict).collect::<Result<Vec<_>, _>>()?;
    let answer = Answer {
        call,
        rides: &rides,
        file_notes: &file_notes,
        fit: &asked,
        tuning: &tuning,
        at: &at,
    };
    if let Some(target) = &call.plot {
        crate::plot::write(target, figure::draw(&answer)?)?;
    }
    print(&if call.json {
        json::write(&answer)?
    } else {
        sheet::write(&answer, Setting::of_stdout())
    })?;
    Ok(if tuning.window.is_some() {
        Outcome::Fine
    } else {
        Outcome::Finding
    })
}

impl Answer<'_> {
    /// What is worth knowing of one ride.
    fn notes_of(&self, ride: usize) -> Vec<String> {
        self.file_notes.get(ride).map_or_else(Vec::new, |notes| {
            words::of_ride(ride, notes, self.fit.notes(), self.call)
        })
    }

    /// What is worth knowing of the answer.
    fn remarks(&self) -> Vec<String> {
        let mut remarks = words::of_answer(self.fit.notes(), self.call);
        if self.call.station.print_pitch.is_none() {
            remarks.push("add print_pitch to the station, to see prints an hour".to_owned());
        }
        remarks
    }
}
