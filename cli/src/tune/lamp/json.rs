//! The contract `inkdwell.tune/1` for a flash unit: seconds in the place of belt speeds.

use inkdwell_cure::heat::fit::{Stays, Trip};
use serde::Serialize;

use super::{Answer, limit_name};
use crate::failure::Failure;
use crate::tune::words::{BandJson, PredictedJson};

#[derive(Serialize)]
struct TuneJson<'a> {
    schema: &'static str,
    rides: Vec<RideJson<'a>>,
    window: Option<WindowJson>,
    window_best: Option<WindowJson>,
    recommended: Option<RecommendedJson>,
    platens: Vec<PlatenJson>,
    next_ride: Option<NextRideJson>,
    advice: Vec<String>,
    remarks: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    predictions: Vec<AtJson>,
}

#[derive(Serialize)]
struct RideJson<'a> {
    file: &'a str,
    heating: u64,
    stay_s: f64,
    platen_c: f64,
    peak_c: f64,
    fit_rms_c: f64,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct WindowJson {
    shortest_s: f64,
    longest_s: Option<f64>,
    short_limit: &'static str,
    long_limit: Option<&'static str>,
}

#[derive(Serialize)]
struct RecommendedJson {
    stay_s: f64,
    /// A flash unit waits for the press: it has no rate of its own.
    prints_per_hour: Option<f64>,
    predicted: PredictedJson,
}

#[derive(Serialize)]
struct PlatenJson {
    platen_c: f64,
    window: Option<WindowJson>,
    window_best: Option<WindowJson>,
}

#[derive(Serialize)]
struct NextRideJson {
    stay_s: f64,
    why: String,
}

#[derive(Serialize)]
struct AtJson {
    stay_s: f64,
    #[serde(flatten)]
    predicted: PredictedJson,
    cloth_peak_c: BandJson,
}

impl From<Stays> for WindowJson {
    fn from(stays: Stays) -> WindowJson {
        WindowJson {
            shortest_s: stays.shortest.stay.0,
            longest_s: stays.longest.map(|end| end.stay.0),
            short_limit: limit_name(stays.shortest.limit),
            long_limit: stays.longest.map(|end| limit_name(end.limit)),
        }
    }
}

fn stay(trip: Trip) -> f64 {
    match trip {
        Trip::Lamp(stay) => stay.0,
        Trip::Belt(_) => 0.0,
    }
}

/// The answer as one object.
pub(super) fn write(answer: &Answer<'_>) -> Result<String, Failure> {
    let tuning = answer.tuning;
    let rides = answer.heatings.iter().zip(answer.fit.rides());
    let json = TuneJson {
        schema: "inkdwell.tune/1",
        rides: rides
            .enumerate()
            .map(|(number, (heating, explained))| RideJson {
                file: &answer.names[heating.file],
                heating: heating.number,
                stay_s: stay(explained.trip),
                platen_c: heating.platen.unwrap_or(heating.trough).0,
                peak_c: heating.pass.peak.0,
                fit_rms_c: explained.rms.0,
                notes: answer.notes_of(number),
            })
            .collect(),
        window: tuning.window.map(WindowJson::from),
        window_best: tuning.window_best.map(WindowJson::from),
        recommended: tuning
            .recommended
            .as_ref()
            .map(|recommended| RecommendedJson {
                stay_s: recommended.stay.0,
                prints_per_hour: None,
                predicted: (&recommended.predicted).into(),
            }),
        platens: tuning
            .platens
            .iter()
            .map(|on| PlatenJson {
                platen_c: on.platen.0,
                window: on.window.map(WindowJson::from),
                window_best: on.window_best.map(WindowJson::from),
            })
            .collect(),
        next_ride: tuning.next_ride.as_ref().map(|next| NextRideJson {
            stay_s: stay(next.trip),
            why: answer.why(next),
        }),
        advice: answer.advice(),
        remarks: answer.all_remarks(),
        predictions: answer
            .at
            .iter()
            .map(|(trip, prediction)| AtJson {
                stay_s: stay(*trip),
                predicted: prediction.into(),
                cloth_peak_c: prediction.cloth_peak.into(),
            })
            .collect(),
    };
    let text = serde_json::to_string_pretty(&json)
        .map_err(|error| Failure::new(format!("the answer cannot be written ({error})")))?;
    Ok(text + "\n")
}
