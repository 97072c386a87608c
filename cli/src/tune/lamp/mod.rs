//! Tuning a flash unit: the seconds that the lamp may stay over a print.

mod figure;
mod json;
mod ride;
mod sheet;

use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_cure::heat::fit::{
    Aim, Fit, FitOptions, LimitName, Note, Prediction, Ride, Trip, fit,
};
use inkdwell_cure::trace_file::Notes;
use inkdwell_cure::tuning::{FlashAdvice, FlashTuning, USUAL_PLATENS, tune_flash};

use super::call::Call;
use super::{journal, no_answer, not_fitted, ride_of, words};
use crate::Outcome;
use crate::failure::Failure;
use crate::ride_file::{RideOf, Trace};
use crate::terminal::{Setting, print};
use ride::Heating;

/// Rides on platens further apart than this (in °C) are not alike.
const ALIKE: f64 = 10.0;

/// Everything that is shown.
struct Answer<'a> {
    call: &'a Call,
    heatings: &'a [Heating],
    /// What each file or stretch of the journal is called,
    names: &'a [String],
    /// and what it notes.
    file_notes: &'a [Notes],
    fit: &'a Fit,
    /// The platen under the rides.
    platen: Celsius,
    tuning: &'a FlashTuning,
    at: &'a [(Trip, Prediction)],
    remarks: &'a [String],
}

