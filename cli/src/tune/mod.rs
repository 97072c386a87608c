//! Tuning: from a few rides to the belt speeds, or the seconds under a lamp, at which every print is
//! proved good.

pub(crate) mod arguments;
mod belt;
mod call;
mod chart;
mod journal;
mod lamp;
mod what_if;
mod words;

use inkdwell_config::station::StationKind;
use inkdwell_cure::heat::fit::FitError;

use crate::Outcome;
use crate::failure::Failure;
use crate::ride_file::RideOf;
use arguments::TuneArguments;
use call::Call;

pub(crate) fn run(typed: TuneArguments) -> Result<Outcome, Failure> {
    let call = Call::new(typed)?;
    match call.station.kind {
        StationKind::BeltDryer => belt::run(&call),
        StationKind::FlashUnit => lamp::run(&call),
    }
}

/// What the rides of a call are of.
fn ride_of(call: &Call) -> RideOf<'_> {
    RideOf {
        ink: &call.ink,
        fabric: &call.fabric,
        station: &call.station,
        channel: call.channel.as_deref(),
        uncertainty: call.uncertainty,
        units: call.units,
    }
}

/// Why the rides of some files were not fitted.
fn not_fitted<'a>(file_of: impl Fn(usize) -> Option<&'a str>, error: FitError) -> Failure {
    match error {
        FitError::TooShort { ride } => Failure::of_file(
            file_of(ride).unwrap_or_default(),
            "has too few good samples in its pass",
            "record at least one a second (for a flash, five), and ride again",
        ),
        FitError::NoRide => Failure::new("--ride: no ride is given; name one to three ride files"),
        FitError::NoNumbers => {
            Failure::new("--ride: the rides hold no numbers to reckon with; ride again")
        }
        FitError::Heat(error) => no_answer(error),
    }
}

/// Why the model has no answer.
fn no_answer(error: impl std::fmt::Display) -> Failure {
    Failure::new(format!("{error}; check the station's zones and the rides"))
}
