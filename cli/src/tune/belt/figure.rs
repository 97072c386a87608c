//! The answer as a picture over belt speed.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::{Prediction, Trip};

use super::{Answer, no_answer};
use crate::failure::Failure;
use crate::tune::chart::Chart;

/// Speeds that are predicted for the curves.
const SPEEDS: u32 = 33;

/// The drawing as SVG.
pub(super) fn draw(answer: &Answer<'_>) -> Result<String, Failure> {
    let call = answer.call;
    let units = call.units;
    let unit = match units {
        Units::Metric => "m/min",
        Units::Us => "ft/min",
    };
    let curve = predictions(answer)?;
    let rides = answer.rides.iter().zip(answer.fit.rides());
    let window = answer.tuning.window.as_ref().map(|window| {
        (
            window.slow.map(|slow| shown(slow.belt, units)),
            Some(shown(window.fast.belt, units)),
        )
    });
    let recommended = answer.tuning.recommended.as_ref().map(|recommended| {
        let speed = units.speed(recommended.belt);
        let heading = format!("in the ink at {speed} ({})", units.degree());
        (heading, &recommended.predicted)
    });
    let chart = Chart {
        title: format!(
            "{} on {} through {}",
            call.ink.name, call.fabric.name, call.station.name
        ),
        units,
        below: format!("belt ({unit})"),
        curve: curve
            .into_iter()
            .map(|(belt, prediction)| (shown(belt, units), prediction))
            .collect(),
        window,
        rides: rides
            .filter_map(|(ridden, ride)| match ride.trip {
                Trip::Belt(belt) => Some((shown(belt, units), ridden.peak.0)),
                Trip::Lamp(_) => None,
            })
            .collect(),
        film: "in the ink",
        levels: vec![(call.ink.threshold.0, "threshold")],
        with_cure: true,
        history: f64::INFINITY,
        recommended,
    };
    Ok(chart.draw())
}

fn shown(belt: MetresPerSecond, units: Units) -> f64 {
    match units {
        Units::Metric => belt.0 * 60.0,
        Units::Us => belt.0 * 60.0 / 0.3048,
    }
}

/// Predictions over the speeds worth showing: a little beyond the window, the rides and what was asked.
fn predictions(answer: &Answer<'_>) -> Result<Vec<(MetresPerSecond, Prediction)>, Failure> {
    let trips = answer.fit.rides().iter().map(|ride| ride.trip);
    let trips = trips.chain(answer.at.iter().map(|at| at.0));
    let speeds = trips.filter_map(|trip| match trip {
        Trip::Belt(speed) => Some(speed.0),
        Trip::Lamp(_) => None,
    });
    let window = answer.tuning.window.iter();
    let ends = window.flat_map(|window| {
        let slow = window.slow.map(|edge| edge.belt.0);
        slow.into_iter().chain([window.fast.belt.0])
    });
    let speeds: Vec<f64> = speeds.chain(ends).collect();
    let least = speeds.iter().copied().fold(f64::INFINITY, f64::min) * 0.75;
    let most = speeds.iter().copied().fold(0.0, f64::max) * 1.3;
    (0..SPEEDS)
        .map(|step| least + (most - least) * f64::from(step) / f64::from(SPEEDS - 1))
        .map(|speed| {
            let belt = MetresPerSecond(speed);
            let prediction = answer.fit.predict(Trip::Belt(belt));
            prediction
                .map(|prediction| (belt, prediction))
                .map_err(no_answer)
        })
        .collect()
}