pub(super) fn run(call: &Call) -> Result<Outcome, Failure> {
    let aim = aim(call)?;
    let Rides {
        heatings,
        names,
        file_notes,
        mut remarks,
    } = rides(call)?;
    let platen = platen(&heatings, &mut remarks);
    let start = mean(heatings.iter().map(|heating| heating.trough.0));
    let options = FitOptions {
        // What prints start from, as the rides did.
        room: Celsius(start),
        aim,
        ..call.fit_options()
    };
    let ridden: Vec<Ride> = heatings.iter().map(|one| one.ride.clone()).collect();
    let fitted =
        fit(&ridden, &call.station, &call.ink, &call.fabric, options).map_err(|error| {
            let file = |ride: usize| Some(names.get(heatings.get(ride)?.file)?.as_str());
            not_fitted(file, error)
        })?;
    let imagined = &call.imagined;
    let asked = fitted.imagined(&imagined.station, &imagined.ink, &imagined.fabric);
    let tuning = tune_flash(&asked, platen, &USUAL_PLATENS).map_err(no_answer)?;
    let mut at = Vec::new();
    for trip in &call.at {
        at.push((*trip, asked.predict(*trip).map_err(no_answer)?));
    }
    let answer = Answer {
        call,
        heatings: &heatings,
        names: &names,
        file_notes: &file_notes,
        fit: &asked,
        platen,
        tuning: &tuning,
        at: &at,
        remarks: &remarks,
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

/// The heatings of a call and where they come from.
struct Rides {
    heatings: Vec<Heating>,
    /// What each file or stretch of the journal is called, and what it notes.
    names: Vec<String>,
    file_notes: Vec<Notes>,
    remarks: Vec<String>,
}

/// Reads the heatings of a call's files, or of the journal where it names none.
fn rides(call: &Call) -> Result<Rides, Failure> {
    let mut rides = Rides {
        heatings: Vec::new(),
        names: Vec::new(),
        file_notes: Vec::new(),
        remarks: Vec::new(),
    };
    let of = ride_of(call);
    for file in &call.rides {
        rides.add(&of, file.clone(), Trace::read(file)?)?;
    }
    if call.rides.is_empty() {
        let found = journal::stretches(call)?;
        rides.remarks = found.remarks;
        for stretch in found.rides {
            let of = RideOf {
                // The journal knows its probes by their numbers; here each has one name.
                channel: None,
                uncertainty: of.uncertainty.or(Some(stretch.uncertainty)),
                ..of
            };
            rides.add(&of, stretch.name, stretch.trace)?;
        }
    }
    Ok(rides)
}

impl Rides {
    fn add(&mut self, of: &RideOf<'_>, name: String, trace: Trace) -> Result<(), Failure> {
        let found = ride::read(of, (self.names.len(), &name), &trace)?;
        self.remarks.extend(found.remarks);
        self.heatings.extend(found.heatings);
        self.names.push(name);
        self.file_notes.push(trace.notes);
        Ok(())
    }
}

fn aim(call: &Call) -> Result<Aim, Failure> {
    if call.is_last_heat {
        return Ok(Aim::Cure);
    }
    if call.ink.gel.is_none() {
        return Err(Failure::new(format!(
            "--ink: {} declares no gel window; add gel = {{ from = \"104 C\", to = \"121 C\" }} to it, or \
             ask with --final if the lamp is its last heat",
            call.ink.id
        )));
    }
    Ok(Aim::Gel)
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    values.iter().sum::<f64>() / (values.len() as f64).max(1.0)
}

/// How warm the platen was under the rides: as a channel shows it, else as the troughs do.
fn platen(heatings: &[Heating], remarks: &mut Vec<String>) -> Celsius {
    let of = |heating: &Heating| heating.platen.unwrap_or(heating.trough).0;
    let least = heatings.iter().map(of).fold(f64::INFINITY, f64::min);
    let most = heatings.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
    if most - least > ALIKE {
        remarks.push(
            "the rides were made on platens of unlike warmth; rides on one that is warm tell more"
                .to_owned(),
        );
    }
    if heatings.iter().any(|heating| heating.platen.is_none()) {
        remarks.push(
            "no channel shows the platen, so that the surface before the lamp stands in for it; a column \
             platen_c is surer"
                .to_owned(),
        );
    }
    Celsius(mean(heatings.iter().map(of)))
}

/// The name of what ends the stays on a side.
fn limit_name(limit: LimitName) -> &'static str {
    match limit {
        LimitName::Cure => "cure",
        LimitName::Gel => "gel",
        LimitName::OverGel => "over-gel",
        LimitName::Harm(harm) => harm.name(),
    }
}

impl Answer<'_> {
    /// What is worth knowing of one heating; what holds for a whole file is said at its first.
    fn notes_of(&self, number: usize) -> Vec<String> {
        let Some(heating) = self.heatings.get(number) else {
            return Vec::new();
        };
        let none = Notes::default();
        let first = number == 0 || self.heatings[number - 1].file != heating.file;
        let notes = if first {
            &self.file_notes[heating.file]
        } else {
            &none
        };
        words::of_ride(number, notes, self.fit.notes(), self.call)
    }

    /// What is worth knowing of the answer.
    fn all_remarks(&self) -> Vec<String> {
        let notes: Vec<Note> = self.fit.notes().to_vec();
        let mut remarks = words::of_answer(&notes, self.call);
        remarks.extend(self.remarks.iter().cloned());
        remarks
    }

    /// What would help.
    fn advice(&self) -> Vec<String> {
        let units = self.call.units;
        let advice = self.tuning.advice.iter();
        advice
            .map(|advice| match advice {
                FlashAdvice::LessDoubt { doubt } => format!(
                    "ride again, with a surer probe if there is one: a stay is most likely good, but the \
                     doubt of {} is wider than the room between its limits",
                    units.difference(*doubt)
                ),
                FlashAdvice::MoreHeat => "bring the panel nearer or set it hotter: even four times the \
                     longest ridden stay does not give the print what it needs"
                    .to_owned(),
                FlashAdvice::LessHeat => format!(
                    "set the panel farther or cooler, by {} to begin with, and ride again: the print gets \
                     too much before it has what it needs",
                    units.difference(CelsiusDifference(50.0))
                ),
            })
            .collect()
    }

    /// Why the next ride should be there.
    fn why(&self, next: &inkdwell_cure::heat::fit::NextRide) -> String {
        let units = self.call.units;
        format!(
            "a ride of this stay would narrow the doubt at the short end from {} to about {}, more than any \
             other",
            units.difference(next.doubt_now),
            units.difference(next.doubt_then)
        )
    }
}
