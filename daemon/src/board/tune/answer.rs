//! The answer of a tuning, for people: the speed in large letters, the window drawn, what would help.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use inkdwell_cure::heat::fit::Trip;
use inkdwell_cure::judged::Band;
use inkdwell_cure::tuning::{Advice, Side, Window};
use maud::{Markup, html};

use super::super::recipes::locking;
use super::super::words::degrees;
use super::fitting::Tuned;
use crate::journal::KeptPass;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 300.0;
const LEFT: f64 = 50.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 16.0;
const BELOW: f64 = 34.0;

/// The page's own.
pub(super) fn show(
    tuned: &Tuned,
    lock: Option<&KeptPass>,
    may_change: bool,
    units: Units,
) -> Markup {
    html! {
        h1 { (tuned.ink.name) " on " (tuned.fabric.name) " through " (tuned.station.name) }
        (verdict(tuned, units))
        (drawing(tuned, units))
        (rides(tuned, units))
        @if !tuned.tuning.advice.is_empty() {
            h2 { "What would help" }
            ul { @for advice in &tuned.tuning.advice { li { (advised(advice, units)) } } }
        }
        @if let Some(next) = &tuned.tuning.next_ride && let Trip::Belt(belt) = next.trip {
            p { "The next ride would tell most at " strong { (units.speed(belt)) } ": of the "
                (units.difference(next.doubt_now)) " of doubt at the window's fast end it would leave about " (units.difference(next.doubt_then)) "." }
        }
        p .said { "Ride once at the new speed, and wash-test that print, before you trust it: the ink maker's data sheet and the wash test decide." }
        @if let (Some(kept), true) = (lock, may_change) {
            h2 { "Lock the recipe" }
            p { "Of these rides pass " (kept.pass.pass) " was made nearest to that speed." }
            (locking(kept.pass.pass))
        }
        p { a href="/tune" { "Other rides" } }
    }
}

fn verdict(tuned: &Tuned, units: Units) -> Markup {
    let (Some(window), Some(best)) = (&tuned.tuning.window, &tuned.tuning.recommended) else {
        return html! {
            p .headline { "No belt speed is proved to cure this print unharmed." }
            @if let Some(likely) = &tuned.tuning.window_best {
                p { "Most likely it would be good " (from_to(likely, units)) ", but the doubt is larger than that: a better probe or another ride may prove it." }
            }
        };
    };
    let predicted = &best.predicted;
    let temperature = |band: Band| {
        let number = |celsius| units.temperature_number(Celsius(celsius));
        format!(
            "{:.0} {} ({:.0} to {:.0})",
            number(band.best),
            units.degree(),
            number(band.low),
            number(band.high)
        )
    };
    let dose = |band: Band| format!("{:.2} ({:.2} to {:.2})", band.best, band.low, band.high);
    html! {
        p .headline { "Run the belt at " (units.speed(best.belt)) }
        p { "Every print is proved cured and unharmed " (from_to(window, units)) ": "
            (beyond(window.fast.limit, "faster"))
            @if let Some(slow) = window.slow { ", " (beyond(slow.limit, "slower")) } "." }
        dl .facts {
            dt { "In the heat" } dd { (format!("{:.0} s", best.dwell.0)) }
            @if let Some(prints) = best.prints_per_hour { dt { "Prints an hour" } dd { (format!("{prints:.0}")) } }
            dt { "Peak in the ink" } dd { (temperature(predicted.peak)) }
            dt { "Peak beside it" } dd { (temperature(predicted.cloth_peak)) }
            dt { "Cure" } dd { (dose(predicted.cure)) }
            @for harm in &predicted.harms { dt { (harm.harm.name()) } dd { (dose(harm.dose)) } }
        }
    }
}

fn from_to(window: &Window, units: Units) -> String {
    let fast = units.speed(window.fast.belt);
    match window.slow {
        Some(slow) => format!("from {} to {fast}", units.speed(slow.belt)),
        None => format!("up to {fast}"),
    }
}

fn beyond(side: Side, way: &str) -> String {
    match side {
        Side::Cure => format!("{way} is not proved cured"),
        Side::Harm(harm) => format!("{way} does not rule out {}", harm.name()),
        Side::Belt => format!("the drive goes no {way}"),
    }
}

