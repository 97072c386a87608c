//! The answer of a tuning, for people: what to set in large letters, the window drawn, what would help.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::Celsius;
use inkdwell_cure::heat::fit::{NextRide, Prediction, Trip};
use inkdwell_cure::judged::Band;
use maud::{Markup, html};

use super::super::recipes::locking;
use super::super::words::degrees;
use super::fitting::{Answer, Tuned};
use super::{belt, drawing, lamp};
use crate::journal::KeptPass;

/// The page's own.
pub(super) fn show(
    tuned: &Tuned,
    lock: Option<&KeptPass>,
    may_change: bool,
    units: Units,
) -> Markup {
    let (way, verdict, advice, next) = match &tuned.answer {
        Answer::Belt(tuning) => (
            "through",
            belt::verdict(tuning, units),
            belt::advice(tuning, units),
            tuning.next_ride.as_ref(),
        ),
        Answer::Lamp(on) => (
            "under",
            lamp::verdict(on, units),
            lamp::advice(on, units),
            on.tuning.next_ride.as_ref(),
        ),
    };
    html! {
        h1 { (tuned.ink.name) " on " (tuned.fabric.name) " " (way) " " (tuned.station.name) }
        (verdict)
        (drawing::draw(tuned, units))
        @if let Answer::Lamp(on) = &tuned.answer { (lamp::platens(on, units)) }
        (rides(tuned, units))
        @if !advice.is_empty() {
            h2 { "What would help" }
            ul { @for advice in &advice { li { (advice) } } }
        }
        @if let Some(next) = next { (next_ride(next, units)) }
        p .said { "Ride once at the new setting, and wash-test that print, before you trust it: the ink maker's data sheet and the wash test decide." }
        @if let (Some(kept), true) = (lock, may_change) {
            h2 { "Lock the recipe" }
            p { "Of these rides pass " (kept.pass.pass) " was made nearest to that." }
            (locking(kept.pass.pass, units))
        }
        p { a href="/tune" { "Other rides" } }
    }
}

/// How a print is set to go: `2.80 m/min`, `6.4 s`.
fn trip(trip: Trip, units: Units) -> String {
    match trip {
        Trip::Belt(belt) => units.speed(belt),
        Trip::Lamp(stay) => format!("{:.1} s", stay.0),
    }
}

fn next_ride(next: &NextRide, units: Units) -> Markup {
    let end = match next.trip {
        Trip::Belt(_) => "fast",
        Trip::Lamp(_) => "short",
    };
    html! {
        p { "The next ride would tell most at " strong { (trip(next.trip, units)) } ": of the "
            (units.difference(next.doubt_now)) " of doubt at the window's " (end) " end it would leave about "
            (units.difference(next.doubt_then)) "." }
    }
}

/// What a print would go through, as rows.
pub(super) fn predicted(predicted: &Prediction, units: Units) -> Markup {
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
        dt { "Peak in the ink" } dd { (temperature(predicted.peak)) }
        dt { "Peak beside it" } dd { (temperature(predicted.cloth_peak)) }
        dt { "Cure" } dd { (dose(predicted.cure)) }
        @for harm in &predicted.harms { dt { (harm.harm.name()) } dd { (dose(harm.dose)) } }
    }
}

fn rides(tuned: &Tuned, units: Units) -> Markup {
    html! {
        h2 { "The rides" }
        ul {
            @for (kept, explained) in tuned.kept.iter().zip(&tuned.explained) {
                li {
                    a href={ "/prints/" (kept.pass.pass) } { "Pass " (kept.pass.pass) }
                    ", " (trip(explained.trip, units))
                    ": peak " (degrees(explained.peak.0, units)) ", misfit " (units.difference(explained.rms))
                }
            }
        }
    }
}
