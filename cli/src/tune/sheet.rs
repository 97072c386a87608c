//! The answer for people.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_cure::heat::fit::{Cause, NextRide, Note, Prediction, Trip};
use inkdwell_cure::judged::Band;
use inkdwell_cure::tuning::{Advice, Side, Window};

use super::Answer;
use crate::terminal::Setting;

/// The answer as text.
pub(super) fn write(answer: &Answer<'_>, setting: Setting) -> String {
    let call = answer.call;
    let units = call.units;
    let title = format!(
        "{} on {} through {}",
        call.ink.name, call.fabric.name, call.station.name
    );
    let mut text = format!("{}\n\n", setting.strong(&title));
    text += &rides(answer);
    text += "\n";
    match (&answer.tuning.window, &answer.tuning.recommended) {
        (Some(window), Some(recommended)) => {
            let speed = units.speed(recommended.belt);
            text += &setting.strong(&format!("Run the belt at {speed}."));
            text += &format!("\n{:.0} s in the heat", recommended.dwell.0);
            if let Some(prints) = recommended.prints_per_hour {
                text += &format!(", {prints:.0} prints an hour");
            }
            text += &format!(".\n\n{}\n", setting.wrap("", 0, &proved(window, units)));
            text += &predicted(&recommended.predicted, units);
        }
        _ => {
            text += &setting.strong("No belt speed is proved to cure this print unharmed.");
            text += "\n";
        }
    }
    for (speed, prediction) in answer.at {
        text += &format!(
            "\nAt {}:\n{}",
            units.speed(*speed),
            predicted(prediction, units)
        );
    }
    let advice = advice(answer);
    if !advice.is_empty() {
        text += "\nWhat to do:\n";
    }
    for sentence in advice {
        text += &setting.wrap("  - ", 4, &sentence);
        text.push('\n');
    }
    let caution =
        "Advice only: the ink maker's data sheet and a wash test of a print at this speed decide.";
    text + &format!("\n{}\n", setting.faint(caution))
}

fn rides(answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    answer
        .rides
        .iter()
        .zip(answer.fit.rides())
        .map(|(file, explained)| {
            let speed = speed_of(explained.trip, units);
            format!(
                "ride {} at {speed}: peak {}, explained within {}\n",
                file.file,
                units.temperature(file.pass.peak),
                units.difference(explained.rms),
            )
        })
        .collect()
}

/// How a print goes through the heat, in a word.
fn speed_of(trip: Trip, units: Units) -> String {
    match trip {
        Trip::Belt(speed) => units.speed(speed),
        Trip::Lamp(stay) => format!("{:.1} s", stay.0),
    }
}

fn proved(window: &Window, units: Units) -> String {
    let fast = units.speed(window.fast.belt);
    match window.slow {
        Some(slow) => format!(
            "Every print is proved cured and unharmed from {} ({}) to {fast} ({}).",
            units.speed(slow.belt),
            beyond(slow.limit, "slower"),
            beyond(window.fast.limit, "faster"),
        ),
        None => format!(
            "Every print is proved cured and unharmed up to {fast} ({}); nothing known harms it \
             however slow the belt.",
            beyond(window.fast.limit, "faster"),
        ),
    }
}

fn beyond(side: Side, way: &str) -> String {
    match side {
        Side::Cure => format!("{way} is not proved cured"),
        Side::Harm(harm) => format!("{way} does not rule out {}", harm.name()),
        Side::Belt => format!("the drive goes no {way}"),
    }
}

fn predicted(prediction: &Prediction, units: Units) -> String {
    let celsius = |band: Band| {
        format!(
            "{} ({:.0} to {:.0})",
            units.temperature(Celsius(band.best)),
            units.temperature_number(Celsius(band.low)),
            units.temperature_number(Celsius(band.high)),
        )
    };
    let number = |band: Band| format!("{:.2} ({:.2} to {:.2})", band.best, band.low, band.high);
    let mut text = String::new();
    let mut line = |name: &str, value: String| text += &format!("  {name:<18}{value}\n");
    line("peak in the ink", celsius(prediction.peak));
    let time = prediction.time_above;
    line(
        "time above",
        format!("{:.0} s ({:.0} to {:.0})", time.best, time.low, time.high),
    );
    line("cure", number(prediction.cure));
    for harm in &prediction.harms {
        line(harm.harm.name(), number(harm.dose));
    }
    line("unprinted cloth", celsius(prediction.cloth_peak));
    text
}

/// Why the next ride should be there.
pub(super) fn why(next: &NextRide, units: Units) -> String {
    format!(
        "a ride at this speed would narrow the doubt at the window's fast end from {} to about {}",
        units.difference(next.doubt_now),
        units.difference(next.doubt_then),
    )
}

/// What else the person should know or do, as sentences.
pub(super) fn advice(answer: &Answer<'_>) -> Vec<String> {
    let units = answer.call.units;
    let mut sentences: Vec<String> = Vec::new();
    sentences.extend(answer.fit.notes().iter().map(|note| noted(note, answer)));
    sentences.extend(
        answer
            .tuning
            .advice
            .iter()
            .map(|advice| advised(advice, answer)),
    );
    if answer.tuning.window.is_some()
        && let Some(next) = &answer.tuning.next_ride
    {
        sentences.push(format!(
            "ride once more at {}: {}",
            speed_of(next.trip, units),
            why(next, units)
        ));
    }
    if answer.call.station.print_pitch.is_none() {
        sentences.push("add print_pitch to the station, to see prints an hour".to_owned());
    }
    sentences
}

fn noted(note: &Note, answer: &Answer<'_>) -> String {
    match note {
        Note::Unexplained { ride, rms, causes } => {
            let file = answer
                .rides
                .get(*ride)
                .map_or("a ride", |file| file.file.as_str());
            let causes: Vec<&str> = causes
                .iter()
                .map(|cause| match cause {
                    Cause::WetGarment => "the garment may have been wet",
                    Cause::LiftedOut => "the probe may have lifted out of the ink",
                    Cause::BeltChanged => "the belt may have run at another speed",
                })
                .collect();
            let why = if causes.is_empty() {
                "ride again".to_owned()
            } else {
                causes.join(", or ")
            };
            let rms = answer.call.units.difference(*rms);
            format!(
                "{file} is not explained (misfit {rms}): {why}; do not trust this answer until it is"
            )
        }
        Note::OneSpeed => {
            "all rides were made at nearly one speed; a second one at another tells more".to_owned()
        }
    }
}

fn advised(advice: &Advice, answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    match advice {
        Advice::ChangeZones { by, opens } => {
            let direction = if by.0 > 0.0 { "hotter" } else { "cooler" };
            let prints = opens.prints_per_hour.map_or_else(String::new, |prints| format!(", {prints:.0} prints an hour"));
            format!(
                "with all zones {} {direction} the belt may run at {}{prints}; ride once there before you trust it",
                units.difference(CelsiusDifference(by.0.abs())),
                units.speed(opens.belt),
            )
        }
        Advice::SecondPass => "send the prints through twice, and ride both times".to_owned(),
        Advice::AnotherInk => {
            "take an ink that cures cooler, or a fabric that stands more heat: no chamber temperature within \
             40 °C of this one helps"
                .to_owned()
        }
    }
}
