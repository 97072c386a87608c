//! A trip through the heat as a drawing: the film's temperature over time, what it needs and what harms.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Celsius;
use maud::{Markup, html};

use super::running::{Level, Trip};
use super::words::degrees;

/// Width and height of the drawing; it grows with its place.
const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 280.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 10.0;
const TOP: f64 = 12.0;
const BELOW: f64 = 30.0;
/// More points than this are thinned: there are no more pixels.
const POINTS: usize = 400;
/// The axis of time is at least so long, in seconds.
const SHORTEST: f64 = 90.0;

struct Scale {
    end: f64,
    top: f64,
    units: Units,
}

impl Scale {
    fn of(trip: &Trip, units: Units) -> Scale {
        let end = trip.points.last().map_or(0.0, |point| point.0);
        let hottest = trip.points.iter().map(|point| point.1);
        let hottest = hottest.chain(trip.levels.iter().map(|level| level.celsius));
        let hottest = hottest.fold(100.0_f64, f64::max);
        // In steps, so that the drawing does not creep while the print warms.
        Scale {
            end: (end.max(SHORTEST) / 30.0).ceil() * 30.0,
            top: ((hottest + 10.0) / 20.0).ceil() * 20.0,
            units,
        }
    }

    fn x(&self, seconds: f64) -> f64 {
        LEFT + seconds.clamp(0.0, self.end) / self.end * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, celsius: f64) -> f64 {
        let share = celsius.clamp(0.0, self.top) / self.top;
        HEIGHT - BELOW - share * (HEIGHT - TOP - BELOW)
    }

    /// Round numbers of the units that people are shown, with their places.
    fn ticks(&self) -> Vec<(f64, String)> {
        let step = match self.units {
            Units::Metric => 50.0,
            Units::Us => 100.0,
        };
        let most = self.units.temperature_number(Celsius(self.top));
        let mut ticks = Vec::new();
        let mut number = step;
        while number < most {
            let celsius = match self.units {
                Units::Metric => number,
                Units::Us => (number - 32.0) / 1.8,
            };
            ticks.push((self.y(celsius), format!("{number:.0}")));
            number += step;
        }
        ticks
    }
}

/// Every n-th point, and the last.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let every = points.len().div_ceil(POINTS).max(1);
    let mut thinned: Vec<_> = points.iter().copied().step_by(every).collect();
    thinned.extend(points.last().copied());
    thinned
}

/// The drawing, with a sentence for those who do not see it.
pub(super) fn draw(trip: &Trip, units: Units) -> Markup {
    let scale = Scale::of(trip, units);
    let line: Vec<String> = thinned(&trip.points)
        .iter()
        .filter(|point| point.0 >= 0.0)
        .map(|(seconds, celsius)| format!("{:.1},{:.1}", scale.x(*seconds), scale.y(*celsius)))
        .collect();
    let now = trip.points.last().copied();
    let bottom = HEIGHT - BELOW;
    html! {
        svg .curve viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label=(told(trip, units)) {
            @for (y, number) in scale.ticks() {
                line .grid x1=(LEFT) x2=(WIDTH - RIGHT) y1=(y) y2=(y) { }
                text x=(LEFT - 6.0) y=(y + 5.0) text-anchor="end" { (number) }
            }
            text x=(LEFT - 6.0) y=(TOP + 6.0) text-anchor="end" { (units.degree()) }
            line .axis x1=(LEFT) x2=(WIDTH - RIGHT) y1=(bottom) y2=(bottom) { }
            @for step in 0..=3 {
                @let seconds = scale.end * f64::from(step) / 3.0;
                text x=(scale.x(seconds)) y=(HEIGHT - 8.0) text-anchor=(anchor(step)) { (format!("{seconds:.0} s")) }
            }
            @for level in &trip.levels {
                @let y = scale.y(level.celsius);
                line class=(if level.is_limit { "limit" } else { "need" }) x1=(LEFT) x2=(WIDTH - RIGHT) y1=(y) y2=(y) { }
                text class=(if level.is_limit { "limit" } else { "need" }) x=(WIDTH - RIGHT - 4.0) text-anchor="end" y=(if is_crowded(&scale, trip, level) { y + 16.0 } else { y - 5.0 }) {
                    (level.name) " " (degrees(level.celsius, units))
                }
            }
            polyline .film points=(line.join(" ")) { }
            @if let (true, Some((seconds, celsius))) = (trip.is_running, now) {
                circle .now cx=(scale.x(seconds)) cy=(scale.y(celsius)) r="6" { }
            }
        }
    }
}

/// Whether a limit lies so close above what is needed that its name has to stand below its line.
fn is_crowded(scale: &Scale, trip: &Trip, own: &Level) -> bool {
    let above = |level: &Level| scale.y(own.celsius) - scale.y(level.celsius);
    let near = |level: &&Level| level.is_limit && (0.0..24.0).contains(&above(level));
    !own.is_limit && trip.levels.iter().any(|level| near(&level))
}

fn anchor(step: i32) -> &'static str {
    match step {
        0 => "start",
        3 => "end",
        _ => "middle",
    }
}

/// The drawing in a sentence.
fn told(trip: &Trip, units: Units) -> String {
    let hottest = trip.points.iter().map(|point| point.1);
    let hottest = hottest
        .reduce(f64::max)
        .map(|celsius| degrees(celsius, units));
    let hottest = hottest.unwrap_or_else(|| "nothing yet".to_owned());
    let levels = trip.levels.iter();
    let levels =
        levels.map(|level| format!(", {} at {}", level.name, degrees(level.celsius, units)));
    format!(
        "The film's temperature over time: hottest {hottest}{}",
        levels.collect::<String>()
    )
}
