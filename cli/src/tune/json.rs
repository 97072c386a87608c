//! The contract `inkdwell.tune/1`.

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::{Prediction, Trip};
use inkdwell_cure::judged::Band;
use inkdwell_cure::tuning::{Recommended, Window};
use serde::Serialize;

use super::Answer;
use super::sheet;
use crate::failure::Failure;

#[derive(Serialize)]
struct TuneJson<'a> {
    schema: &'static str,
    rides: Vec<RideJson<'a>>,
    window: Option<WindowJson>,
    window_best: Option<WindowJson>,
    recommended: Option<RecommendedJson>,
    next_ride: Option<NextRideJson>,
    advice: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    predictions: Vec<AtJson>,
}

#[derive(Serialize)]
struct RideJson<'a> {
    file: &'a str,
    belt_m_per_min: f64,
    peak_c: f64,
    fit_rms_c: f64,
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
struct PredictedJson {
    peak_c: BandJson,
    time_above_s: BandJson,
    cure: BandJson,
    harms: Vec<HarmJson>,
}

#[derive(Serialize)]
struct AtJson {
    belt_m_per_min: f64,
    #[serde(flatten)]
    predicted: PredictedJson,
    cloth_peak_c: BandJson,
}

#[derive(Serialize)]
struct BandJson {
    low: f64,
    best: f64,
    high: f64,
}

#[derive(Serialize)]
struct HarmJson {
    harm: &'static str,
    #[serde(flatten)]
    dose: BandJson,
}

#[derive(Serialize)]
struct NextRideJson {
    belt_m_per_min: f64,
    why: String,
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

fn predicted(prediction: &Prediction) -> PredictedJson {
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

fn recommended(recommended: &Recommended) -> RecommendedJson {
    RecommendedJson {
        belt_m_per_min: per_minute(recommended.belt),
        dwell_s: recommended.dwell.0,
        prints_per_hour: recommended.prints_per_hour,
        predicted: predicted(&recommended.predicted),
    }
}

/// The answer as one object.
pub(super) fn write(answer: &Answer<'_>) -> Result<String, Failure> {
    let rides = answer.rides.iter().zip(answer.fit.rides());
    let json = TuneJson {
        schema: "inkdwell.tune/1",
        rides: rides
            .map(|(file, explained)| RideJson {
                file: &file.file,
                belt_m_per_min: belt(explained.trip),
                peak_c: file.pass.peak.0,
                fit_rms_c: explained.rms.0,
            })
            .collect(),
        window: answer.tuning.window.as_ref().map(window),
        window_best: answer.tuning.window_best.as_ref().map(window),
        recommended: answer.tuning.recommended.as_ref().map(recommended),
        next_ride: answer.tuning.next_ride.as_ref().map(|next| NextRideJson {
            belt_m_per_min: belt(next.trip),
            why: sheet::why(next, answer.call.units),
        }),
        advice: sheet::advice(answer),
        predictions: answer
            .at
            .iter()
            .map(|(speed, prediction)| AtJson {
                belt_m_per_min: per_minute(*speed),
                predicted: predicted(prediction),
                cloth_peak_c: prediction.cloth_peak.into(),
            })
            .collect(),
    };
    let text = serde_json::to_string_pretty(&json)
        .map_err(|error| Failure::new(format!("the answer cannot be written ({error})")))?;
    Ok(text + "\n")
}
