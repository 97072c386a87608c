//! The answer as a picture: peak and doses over belt speed with their bands, the window shaded, the
//! rides as points; and the film's history at the recommended speed.

use std::fmt::Write;

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_cure::heat::fit::{Prediction, Trip};
use inkdwell_cure::judged::Band;

use super::Answer;
use crate::failure::Failure;
use crate::plot::axis::ticks;
use crate::plot::lettering::{escaped, text};

const WIDTH: f64 = 900.0;
const PANEL: f64 = 250.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 170.0;
const TOP: f64 = 62.0;
const GAP: f64 = 74.0;
/// Speeds that are predicted for the curves.
const SPEEDS: u32 = 33;

const FAINT: &str = "#6b6b6b";
const FILM: &str = "#0072B2";
const CLOTH: &str = "#CC79A7";
const CURE: &str = "#009E73";
const HARM: &str = "#D55E00";
const SHADE: &str = "#e9f5ef";

/// A range of numbers and where it lies on the picture.
#[derive(Clone, Copy)]
struct Scale {
    from: f64,
    to: f64,
    at_from: f64,
    at_to: f64,
}

impl Scale {
    fn of(self, value: f64) -> f64 {
        let share = (value.clamp(self.from, self.to) - self.from) / (self.to - self.from);
        self.at_from + share * (self.at_to - self.at_from)
    }
}

/// The drawing as SVG.
pub(super) fn draw(answer: &Answer<'_>) -> Result<String, Failure> {
    let curve = predictions(answer)?;
    let height = TOP + 3.0 * PANEL + 3.0 * GAP;
    let mut svg = String::new();
    let _ = writeln!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" \
         viewBox=\"0 0 {WIDTH} {height}\" font-family=\"DejaVu Sans, Verdana, sans-serif\" \
         font-size=\"12\">\n<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#ffffff\"/>"
    );
    let call = answer.call;
    let title = format!(
        "{} on {} through {}",
        call.ink.name, call.fabric.name, call.station.name
    );
    let _ = writeln!(
        svg,
        "<text x=\"{LEFT}\" y=\"26\" font-size=\"15\" font-weight=\"bold\">{}</text>",
        escaped(&title)
    );
    let units = call.units;
    let speed = speed_scale(&curve, units);
    peaks(&mut svg, answer, &curve, speed, TOP);
    doses(&mut svg, answer, &curve, speed, TOP + PANEL + GAP);
    history(&mut svg, answer, TOP + 2.0 * (PANEL + GAP));
    svg.push_str("</svg>\n");
    Ok(svg)
}

/// Predictions over the speeds worth showing: a little beyond the window and the rides.
fn predictions(answer: &Answer<'_>) -> Result<Vec<(f64, Prediction)>, Failure> {
    let rides = answer
        .fit
        .rides()
        .iter()
        .filter_map(|ride| match ride.trip {
            Trip::Belt(speed) => Some(speed.0),
            Trip::Lamp(_) => None,
        });
    let window = answer.tuning.window.iter();
    let ends = window.flat_map(|window| {
        window
            .slow
            .map(|edge| edge.belt.0)
            .into_iter()
            .chain([window.fast.belt.0])
    });
    let speeds: Vec<f64> = rides
        .chain(ends)
        .chain(answer.at.iter().map(|at| at.0.0))
        .collect();
    let least = speeds.iter().copied().fold(f64::INFINITY, f64::min) * 0.75;
    let most = speeds.iter().copied().fold(0.0, f64::max) * 1.3;
    (0..SPEEDS)
        .map(|step| least + (most - least) * f64::from(step) / f64::from(SPEEDS - 1))
        .map(|speed| {
            let prediction = answer.fit.predict(Trip::Belt(MetresPerSecond(speed)));
            prediction
                .map(|prediction| (speed, prediction))
                .map_err(|error| super::no_window(error.into()))
        })
        .collect()
}

fn shown_speed(speed: f64, units: Units) -> f64 {
    match units {
        Units::Metric => speed * 60.0,
        Units::Us => speed * 60.0 / 0.3048,
    }
}

fn speed_scale(curve: &[(f64, Prediction)], units: Units) -> Scale {
    let ends = curve.first().zip(curve.last());
    let (from, to) = ends.map_or((0.0, 1.0), |(first, last)| {
        (shown_speed(first.0, units), shown_speed(last.0, units))
    });
    Scale {
        from,
        to,
        at_from: LEFT,
        at_to: WIDTH - RIGHT,
    }
}