fn advised(advice: &Advice, units: Units) -> String {
    match advice {
        Advice::ChangeChamber { change, opens } => {
            let by = change.by();
            let way = if by.0 > 0.0 { "hotter" } else { "cooler" };
            let by = units.difference(inkdwell_config::quantity::CelsiusDifference(by.0.abs()));
            format!(
                "Set the chamber about {by} {way}: the belt may then run {}. The command line says which zone.",
                from_to(&opens.window, units)
            )
        }
        Advice::AnotherDrive(opens) => format!(
            "The chamber is right, but the drive does not go there: good speeds lie {}.",
            from_to(&opens.window, units)
        ),
        Advice::SecondPass(twice) => format!(
            "Send the prints through twice at {}.",
            units.speed(twice.belt)
        ),
        Advice::AnotherInk => {
            "Take an ink that cures cooler, or a fabric that stands more heat.".to_owned()
        }
    }
}

fn rides(tuned: &Tuned, units: Units) -> Markup {
    html! {
        h2 { "The rides" }
        ul {
            @for (kept, explained) in tuned.kept.iter().zip(&tuned.explained) {
                li {
                    a href={ "/prints/" (kept.pass.pass) } { "Pass " (kept.pass.pass) }
                    @if let Trip::Belt(belt) = explained.trip { " at " (units.speed(belt)) }
                    ": peak " (degrees(explained.peak.0, units)) ", misfit " (units.difference(explained.rms))
                }
            }
        }
    }
}

/// Peak of the film over belt speed, with its doubt; the window shaded.
fn drawing(tuned: &Tuned, units: Units) -> Markup {
    let (Some(first), Some(last)) = (tuned.curve.first(), tuned.curve.last()) else {
        return html! {};
    };
    let (least, most) = (first.0, last.0);
    let threshold = tuned.ink.threshold.0;
    let bands = tuned.curve.iter().map(|(_, own)| own.peak);
    let (low, high) = bands.fold((threshold, threshold), |(low, high), band| {
        (low.min(band.low), high.max(band.high))
    });
    let (low, high) = (low - 5.0, high + 5.0);
    let x = |belt: f64| {
        LEFT + ((belt - least) / (most - least)).clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT)
    };
    let y = |celsius: f64| HEIGHT - BELOW - (celsius - low) / (high - low) * (HEIGHT - TOP - BELOW);
    let points = |pick: fn(&Band) -> f64| -> Vec<String> {
        let points = tuned.curve.iter();
        points
            .map(|(belt, own)| format!("{:.1},{:.1}", x(*belt), y(pick(&own.peak))))
            .collect()
    };
    let (mut round, back) = (points(|band| band.high), points(|band| band.low));
    round.extend(back.into_iter().rev());
    let window = tuned.tuning.window.as_ref().map(|window| {
        let slow = window.slow.map_or(least, |edge| edge.belt.0 * 60.0);
        (x(slow), x(window.fast.belt.0 * 60.0))
    });
    let shown = |belt: f64| units.speed(MetresPerSecond(belt / 60.0));
    let label = format!(
        "The film's peak over belt speed, from {} to {}; threshold {}",
        shown(least),
        shown(most),
        degrees(threshold, units)
    );
    html! {
        svg .curve viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img" aria-label=(label) {
            @if let Some((from, to)) = window {
                rect .proved x=(from) y=(TOP) width=((to - from).max(0.0)) height=(HEIGHT - TOP - BELOW) { }
                text x=((from + to) / 2.0) y=(TOP + 16.0) text-anchor="middle" { "proved" }
            }
            polygon .doubt points=(round.join(" ")) { }
            polyline .film points=(points(|band| band.best).join(" ")) { }
            line .need x1=(LEFT) x2=(WIDTH - RIGHT) y1=(y(threshold)) y2=(y(threshold)) { }
            text .need x=(WIDTH - RIGHT - 4.0) text-anchor="end" y=(y(threshold) - 6.0) { "threshold " (degrees(threshold, units)) }
            @for explained in &tuned.explained {
                @if let Trip::Belt(belt) = explained.trip {
                    circle .ride cx=(x(belt.0 * 60.0)) cy=(y(explained.peak.0)) r="5" { }
                }
            }
            line .axis x1=(LEFT) x2=(WIDTH - RIGHT) y1=(HEIGHT - BELOW) y2=(HEIGHT - BELOW) { }
            text x=(LEFT) y=(HEIGHT - 10.0) { (shown(least)) }
            text x=(WIDTH - RIGHT) y=(HEIGHT - 10.0) text-anchor="end" { (shown(most)) }
            text x=(LEFT - 6.0) y=(y(high) + 12.0) text-anchor="end" { (degrees(high, units)) }
            text x=(LEFT - 6.0) y=(y(low)) text-anchor="end" { (degrees(low, units)) }
        }
        p .faint { "The film's peak over belt speed, with its doubt; rings are the rides." }
    }
}
