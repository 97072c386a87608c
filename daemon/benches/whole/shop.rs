//! A large shop: a hundred dryers with ten probes each, and how a ride goes there.

use inkdwell_config::shop::Shop;
use inkdwell_cure::live::{Floor, FloorEvent, Micros};

/// Dryers.
pub const STATIONS: usize = 100;
/// Probes in the ink at each, and as many in its zones.
pub const RIDES: usize = 5;
/// Readings of one probe a second.
pub const RATE: usize = 10;
/// A ride and the pause after it, in readings.
pub const CYCLE: usize = 60 * RATE;

/// What a probe in the ink shows at a reading of its cycle, in °C: up at 8 °C/s to 170 °C, down at 5 °C/s. It meets 45 °C
/// midway between two readings, so that whichever way they are late by some hundredths of a second, the same one
/// tells that the pass is over.
pub fn film(reading: usize) -> f64 {
    let t = (reading % CYCLE) as f64 / RATE as f64;
    (25.0 + 8.0 * t)
        .min(170.0)
        .min(170.0 - 5.0 * (t - 30.05))
        .max(25.0)
}

/// The shop file with its source.
pub fn text(source: &str) -> String {
    let mut text =
        format!("[shop]\nname = \"Large shop\"\n\n{source}\n[board]\nlisten = \"127.0.0.1:0\"\n");
    for station in 0..STATIONS {
        text += &format!(
            "\n[[station]]\nid = \"belt-{station}\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
             belt = \"2.6 m/min\"\nzones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n"
        );
        for probe in 0..2 * RIDES {
            let place = if probe < RIDES {
                "place = \"ride\""
            } else {
                "place = \"zone\"\nzone = 1"
            };
            text += &format!(
                "\n[[probe]]\nid = \"p{}\"\nstation = \"belt-{station}\"\nsource = \"all\"\n\
                 uncertainty = \"1.5 C\"\n{place}\n",
                station * 2 * RIDES + probe
            );
        }
    }
    text
}

/// Whether a probe, by number, is in the ink.
pub fn is_ride(probe: usize) -> bool {
    probe % (2 * RIDES) < RIDES
}

/// The reading of a cycle with which the engine knows that the pass is over.
pub fn deciding() -> usize {
    let shop = text("[[source]]\nid = \"all\"\nkind = \"replay\"\n");
    let checked = Shop::parse("shop.toml", &shop);
    assert!(checked.problems.is_empty(), "{:?}", checked.problems);
    let mut floor = Floor::new(&checked.value, Micros(0));
    let input = floor.input("all", "p0").expect("the first probe");
    for reading in 0..2 * CYCLE {
        let at = Micros((reading * 1_000_000 / RATE) as i64 + 1);
        let mut over = false;
        floor.read(input, at, Some(film(reading)), &mut |event| {
            over |= matches!(event, FloorEvent::PassEnded(_));
        });
        if over {
            return reading % CYCLE;
        }
    }
    panic!("no pass ends in two cycles");
}
