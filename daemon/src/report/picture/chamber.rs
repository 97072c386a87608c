//! Belt and chamber of a station through the day.

use chrono::{DateTime, FixedOffset, TimeDelta};
use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};

use super::super::Chamber;
use super::axis::{Panel, around, plain};
use super::{Anchor, Colour, Picture, RIGHT, Shape};

/// Colours of Okabe and Ito that no verdict has, and dashes beyond them.
const COLOURS: [Colour; 3] = [
    Colour(0x00, 0x00, 0x00),
    Colour(0x56, 0xb4, 0xe9),
    Colour(0xcc, 0x79, 0xa7),
];

/// Draws what is fixed at a station; `None` where there is nothing.
pub(in super::super) fn chamber(
    all: &[Chamber],
    station: Option<&str>,
    units: Units,
) -> Option<Picture> {
    let here: Vec<&Chamber> = all
        .iter()
        .filter(|own| own.station.as_deref() == station)
        .collect();
    let from = here.first()?;
    let begun = DateTime::parse_from_rfc3339(&from.from.at).ok()?;
    let ends = here
        .iter()
        .flat_map(|own| own.pieces.last().map(|piece| piece.0 + own.piece_s));
    let hours = ends.fold(0.0, f64::max) / 3600.0;
    let (warm, belts): (Vec<&Chamber>, Vec<&Chamber>) =
        here.iter().partition(|own| own.unit == "°C");
    let mut picture = Picture::new(match (warm.is_empty(), belts.is_empty()) {
        (false, false) => 300.0,
        _ => 200.0,
    });
    let clock = |hours: f64| of_day(begun, hours);
    let mut bottom = 0.0;
    if !warm.is_empty() {
        let shown = |celsius: f64| units.temperature_number(Celsius(celsius));
        let figures = warm.iter().flat_map(|own| &own.pieces);
        let y = around(
            figures.flat_map(|piece| [shown(piece.1), shown(piece.3)]),
            0.1,
        )?;
        let panel = Panel::new(24.0, 160.0, (0.0, hours), y);
        let below = if belts.is_empty() {
            "time of the day"
        } else {
            ""
        };
        panel.draw(&mut picture, units.degree(), below, &clock);
        for (own, place) in warm.iter().zip(0..) {
            through(&mut picture, &panel, own, place, &shown);
        }
        bottom = 176.0;
    }
    if !belts.is_empty() {
        let unit = if units == Units::Us {
            "ft/min"
        } else {
            "m/min"
        };
        let shown = |speed: f64| match units {
            Units::Metric => speed,
            // A foot is 0.3048 m.
            Units::Us => MetresPerSecond(speed).0 / 0.3048,
        };
        let figures = belts.iter().flat_map(|own| &own.pieces);
        let y = around(
            figures
                .flat_map(|piece| [shown(piece.1), shown(piece.3)])
                .chain([0.0]),
            0.06,
        )?;
        let panel = Panel::new(bottom + 24.0, bottom + 92.0, (0.0, hours), y);
        panel.draw(
            &mut picture,
            &format!("belt, {unit}"),
            "time of the day",
            &clock,
        );
        for (own, place) in belts.iter().zip(0..) {
            through(&mut picture, &panel, own, place, &shown);
        }
    }
    let names: Vec<&str> = here.iter().map(|own| own.id.as_str()).collect();
    picture.told = format!("{} through the day.", names.join(", "));
    picture.caption = format!(
        "What stays in place{}: {}. The line is the mean of every {} s, the band from the least reading to the greatest.",
        station.map_or(String::new(), |station| format!(" at {station}")),
        names.join(", "),
        plain(from.piece_s)
    );
    Some(picture)
}

fn through(
    picture: &mut Picture,
    panel: &Panel,
    own: &Chamber,
    place: usize,
    shown: &dyn Fn(f64) -> f64,
) {
    let colour = COLOURS[place % COLOURS.len()];
    let dashed = place >= COLOURS.len();
    let middle = |begins: f64| panel.x((begins + 0.5 * own.piece_s) / 3600.0);
    // A piece without a reading leaves a hole.
    for run in own.pieces.chunk_by(|a, b| b.0 - a.0 < 1.5 * own.piece_s) {
        let upper = run
            .iter()
            .map(|piece| (middle(piece.0), panel.y(shown(piece.3))));
        let lower = run
            .iter()
            .rev()
            .map(|piece| (middle(piece.0), panel.y(shown(piece.1))));
        picture.shapes.push(Shape::Area {
            points: upper.chain(lower).collect(),
            colour,
            opacity: 0.18,
        });
        let mean = run
            .iter()
            .map(|piece| (middle(piece.0), panel.y(shown(piece.2))));
        picture.line(mean.collect(), colour, 1.4, dashed);
    }
    if let Some(last) = own.pieces.last() {
        let at = (
            middle(last.0).min(RIGHT) - 4.0,
            panel.y(shown(last.2)) - 6.0,
        );
        picture.words(at, Anchor::End, colour, own.id.clone());
    }
}

/// The time of the day so many hours after a moment.
fn of_day(begun: DateTime<FixedOffset>, hours: f64) -> String {
    // Some days at most.
    let later = begun + TimeDelta::seconds((hours * 3600.0).round() as i64);
    later.format("%H:%M").to_string()
}