/// Axes, heading and the shaded window of one panel over belt speed.
fn frame(svg: &mut String, answer: &Answer<'_>, x: Scale, y: Scale, heading: &str) {
    let units = answer.call.units;
    if let Some(window) = &answer.tuning.window {
        let from = window
            .slow
            .map_or(x.at_from, |edge| x.of(shown_speed(edge.belt.0, units)));
        let to = x.of(shown_speed(window.fast.belt.0, units));
        let _ = writeln!(
            svg,
            "<rect x=\"{from:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{SHADE}\"/>",
            y.at_to,
            to - from,
            y.at_from - y.at_to
        );
    }
    let unit = if units == Units::Metric {
        "m/min"
    } else {
        "ft/min"
    };
    axes(svg, x, y, heading, &format!("belt ({unit})"));
}

fn axes(svg: &mut String, x: Scale, y: Scale, heading: &str, below: &str) {
    text(
        svg,
        (LEFT - 52.0, y.at_to - 10.0),
        "start",
        "font-weight=\"bold\"",
        heading,
    );
    for tick in ticks(y.from, y.to, 5.0) {
        let at = y.of(tick);
        rule(svg, (x.at_from, at), (x.at_to, at), "#e4e4e4", "");
        text(svg, (LEFT - 8.0, at + 4.0), "end", &faint(), &number(tick));
    }
    for tick in ticks(x.from, x.to, 8.0) {
        let at = x.of(tick);
        rule(svg, (at, y.at_from), (at, y.at_from + 5.0), FAINT, "");
        text(
            svg,
            (at, y.at_from + 18.0),
            "middle",
            &faint(),
            &number(tick),
        );
    }
    rule(svg, (x.at_from, y.at_from), (x.at_to, y.at_from), FAINT, "");
    text(svg, (x.at_to, y.at_from + 34.0), "end", &faint(), below);
}

fn faint() -> String {
    format!("fill=\"{FAINT}\"")
}

fn number(value: f64) -> String {
    format!("{}", (value * 1000.0).round() / 1000.0)
}

fn rule(svg: &mut String, from: (f64, f64), to: (f64, f64), colour: &str, more: &str) {
    let _ = writeln!(
        svg,
        "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\" {more}/>",
        from.0, from.1, to.0, to.1
    );
}

/// A band with its middle line and a label at its end.
fn band(svg: &mut String, points: &[(f64, [f64; 3])], colour: &str) {
    let path = |pick: &dyn Fn(&[f64; 3]) -> f64, backwards: bool| {
        let mut words: Vec<String> = points
            .iter()
            .map(|(x, values)| format!("{x:.1},{:.1}", pick(values)))
            .collect();
        if backwards {
            words.reverse();
        }
        words.join(" ")
    };
    let _ = writeln!(
        svg,
        "<polygon points=\"{} {}\" fill=\"{colour}\" fill-opacity=\"0.16\"/>\n\
         <polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.8\"/>",
        path(&|values| values[0], false),
        path(&|values| values[2], true),
        path(&|values| values[1], false),
    );
}

fn label(svg: &mut String, y: f64, colour: &str, words: &str) {
    text(
        svg,
        (WIDTH - RIGHT + 8.0, y + 4.0),
        "start",
        &format!("fill=\"{colour}\""),
        words,
    );
}

fn peaks(svg: &mut String, answer: &Answer<'_>, curve: &[(f64, Prediction)], x: Scale, top: f64) {
    let units = answer.call.units;
    let shown = |celsius: f64| units.temperature_number(Celsius(celsius));
    let all = curve
        .iter()
        .flat_map(|(_, p)| [p.peak.low, p.cloth_peak.high]);
    let all = all.filter(|value| value.is_finite()).map(shown);
    let (least, most) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
        (a.min(v), b.max(v))
    });
    let y = Scale {
        from: least - 3.0,
        to: most + 3.0,
        at_from: top + PANEL,
        at_to: top,
    };
    frame(svg, answer, x, y, &format!("peak ({})", units.degree()));
    let points = |pick: &dyn Fn(&Prediction) -> Band| -> Vec<(f64, [f64; 3])> {
        let at = |band: Band| [band.low, band.best, band.high].map(|value| y.of(shown(value)));
        curve
            .iter()
            .map(|(speed, p)| (x.of(shown_speed(*speed, units)), at(pick(p))))
            .collect()
    };
    let cloth = points(&|p| p.cloth_peak);
    let film = points(&|p| p.peak);
    band(svg, &cloth, CLOTH);
    band(svg, &film, FILM);
    for (file, ride) in answer.rides.iter().zip(answer.fit.rides()) {
        if let Trip::Belt(speed) = ride.trip {
            let _ = writeln!(
                svg,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"4.5\" fill=\"#ffffff\" stroke=\"#222222\" stroke-width=\"1.6\"/>",
                x.of(shown_speed(speed.0, units)),
                y.of(shown(file.pass.peak.0)),
            );
        }
    }
    let ends = [
        film.last().map_or(0.0, |p| p.1[1]),
        cloth.last().map_or(0.0, |p| p.1[1]),
    ];
    let apart = (ends[0] - ends[1]).max(16.0);
    label(svg, ends[0], FILM, "in the ink");
    label(svg, ends[0] - apart, CLOTH, "unprinted cloth");
    label(svg, (ends[0] + 18.0).min(top + PANEL), "#222222", "○ rides");
}

