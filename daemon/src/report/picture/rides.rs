//! The rides of a batch over their limits.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Celsius;

use super::super::words::verdict_words;
use super::super::{Batch, Ride};
use super::axis::{Panel, around, plain};
use super::{Anchor, INK, Kind, LIMIT, Picture, RIGHT};

/// Draws them; `None` where there is none.
pub(in super::super) fn rides(batch: &Batch, units: Units) -> Option<Picture> {
    let rides = batch.rides.known()?;
    let shown = |celsius: f64| units.temperature_number(Celsius(celsius));
    let limits: Vec<(f64, String)> = limits(batch)
        .into_iter()
        .map(|(celsius, name)| (shown(celsius), name))
        .collect();
    let curves = rides.iter().flat_map(|ride| &ride.curve);
    let temperatures = curves.clone().map(|(_, celsius)| shown(*celsius));
    let y = around(temperatures.chain(limits.iter().map(|limit| limit.0)), 0.06)?;
    let seconds = curves.map(|(seconds, _)| *seconds).fold(1.0, f64::max);
    let mut picture = Picture::new(300.0);
    let panel = Panel::new(24.0, 268.0, (0.0, seconds), y);
    panel.draw(
        &mut picture,
        units.degree(),
        "seconds from its start",
        &plain,
    );
    for (celsius, name) in &limits {
        panel.across(&mut picture, *celsius, LIMIT, name);
    }
    for ride in rides {
        curve(&mut picture, &panel, ride, &shown);
    }
    // Each has its mark and number where it was hottest.
    let mut taken: Vec<f64> = Vec::new();
    for ride in rides {
        let Some(peak) = ride.curve.iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
            continue;
        };
        let (x, y) = (panel.x(peak.0), panel.y(shown(peak.1)));
        let kind = Kind::of(&ride.verdict);
        picture.mark((x, y), kind, 5.0);
        if taken.iter().all(|other| (other - x).abs() > 14.0) && x < RIGHT - 20.0 {
            taken.push(x);
            picture.words((x, y - 9.0), Anchor::Middle, INK, number(ride));
        }
    }
    let told: Vec<String> = rides
        .iter()
        .map(|ride| {
            let word = verdict_words(&ride.verdict, ride.harm.as_deref());
            format!("{} {} {word}", Kind::of(&ride.verdict).sign(), number(ride))
        })
        .collect();
    picture.told = format!(
        "Temperature of {} rides against time, with their limits.",
        rides.len()
    );
    picture.caption = format!(
        "The film's temperature through the heat, as the probe in the ink read it, for prints {}. A line across says where \
         time begins to count for the ink or against the fabric.",
        told.join(", ")
    );
    Some(picture)
}

fn number(ride: &Ride) -> String {
    ride.print
        .map_or(format!("pass {}", ride.pass), |print| print.to_string())
}

fn curve(picture: &mut Picture, panel: &Panel, ride: &Ride, shown: &dyn Fn(f64) -> f64) {
    let points = ride
        .curve
        .iter()
        .map(|(seconds, celsius)| (panel.x(*seconds), panel.y(shown(*celsius))))
        .collect();
    let colour = Kind::of(&ride.verdict).colour();
    picture.line(points, colour, 1.6, false);
}

/// The temperatures that matter, in °C, with their names.
pub(super) fn limits(batch: &Batch) -> Vec<(f64, String)> {
    let mut limits = Vec::new();
    limits.extend(
        batch
            .ink
            .threshold_c
            .map(|at| (at, "cure counts".to_owned())),
    );
    for limit in &batch.fabric.limits {
        let word = verdict_words("overheated", Some(&limit.harm));
        let name = match limit.harm.as_str() {
            "dye-migration" => "dye migrates from here".to_owned(),
            _ => format!("{word} from here, with time"),
        };
        limits.push((limit.from_c, name));
    }
    limits
}
