//! Rides as a person makes them who does not know the truth: a first guess from the ink and the cloth, then
//! faster as long as it cures, slower as long as it does not.

use inkdwell_config::ink::Family;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_cure::heat::fit::{Ride, Trip};
use inkdwell_cure::law::{Counts, Rate};

use crate::chance::Chance;
use crate::channel::Value;
use crate::shop::SimulatedShop;

/// A type K thermocouple of class 1, ±1.5 °C rectangular (IEC 60584-1), k = 2.
pub const CLASS_ONE: CelsiusDifference = CelsiusDifference(1.73);

/// Seconds in the heat that a person tries first. Common practice, no source.
fn first_dwell(shop: &SimulatedShop) -> f64 {
    let by_ink = match shop.ink.family {
        Family::Plastisol if shop.ink.film.is_some_and(|film| film.0 > 150e-6) => 70.0,
        Family::Plastisol => 45.0,
        Family::WaterBased => 110.0,
        Family::Discharge => 140.0,
        Family::Silicone | Family::Other => 80.0,
    };
    by_ink * (shop.fabric.mass.0 / 0.18).sqrt()
}

/// What a ride's readings were worth to the ink.
fn cure_of(shop: &SimulatedShop, ride: &Ride) -> f64 {
    let rate = Rate::new(&shop.ink.cure, Counts::Cure);
    let pairs = ride.film.windows(2);
    pairs
        .map(|pair| rate.along(pair[0].1, pair[1].1, Seconds(pair[1].0.0 - pair[0].0.0)))
        .sum()
}

/// The next speed that a person tries: faster as long as it cures, slower as long as it does not, and
/// in between once both were seen.
fn next_speed(tried: &[(f64, f64)], chance: &mut Chance) -> f64 {
    let cured = tried.iter().filter(|ride| ride.1 >= 1.0).map(|ride| ride.0);
    let raw = tried.iter().filter(|ride| ride.1 < 1.0).map(|ride| ride.0);
    match (cured.reduce(f64::max), raw.reduce(f64::min)) {
        (Some(cured), Some(raw)) => (cured * raw).sqrt(),
        (Some(fastest), None) => {
            let much = tried.iter().all(|ride| ride.1 > 4.0);
            fastest * chance.between(1.12, 1.3) * if much { 1.2 } else { 1.0 }
        }
        (None, slowest) => {
            let little = tried.iter().all(|ride| ride.1 < 0.05);
            let slower = chance.between(0.72, 0.88) * if little { 0.75 } else { 1.0 };
            slowest.unwrap_or(0.05) * slower
        }
    }
}

/// A ride as its probes read it.
fn ride(shop: &SimulatedShop, belt: f64, seed: u64, with_cloth: bool) -> Ride {
    let belt = MetresPerSecond(belt);
    let live = shop.ride(belt, seed).live();
    let names: Vec<String> = live.channels().map(|each| each.name.clone()).collect();
    let rows: Vec<_> = live.collect();
    let read = |name: &str| -> Vec<(Seconds, Celsius)> {
        let column = names.iter().position(|each| each == name);
        let readings = rows.iter().filter_map(|row| match row.values[column?] {
            Value::Number(celsius) => Some((Seconds(row.time), Celsius(celsius))),
            Value::Missing | Value::Open => None,
        });
        readings.collect()
    };
    Ride {
        trip: Trip::Belt(belt),
        film: read("film_c"),
        cloth: if with_cloth {
            read("cloth_c")
        } else {
            Vec::new()
        },
        room: Some(shop.oven.room),
        uncertainty: CLASS_ONE,
    }
}

/// So many rides as a person makes them one after the other, each at a speed that the drive runs; with a junction on
/// unprinted cloth beside the print's, if wanted.
pub fn tried_rides(shop: &SimulatedShop, count: usize, with_cloth: bool) -> Vec<Ride> {
    let mut chance = Chance::new(shop.seed, "measure tuning");
    let limits =
        [shop.station.belt_slowest, shop.station.belt_fastest].map(|speed| speed.map(|s| s.0));
    let first = shop.station.heated_length.0 / first_dwell(shop) * chance.factor(0.15);
    let mut tried: Vec<(f64, f64)> = Vec::new();
    let mut made = Vec::new();
    for number in 0..count {
        let asked = if number == 0 {
            first
        } else {
            next_speed(&tried, &mut chance)
        };
        let belt = asked.clamp(limits[0].unwrap_or(0.0), limits[1].unwrap_or(f64::INFINITY));
        let ridden = ride(shop, belt, 1000 * shop.seed + number as u64, with_cloth);
        tried.push((belt, cure_of(shop, &ridden)));
        made.push(ridden);
    }
    made
}