fn doses(svg: &mut String, answer: &Answer<'_>, curve: &[(f64, Prediction)], x: Scale, top: f64) {
    let units = answer.call.units;
    let y = Scale {
        from: 0.0,
        to: 3.0,
        at_from: top + PANEL,
        at_to: top,
    };
    frame(
        svg,
        answer,
        x,
        y,
        "dose (1 is what the ink needs, or the fabric can take)",
    );
    rule(
        svg,
        (x.at_from, y.of(1.0)),
        (x.at_to, y.of(1.0)),
        "#222222",
        "stroke-dasharray=\"6 3\"",
    );
    let points = |pick: &dyn Fn(&Prediction) -> Option<Band>| -> Vec<(f64, [f64; 3])> {
        let at = |band: Band| [band.low, band.best, band.high].map(|dose| y.of(dose));
        let shown = |(speed, p): &(f64, Prediction)| {
            pick(p).map(|band| (x.of(shown_speed(*speed, units)), at(band)))
        };
        curve.iter().filter_map(shown).collect()
    };
    band(svg, &points(&|p| Some(p.cure)), CURE);
    label(svg, top + 8.0, CURE, "cure");
    let harms = curve.first().map_or(0, |(_, p)| p.harms.len());
    for harm in 0..harms {
        band(
            svg,
            &points(&|p| p.harms.get(harm).map(|harm| harm.dose)),
            HARM,
        );
        let name = curve
            .first()
            .and_then(|(_, p)| p.harms.get(harm))
            .map_or("", |h| h.harm.name());
        label(svg, top + 26.0 + 18.0 * harm as f64, HARM, name);
    }
}

fn history(svg: &mut String, answer: &Answer<'_>, top: f64) {
    let Some(recommended) = &answer.tuning.recommended else {
        return;
    };
    let units = answer.call.units;
    let shown = |celsius: f64| units.temperature_number(Celsius(celsius));
    let film = &recommended.predicted.film;
    let hottest = film
        .iter()
        .map(|at| shown(at.film.0 + at.doubt.0))
        .fold(0.0, f64::max);
    let end = film.last().map_or(1.0, |at| at.time.0);
    let start = film.first().map_or(0.0, |at| at.time.0);
    let x = Scale {
        from: start,
        to: end,
        at_from: LEFT,
        at_to: WIDTH - RIGHT,
    };
    let y = Scale {
        from: shown(20.0),
        to: hottest + 5.0,
        at_from: top + PANEL,
        at_to: top,
    };
    let speed = units.speed(recommended.belt);
    axes(
        svg,
        x,
        y,
        &format!("in the ink at {speed} ({})", units.degree()),
        "time in the dryer (s)",
    );
    let points: Vec<(f64, [f64; 3])> = film
        .iter()
        .map(|at| {
            let values = [-1.0, 0.0, 1.0].map(|side| y.of(shown(at.film.0 + side * at.doubt.0)));
            (x.of(at.time.0), values)
        })
        .collect();
    band(svg, &points, FILM);
    let threshold = answer.call.ink.threshold;
    let at = y.of(shown(threshold.0));
    rule(
        svg,
        (x.at_from, at),
        (x.at_to, at),
        CURE,
        "stroke-dasharray=\"7 3\"",
    );
    label(
        svg,
        at,
        CURE,
        &format!("threshold {}", units.temperature(threshold)),
    );
}
