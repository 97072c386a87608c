//! Tuning a belt dryer: the window of belt speeds.

mod advice;
mod figure;
mod json;
mod sheet;

use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::Celsius;
use inkdwell_cure::heat::fit::{Fit, Prediction, Ride, Trip, fit};
use inkdwell_cure::plan::strikes_bare_cloth;
use inkdwell_cure::trace_file::Notes;
use inkdwell_cure::tuning::{Declared, Side, Tuning, tune};

use super::call::Call;
use super::{journal, no_answer, not_fitted, ride_of, words};
use crate::Outcome;
use crate::failure::Failure;
use crate::ride_file::{RideFile, Trace};
use crate::terminal::{Setting, print};

/// Everything that is shown.
struct Answer<'a> {
    call: &'a Call,
    rides: &'a [Ridden],
    /// What is said of where the rides come from.
    origin: &'a [String],
    fit: &'a Fit,
    tuning: &'a Tuning,
    at: &'a [(Trip, Prediction)],
}

/// A ride, wherever it comes from.
struct Ridden {
    /// Its file, as it was named, or what its pass is called.
    name: String,
    /// Its pass in the journal.
    pass: Option<u64>,
    ride: Ride,
    peak: Celsius,
    /// What its file notes.
    notes: Notes,
    /// What else is worth knowing of it.
    remarks: Vec<String>,
}

pub(super) fn run(call: &Call) -> Result<Outcome, Failure> {
    let (rides, origin) = rides(call)?;
    let ridden: Vec<Ride> = rides.iter().map(|one| one.ride.clone()).collect();
    let options = call.fit_options();
    let fitted = fit(&ridden, &call.station, &call.ink, &call.fabric, options)
        .map_err(|error| not_fitted(|ride| Some(rides.get(ride)?.name.as_str()), error))?;
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
        origin: &origin,
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

/// The rides of a call, from its files or from the journal, and what is said of where they come from.
fn rides(call: &Call) -> Result<(Vec<Ridden>, Vec<String>), Failure> {
    if call.rides.is_empty() {
        let found = journal::belt_rides(call)?;
        let rides = found.rides.into_iter().map(|one| Ridden {
            name: one.name,
            pass: Some(one.pass),
            ride: one.ride,
            peak: one.peak,
            notes: Notes::default(),
            remarks: Vec::new(),
        });
        return Ok((rides.collect(), found.remarks));
    }
    let of = ride_of(call);
    let mut rides = Vec::new();
    for file in &call.rides {
        let trace = Trace::read(file)?;
        let read = RideFile::of(&of, file, &trace)?;
        rides.push(Ridden {
            name: read.file,
            pass: None,
            ride: read.ride,
            peak: read.pass.peak,
            remarks: read
                .unsteady
                .map(|belt| words::unsteady(belt, call.units))
                .into_iter()
                .collect(),
            notes: trace.notes,
        });
    }
    Ok((rides, Vec::new()))
}

impl Answer<'_> {
    /// What is worth knowing of one ride.
    fn notes_of(&self, number: usize) -> Vec<String> {
        let Some(ride) = self.rides.get(number) else {
            return Vec::new();
        };
        let mut notes = words::of_ride(number, &ride.notes, self.fit.notes(), self.call);
        notes.extend(ride.remarks.iter().cloned());
        notes
    }

    /// A harm that ends the window, or leaves none, and strikes where no ride had a junction.
    fn unwatched_harm(&self) -> Option<Harm> {
        if self.rides.iter().any(|ride| !ride.ride.cloth.is_empty()) {
            return None;
        }
        let harms = self.call.imagined.fabric.harms.iter();
        let harms = harms.map(|limit| limit.harm);
        let mut bare = harms.filter(|harm| strikes_bare_cloth(*harm));
        match &self.tuning.window {
            None => bare.next(),
            Some(window) => {
                let slow = window.slow?;
                bare.find(|harm| slow.limit == Side::Harm(*harm))
            }
        }
    }

    /// What is worth knowing of the answer.
    fn remarks(&self) -> Vec<String> {
        let mut remarks = self.origin.to_vec();
        remarks.extend(words::of_answer(self.fit.notes(), self.call));
        if let Some(harm) = self.unwatched_harm() {
            remarks.push(format!(
                "no junction lay on unprinted cloth, which runs hotter than printed and is where {} strikes: a \
                 second one there, in a column cloth_c, may well prove slower speeds",
                harm.name()
            ));
        }
        if self.call.station.print_pitch.is_none() {
            remarks.push("add print_pitch to the station, to see prints an hour".to_owned());
        }
        remarks
    }
}
