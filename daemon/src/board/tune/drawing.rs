//! The answer as a drawing: the film's peak over belt speed, or over the stay under the lamp.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::Aim;
use inkdwell_cure::judged::Band;
use maud::{Markup, html};

use super::super::words::degrees;
use super::fitting::{Answer, Tuned, along};

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 300.0;
const LEFT: f64 = 72.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 16.0;
const BELOW: f64 = 34.0;

/// A temperature that the peak is held against, with its name.
struct Level {
    celsius: f64,
    name: &'static str,
    is_limit: bool,
}

fn levels(tuned: &Tuned) -> Vec<Level> {
    let level = |celsius, name, is_limit| Level {
        celsius,
        name,
        is_limit,
    };
    match (&tuned.answer, tuned.ink.gel) {
        (Answer::Lamp(on), Some(gel)) if on.aim == Aim::Gel => {
            vec![
                level(gel.from.0, "gels from", false),
                level(gel.to.0, "gels to", true),
            ]
        }
        _ => vec![level(tuned.ink.threshold.0, "threshold", false)],
    }
}

/// Peak of the film with its doubt; what is proved shaded, rides as rings.
pub(super) fn draw(tuned: &Tuned, units: Units) -> Markup {
    let (Some(first), Some(last)) = (tuned.curve.first(), tuned.curve.last()) else {
        return html! {};
    };
    let (least, most) = (first.0, last.0);
    let levels = levels(tuned);
    let ends = levels.iter().map(|own| (own.celsius, own.celsius));
    let bands = tuned
        .curve
        .iter()
        .map(|(_, own)| (own.peak.low, own.peak.high));
    let (low, high) = ends
        .chain(bands)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), own| {
            (low.min(own.0), high.max(own.1))
        });
    let (low, high) = (low - 5.0, high + 5.0);
    let x =
        |at: f64| LEFT + ((at - least) / (most - least)).clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT);
    let y = |celsius: f64| HEIGHT - BELOW - (celsius - low) / (high - low) * (HEIGHT - TOP - BELOW);
    let points = |pick: fn(&Band) -> f64| -> Vec<String> {
        let points = tuned.curve.iter();
        points
            .map(|(at, own)| format!("{:.1},{:.1}", x(*at), y(pick(&own.peak))))
            .collect()
    };
    let (mut round, back) = (points(|band| band.high), points(|band| band.low));
    round.extend(back.into_iter().rev());
    let window = tuned.answer.is_proved().then(|| {
        let (from, to) = tuned.answer.window();
        (x(from.unwrap_or(least)), x(to.unwrap_or(most)))
    });
    let (over, shown) = axis(tuned, units);
    let told = levels
        .iter()
        .map(|own| format!("; {} {}", own.name, degrees(own.celsius, units)));
    let label = format!(
        "The film's peak over {over}, from {} to {}{}",
        shown(least),
        shown(most),
        told.collect::<String>()
    );
    html! {
        svg .curve viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label=(label) {
            @if let Some((from, to)) = window {
                rect .proved x=(from) y=(TOP) width=((to - from).max(0.0)) height=(HEIGHT - TOP - BELOW) { }
                text x=((from + to) / 2.0) y=(TOP + 16.0) text-anchor="middle" { "proved" }
            }
            polygon .doubt points=(round.join(" ")) { }
            polyline .film points=(points(|band| band.best).join(" ")) { }
            @for level in &levels {
                @let class = if level.is_limit { "limit" } else { "need" };
                line class=(class) x1=(LEFT) x2=(WIDTH - RIGHT) y1=(y(level.celsius)) y2=(y(level.celsius)) { }
                text class=(class) x=(LEFT + 6.0) y=(y(level.celsius) - 6.0) { (level.name) " " (degrees(level.celsius, units)) }
            }
            @for explained in &tuned.explained {
                circle .ride cx=(x(along(explained.trip))) cy=(y(explained.peak.0)) r="5" { }
            }
            line .axis x1=(LEFT) x2=(WIDTH - RIGHT) y1=(HEIGHT - BELOW) y2=(HEIGHT - BELOW) { }
            text x=(LEFT) y=(HEIGHT - 10.0) { (shown(least)) }
            text x=(WIDTH - RIGHT) y=(HEIGHT - 10.0) text-anchor="end" { (shown(most)) }
            text x=(LEFT - 6.0) y=(y(high) + 12.0) text-anchor="end" { (degrees(high, units)) }
            text x=(LEFT - 6.0) y=(y(low)) text-anchor="end" { (degrees(low, units)) }
        }
        p .faint { "The film's peak over " (over) ", with its doubt; rings are the rides." }
    }
}

/// What is drawn along, and how a figure of it is written.
fn axis(tuned: &Tuned, units: Units) -> (&'static str, Box<dyn Fn(f64) -> String>) {
    match tuned.answer {
        Answer::Belt(_) => (
            "belt speed",
            Box::new(move |at| units.speed(MetresPerSecond(at / 60.0))),
        ),
        Answer::Lamp(_) => (
            "the time under the lamp",
            Box::new(|at| format!("{at:.1} s")),
        ),
    }
}
