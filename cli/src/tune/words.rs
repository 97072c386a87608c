//! What answers for belts and for lamps say alike.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond};
use inkdwell_config::station::StationKind;
use inkdwell_cure::heat::fit::{Cause, Note, Prediction, Trip};
use inkdwell_cure::judged::Band;
use inkdwell_cure::trace_file::Notes;
use serde::Serialize;

use super::call::Call;
use crate::terminal::Setting;

/// What stands at the end of every answer.
pub(super) const CAUTION: &str =
    "Advice only: the ink maker's data sheet and a wash test of a print made like this decide.";

/// low, best and high as JSON has them.
#[derive(Serialize)]
pub(super) struct BandJson {
    low: f64,
    best: f64,
    high: f64,
}

/// A harm's dose.
#[derive(Serialize)]
pub(super) struct HarmJson {
    harm: &'static str,
    #[serde(flatten)]
    dose: BandJson,
}

/// What one print of the batch would go through.
#[derive(Serialize)]
pub(super) struct PredictedJson {
    peak_c: BandJson,
    time_above_s: BandJson,
    cure: BandJson,
    harms: Vec<HarmJson>,
}

impl From<Band> for BandJson {
    fn from(band: Band) -> BandJson {
        BandJson {
            low: band.low,
            best: band.best,
            high: band.high,
        }
    }
}

impl From<&Prediction> for PredictedJson {
    fn from(prediction: &Prediction) -> PredictedJson {
        PredictedJson {
            peak_c: prediction.peak.into(),
            time_above_s: prediction.time_above.into(),
            cure: prediction.cure.into(),
            harms: prediction
                .harms
                .iter()
                .map(|harm| HarmJson {
                    harm: harm.harm.name(),
                    dose: harm.dose.into(),
                })
                .collect(),
        }
    }
}

/// A prediction as lines; `where_judged` says where the film's peak is.
pub(super) fn predicted(prediction: &Prediction, where_judged: &str, call: &Call) -> String {
    let units = call.units;
    let celsius = |band: Band| {
        format!(
            "{:.0} {} ({:.0} to {:.0})",
            units.temperature_number(Celsius(band.best)),
            units.degree(),
            units.temperature_number(Celsius(band.low)),
            units.temperature_number(Celsius(band.high)),
        )
    };
    let number = |band: Band| {
        if band.high < 0.005 {
            "0".to_owned()
        } else {
            format!("{:.2} ({:.2} to {:.2})", band.best, band.low, band.high)
        }
    };
    let mut text = String::new();
    let mut line = |name: &str, value: String| text += &format!("  {name:<20}{value}\n");
    line(where_judged, celsius(prediction.peak));
    line("peak beside it", celsius(prediction.cloth_peak));
    for harm in &prediction.harms {
        line(harm.harm.name(), number(harm.dose));
    }
    let is_gelled_alone = call.station.kind == StationKind::FlashUnit && !call.is_last_heat;
    if is_gelled_alone {
        return text;
    }
    let time = prediction.time_above;
    let threshold = units.temperature(call.ink.threshold);
    line(
        &format!("above {threshold}"),
        format!("{:.0} s ({:.0} to {:.0})", time.best, time.low, time.high),
    );
    line("cure", number(prediction.cure));
    text
}

/// Sentences as a list under a heading; nothing where there are none.
pub(super) fn list(heading: &str, sentences: &[String], setting: Setting) -> String {
    if sentences.is_empty() {
        return String::new();
    }
    let mut text = format!("\n{heading}\n");
    for sentence in sentences {
        text += &setting.wrap("  - ", 4, sentence);
        text.push('\n');
    }
    text
}

/// What is worth knowing of one ride: notes of its file that say otherwise than the call, and a misfit.
pub(super) fn of_ride(
    number: usize,
    file_notes: &Notes,
    notes: &[Note],
    call: &Call,
) -> Vec<String> {
    let mut sentences = Vec::new();
    for (key, asked) in [("ink", &call.ink.id), ("fabric", &call.fabric.id)] {
        if let Some(note) = file_notes.get(key)
            && note.value != *asked
        {
            sentences.push(format!(
                "its notes say that the {key} was {}; this answer takes it for a ride of {asked}",
                note.value
            ));
        }
    }
    for note in notes {
        if let Note::Unexplained { ride, rms, causes } = note
            && *ride == number
        {
            sentences.push(format!(
                "the model does not explain it as told (misfit {}): {}; do not trust this answer until it does",
                call.units.difference(*rms),
                why_not_explained(causes)
            ));
        }
    }
    sentences
}

fn why_not_explained(causes: &[Cause]) -> String {
    let causes: Vec<&str> = causes
        .iter()
        .map(|cause| match cause {
            Cause::WetGarment => "the garment may have been wet",
            Cause::LiftedOut => "the probe may have lifted out of the ink",
            Cause::BeltChanged => "it may have stayed for longer or shorter than is noted",
        })
        .collect();
    if causes.is_empty() {
        "ride again".to_owned()
    } else {
        causes.join(", or ")
    }
}

/// That the belt did not run steadily while the ride's print was on it.
pub(super) fn unsteady([least, most]: [MetresPerSecond; 2], units: Units) -> String {
    format!(
        "the belt ran from {} to {} during this pass, and the model takes a steady one: ride again at one speed",
        units.speed(least),
        units.speed(most)
    )
}

/// What is worth knowing of an answer whatever the station.
pub(super) fn of_answer(notes: &[Note], call: &Call) -> Vec<String> {
    let mut sentences = Vec::new();
    if !call.changes.is_empty() {
        let changes = call.changes.join(", ");
        sentences.push(format!(
            "this is asked of what was not ridden ({changes}); ride once before you trust it"
        ));
    }
    if call.fabric.harms.is_empty() {
        sentences.push(format!(
            "no limit of {} is known, so that nothing here says what harms it; add its harms",
            call.fabric.id
        ));
    }
    if notes.contains(&Note::OneSpeed) {
        let other = match call.station.kind {
            StationKind::BeltDryer => "at another belt speed",
            StationKind::FlashUnit => "for longer or shorter",
        };
        sentences.push(format!(
            "all rides were made alike; one more {other} would tell more"
        ));
    }
    sentences
}

/// How a print goes through the heat, in a word.
pub(super) fn trip(trip: Trip, units: Units) -> String {
    match trip {
        Trip::Belt(speed) => units.speed(speed),
        Trip::Lamp(stay) => format!("{} s", (stay.0 * 100.0).round() / 100.0),
    }
}

/// A difference without its sign, such as `20 °C hotter`.
pub(super) fn hotter(by: CelsiusDifference, units: Units) -> String {
    let direction = if by.0 > 0.0 { "hotter" } else { "cooler" };
    format!(
        "{} {direction}",
        units.difference(CelsiusDifference(by.0.abs()))
    )
}
