//! Tuning: from one to three rides to the belt speeds at which every print is proved good.

pub(crate) mod arguments;
mod call;
mod figure;
mod json;
mod sheet;
mod what_if;

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::{Fit, FitError, FitOptions, Prediction, Ride, Trip, fit};
use inkdwell_cure::tuning::{Declared, Tuning, WindowError, tune};

use crate::Outcome;
use crate::failure::Failure;
use crate::ride_file::{RideFile, RideOf};
use crate::terminal::{Setting, print};
use arguments::TuneArguments;
use call::Call;

/// Everything that is shown.
struct Answer<'a> {
    call: &'a Call,
    rides: &'a [RideFile],
    fit: &'a Fit,
    tuning: &'a Tuning,
    at: &'a [(MetresPerSecond, Prediction)],
}

pub(crate) fn run(typed: TuneArguments) -> Result<Outcome, Failure> {
    let call = Call::new(typed)?;
    let of = RideOf {
        ink: &call.ink,
        fabric: &call.fabric,
        station: &call.station,
        channel: call.channel.as_deref(),
        uncertainty: call.uncertainty,
        units: call.units,
    };
    let rides = call
        .rides
        .iter()
        .map(|file| RideFile::read(&of, file))
        .collect::<Result<Vec<_>, _>>()?;
    let ridden: Vec<Ride> = rides.iter().map(|file| file.ride.clone()).collect();
    let fitted = fit(
        &ridden,
        &call.station,
        &call.ink,
        &call.fabric,
        FitOptions::default(),
    )
    .map_err(|error| not_fitted(&rides, error))?;
    let imagined = &call.imagined;
    let asked = fitted.imagined(&imagined.station, &imagined.ink, &imagined.fabric);
    let declared = Declared {
        station: &imagined.station,
        ink: &imagined.ink,
        fabric: &imagined.fabric,
    };
    let tuning = tune(&asked, declared).map_err(no_window)?;
    let predict = |speed: &MetresPerSecond| {
        let prediction = asked.predict(Trip::Belt(*speed));
        prediction
            .map(|prediction| (*speed, prediction))
            .map_err(|error| no_window(error.into()))
    };
    let at = call.at.iter().map(predict).collect::<Result<Vec<_>, _>>()?;
    let answer = Answer {
        call: &call,
        rides: &rides,
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

fn not_fitted(rides: &[RideFile], error: FitError) -> Failure {
    match error {
        FitError::TooShort { ride } => Failure::of_file(
            rides.get(ride).map_or("", |file| file.file.as_str()),
            "has too few good samples in its pass",
            "record at least one a second, and ride again",
        ),
        FitError::NoRide => Failure::new("--ride: no ride is given; name one to three ride files"),
        FitError::NoNumbers => {
            Failure::new("--ride: the rides hold no numbers to reckon with; ride again")
        }
        FitError::Heat(error) => {
            Failure::new(format!("{error}; check the station's zones and the rides"))
        }
    }
}

fn no_window(error: WindowError) -> Failure {
    Failure::new(format!("{error}; check the station's zones and the rides"))
}
