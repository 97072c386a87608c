//! The reference ride, as exit evidence has it: the model fitted to it, and what it teaches the exit probes.

use inkdwell_config::quantity::{Celsius, Metres, MetresPerSecond, Seconds, Share};
use inkdwell_cure::exit::run::{REPEATS, SIGNAL_DOUBT};
use inkdwell_cure::exit::way::Way;
use inkdwell_cure::exit::{Probe, Reference};
use inkdwell_cure::heat::fit::{Fit, FitOptions, Outlook, Ride, Trip, fit};
use inkdwell_cure::plan::DEFAULT_MAX_GAP;
use inkdwell_simulated_traces::shop::{EXIT_SPOT, SimulatedShop};
use inkdwell_simulated_traces::tryout::CLASS_ONE;

use crate::shops::{Readings, Recorded};

/// The belt of a recording: its signal, or a speed (m/s) that is only noted.
pub fn belt_of(recorded: &Recorded, noted: Option<f64>) -> Option<Way> {
    if let Some(speed) = noted {
        return Some(Way::steady(speed));
    }
    let readings = recorded.column("belt_m_per_min");
    let speeds: Readings = readings
        .iter()
        .map(|(time, speed)| (*time, speed / 60.0))
        .collect();
    Way::measured(&speeds, DEFAULT_MAX_GAP.0)
}

/// The columns of the exit probes.
pub const EXITS: [&str; 2] = ["exit_c", "exit2_c"];

/// The model fitted to a reference ride, as exit evidence has it.
pub fn fitted(
    shop: &SimulatedShop,
    belt: f64,
    recorded: &Recorded,
    mass_scatter: Option<f64>,
) -> Result<Fit, String> {
    let usual = Reference::fit_options(&shop.fabric);
    let options = mass_scatter.map_or(usual, |mass| FitOptions {
        mass_scatter: Reference::fit_options_for(Share(mass), usual.regain_scatter).mass_scatter,
        ..usual
    });
    let ride = ride(shop, belt, recorded);
    fit(&[ride], &shop.station, &shop.ink, &shop.fabric, options).map_err(|error| error.to_string())
}

/// What a reference ride teaches its exit probes, by their columns and distances.
pub fn learned<'a>(
    fitted: &'a Fit,
    names: &[(&str, f64)],
    recorded: &Recorded,
    pitch: Option<f64>,
) -> Result<Reference<'a>, String> {
    let ridden: Vec<Readings> = names
        .iter()
        .map(|(name, _)| recorded.column(name))
        .collect();
    let probes: Vec<(Probe, &[(f64, f64)])> = names
        .iter()
        .zip(&ridden)
        .map(|((_, distance), readings)| {
            let probe = Probe {
                distance: Metres(*distance),
                spot: Metres(EXIT_SPOT),
                uncertainty: REPEATS,
            };
            (probe, readings.as_slice())
        })
        .collect();
    let way = belt_of(recorded, None).ok_or("no belt")?;
    Reference::learn(fitted, &probes, &way, pitch).map_err(|error| format!("reference: {error}"))
}

/// What the nearest probe's evidence promises of prints that follow a ride.
pub fn outlook(shop: &SimulatedShop, belt: f64, recorded: &Recorded) -> Option<Outlook> {
    let fitted = fitted(shop, belt, recorded, None).ok()?;
    let names = [(EXITS[0], shop.exits[0])];
    let pitch = shop.station.print_pitch.map(|pitch| pitch.0);
    let reference = learned(&fitted, &names, recorded, pitch).ok()?;
    let mut model = reference.model(shop.oven.room).ok()?;
    model.outlook(SIGNAL_DOUBT).ok()
}

fn ride(shop: &SimulatedShop, belt: f64, recorded: &Recorded) -> Ride {
    let series = |name: &str| -> Vec<(Seconds, Celsius)> {
        let readings = recorded.column(name);
        let kept = readings.iter();
        kept.map(|(time, celsius)| (Seconds(*time), Celsius(*celsius)))
            .collect()
    };
    Ride {
        trip: Trip::Belt(MetresPerSecond(belt)),
        film: series("film_c"),
        cloth: series("cloth_c"),
        room: Some(shop.oven.room),
        uncertainty: CLASS_ONE,
    }
}
