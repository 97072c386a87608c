//! The contract `inkdwell.tune/1`.

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::Trip;
use inkdwell_cure::tuning::{Recommended, Window};
use serde::Serialize;

use super::{Answer, advice};
use crate::failure::Failure;
use crate::tune::words::{BandJson, PredictedJson};

#[derive(Serialize)]
struct TuneJson<'a> {
    schema: &'static str,
    rides: Vec<RideJson<'a>>,
    window: Option<WindowJson>,
    window_best: Option<WindowJson>,
    recommended: Option<RecommendedJson>,
    next_ride: Option<NextRideJson>,
    advice: Vec<String>,
    remarks: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    predictions: Vec<AtJson>,
}

#[derive(Serialize)]
struct RideJson<'a> {
    file: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pass: Option<u64>,
    belt_m_per_min: f64,
    peak_c: f64,
    fit_rms_c: f64,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct WindowJson {
    slowest_m_per_min: Option<f64>,
    fastest_m_per_min: f64,
    slow_limit: Option<&'static str>,
    fast_limit: &'static str,
}

#[derive(Serialize)]
struct RecommendedJson {
    belt_m_per_min: f64,
    dwell_s: f64,
    prints_per_hour: Option<f64>,
    predicted: PredictedJson,
}

#[derive(Serialize)]
struct AtJson {
    belt_m_per_min: f64,
    #[serde(flatten)]
    predicted: PredictedJson,
    cloth_peak_c: BandJson,
}

#[derive(Serialize)]
struct NextRideJson {
    belt_m_per_min: f64,
    why: String,
}

fn per_minute(speed: MetresPerSecond) -> f64 {
    speed.0 * 60.0
}

fn belt(trip: Trip) -> f64 {
    match trip {
        Trip::Belt(speed) => per_minute(speed),
        Trip::Lamp(_) => 0.0,
    }
}

fn window(window: &Window) -> WindowJson {
    WindowJson {
        slowest_m_per_min: window.slow.map(|edge| per_minute(edge.belt)),
        fastest_m_per_min: per_minute(window.fast.belt),
        slow_limit: window.slow.map(|edge| edge.limit.name()),
        fast_limit: window.fast.limit.name(),
    }
}

fn recommended(recommended: &Recommended) -> RecommendedJson {
    RecommendedJson {
        belt_m_per_min: per_minute(recommended.belt),
        dwell_s: recommended.dwell.0,
        prints_per_hour: recommended.prints_per_hour,
        predicted: (&recommended.predicted).into(),
    }
}

/// The answer as one object.
pub(super) fn write(answer: &Answer<'_>) -> Result<String, Failure> {
    let rides = answer.rides.iter().zip(answer.fit.rides());
    let json = TuneJson {
        schema: "inkdwell.tune/1",
        rides: rides
            .enumerate()
            .map(|(number, (ride, explained))| RideJson {
                file: &ride.name,
                pass: ride.pass,
                belt_m_per_min: belt(explained.trip),
                peak_c: ride.peak.0,
                fit_rms_c: explained.rms.0,
                notes: answer.notes_of(number),
            })
            .collect(),
        window: answer.tuning.window.as_ref().map(window),
        window_best: answer.tuning.window_best.as_ref().map(window),
        recommended: answer.tuning.recommended.as_ref().map(recommended),
        next_ride: answer.tuning.next_ride.as_ref().map(|next| NextRideJson {
            belt_m_per_min: belt(next.trip),
            why: advice::why(next, answer),
        }),
        advice: advice::sentences(answer),
        remarks: answer.remarks(),
        predictions: answer
            .at
            .iter()
            .map(|(trip, prediction)| AtJson {
                belt_m_per_min: belt(*trip),
                predicted: prediction.into(),
                cloth_peak_c: prediction.cloth_peak.into(),
            })
            .collect(),
    };
    let text = serde_json::to_string_pretty(&json)
        .map_err(|error| Failure::new(format!("the answer cannot be written ({error})")))?;
    Ok(text + "\n")
}
