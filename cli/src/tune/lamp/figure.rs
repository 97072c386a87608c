//! The answer as a picture over the stay under the lamp.

use inkdwell_config::quantity::Seconds;
use inkdwell_cure::heat::fit::{Prediction, Trip};

use super::{Answer, no_answer};
use crate::failure::Failure;
use crate::tune::chart::Chart;

/// Stays that are predicted for the curves.
const STAYS: u32 = 25;
/// How long after the lamp a history is shown, in seconds.
const AFTER: f64 = 20.0;

/// The drawing as SVG.
pub(super) fn draw(answer: &Answer<'_>) -> Result<String, Failure> {
    let call = answer.call;
    let units = call.units;
    let rides = answer.heatings.iter().zip(answer.fit.rides());
    let window = answer.tuning.window.map(|window| {
        (
            Some(window.shortest.stay.0),
            window.longest.map(|end| end.stay.0),
        )
    });
    let recommended = answer.tuning.recommended.as_ref().map(|recommended| {
        let stay = recommended.stay.0;
        let heading = format!("on the ink for {stay:.1} s ({})", units.degree());
        (heading, &recommended.predicted)
    });
    let stay = answer.tuning.recommended.as_ref();
    let stay = stay.map_or(0.0, |recommended| recommended.stay.0);
    let levels = match call.ink.gel {
        Some(gel) if !call.is_last_heat => vec![(gel.from.0, "gels from"), (gel.to.0, "gels to")],
        _ => vec![(call.ink.threshold.0, "threshold")],
    };
    let chart = Chart {
        title: format!(
            "{} on {} under {}",
            call.ink.name, call.fabric.name, call.station.name
        ),
        units,
        below: "stay under the lamp (s)".to_owned(),
        curve: predictions(answer)?,
        window,
        rides: rides
            .filter_map(|(heating, ride)| match ride.trip {
                Trip::Lamp(stay) => Some((stay.0, heating.pass.peak.0)),
                Trip::Belt(_) => None,
            })
            .collect(),
        film: "on the ink",
        levels,
        with_cure: call.is_last_heat,
        history: AFTER + stay,
        recommended,
    };
    Ok(chart.draw())
}

/// Predictions over the stays worth showing: a little beyond the window, the rides and what was asked.
fn predictions(answer: &Answer<'_>) -> Result<Vec<(f64, Prediction)>, Failure> {
    let trips = answer.fit.rides().iter().map(|ride| ride.trip);
    let trips = trips.chain(answer.at.iter().map(|at| at.0));
    let stays = trips.filter_map(|trip| match trip {
        Trip::Lamp(stay) => Some(stay.0),
        Trip::Belt(_) => None,
    });
    let ends = answer.tuning.window_best.iter().flat_map(|window| {
        let longest = window.longest.map(|end| end.stay.0);
        longest.into_iter().chain([window.shortest.stay.0])
    });
    let stays: Vec<f64> = stays.chain(ends).collect();
    let least = stays.iter().copied().fold(f64::INFINITY, f64::min) * 0.75;
    let most = stays.iter().copied().fold(0.0, f64::max) * 1.25;
    (0..STAYS)
        .map(|step| least + (most - least) * f64::from(step) / f64::from(STAYS - 1))
        .map(|stay| {
            let prediction = answer.fit.predict(Trip::Lamp(Seconds(stay)));
            prediction
                .map(|prediction| (stay, prediction))
                .map_err(no_answer)
        })
        .collect()
}
