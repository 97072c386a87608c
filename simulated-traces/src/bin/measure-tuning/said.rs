//! What one shop showed, in words.

use inkdwell_cure::heat::fit::{Prediction, Ride, Trip};
use inkdwell_cure::judged::Band;
use inkdwell_simulated_traces::shop::SimulatedShop;
use inkdwell_simulated_traces::truth::PrintTruth;

use crate::shown::{Shown, holds};

/// A prediction against one garment.
pub fn detail(share: f64, told: &Prediction, truth: &PrintTruth) -> String {
    let band = |band: Band, value: f64| {
        let mark = if holds(band, value) { "" } else { " OUT" };
        let Band { low, best, high } = band;
        format!("{low:.2} {best:.2} {high:.2} true {value:.2}{mark}")
    };
    let harms = told.harms.iter().zip(&truth.harms);
    let harms: Vec<String> = harms
        .map(|(harm, truth)| format!("{} {}", harm.harm.name(), band(harm.dose, truth.dose)))
        .collect();
    format!(
        "  at {share} peak {}; cloth {}; above {}; cure {}; {}",
        band(told.peak, truth.peak_c),
        band(told.cloth_peak, truth.cloth_peak_c),
        band(told.time_above, truth.time_above_s),
        band(told.cure, truth.cure),
        harms.join(" ")
    )
}

/// What one shop showed, in a line.
pub fn say(shop: &SimulatedShop, rides: &[Ride], shown: &Shown) -> String {
    let speeds: Vec<String> = rides
        .iter()
        .map(|ride| match ride.trip {
            Trip::Belt(belt) => format!("{:.4}", belt.0),
            Trip::Lamp(_) => String::new(),
        })
        .collect();
    let worst = shown
        .errors
        .iter()
        .map(|error| error.abs())
        .fold(0.0, f64::max);
    let head = format!(
        "shop {:>4} {:<9} {:<21} {:<14} rides {} rms {:4.1} worst {worst:5.1} fastest {} {}",
        shop.seed,
        format!("{:?}", shop.style),
        shop.ink.id,
        shop.fabric.id,
        speeds.join(" "),
        shown.worst_rms,
        shown
            .fastest
            .map_or("none".to_owned(), |speed| format!("{speed:.4}")),
        shown
            .fastest_for_most
            .map_or("none".to_owned(), |speed| format!("{speed:.4}")),
    );
    let Some(recommended) = &shown.recommended else {
        return format!("{head} not recommended {:?}", shown.refused_for);
    };
    let parts = recommended.parts.map_or(String::new(), |parts| {
        format!(
            "margin {:.1} of unknowns {:.1} model {:.1} mass {:.1} moisture {:.1} probe {:.1}",
            parts.margin.0,
            parts.unknowns.0,
            parts.model.0,
            parts.mass.0,
            parts.moisture.0,
            parts.probe.0
        )
    });
    format!(
        "{head} recommended {:.4} ratio {:.3} good {:.2} {} {parts}",
        recommended.belt,
        recommended.belt / shown.fastest.unwrap_or(f64::NAN),
        recommended.good_share,
        if recommended.middle_is_good {
            ""
        } else {
            "UNSAFE"
        },
    )
}
