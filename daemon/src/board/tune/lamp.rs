//! The answer for a flash unit in words: seconds in the place of belt speeds.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;
use inkdwell_cure::heat::fit::LimitName;
use inkdwell_cure::tuning::FlashAdvice;
use maud::{Markup, html};

use super::answer::predicted;
use super::fitting::OnLamp;

/// How far the panel is set back to begin with, in °C.
const COOLER: f64 = 50.0;

/// How long the lamp should stay.
pub(super) fn verdict(on: &OnLamp, units: Units) -> Markup {
    let tuning = &on.tuning;
    let (Some(stays), Some(best)) = (tuning.window, &tuning.recommended) else {
        return html! {
            p .headline { "No stay under the lamp is proved to be right for this print." }
            @if let Some(likely) = tuning.window_best { p { "Most likely it would be good " (likely.range()) "." } }
        };
    };
    let goal = match stays.shortest.limit {
        LimitName::Gel => "gelled and not beyond",
        _ => "cured and unharmed",
    };
    html! {
        p .headline { "Leave the lamp over a print for " (format!("{:.1} s", best.stay.0)) }
        p { "On a platen at " (units.temperature(on.platen)) " every print is proved " (goal) " " (stays.range()) ": "
            (stays.shortest.beyond("shorter"))
            @match stays.longest {
                Some(longest) => { ", " (longest.beyond("longer")) }
                None => ", and nothing known limits it within four times the ridden stay",
            } "." }
        dl .facts { (predicted(&best.predicted, units)) }
    }
}

/// How the stays shorten as the platen warms over a run.
pub(super) fn platens(on: &OnLamp, units: Units) -> Markup {
    html! {
        h2 { "As the platen warms" }
        div .wide tabindex="0" role="region" aria-label="As the platen warms" { table {
            thead { tr { th scope="col" { "Platen" } th scope="col" { "The lamp may stay" } } }
            tbody {
                @for own in &on.tuning.platens {
                    tr {
                        th scope="row" { (units.temperature(own.platen)) }
                        td {
                            @match (own.window, own.window_best) {
                                (Some(stays), _) => { (stays.range()) ", proved" }
                                (None, Some(stays)) => { (stays.range()) ", most likely but not proved" }
                                (None, None) => "no stay is right",
                            }
                        }
                    }
                }
            }
        } }
        @if !on.platen_is_seen {
            p .faint { "No probe shows the platen, so that the surface before the lamp stands in for it; a probe with place = \"platen\" is surer." }
        }
        @if on.is_unlike {
            p .faint { "These rides were made on platens of unlike warmth; rides on one that is warm tell more." }
        }
    }
}

/// What would help where nothing is proved.
pub(super) fn advice(on: &OnLamp, units: Units) -> Vec<String> {
    let told = on.tuning.advice.iter().map(|advice| match advice {
        FlashAdvice::LessDoubt { doubt } => format!(
            "Ride again, with a surer probe if there is one: the doubt of {} is wider than the room between the limits.",
            units.difference(*doubt)
        ),
        FlashAdvice::MoreHeat => {
            "Bring the panel nearer or set it hotter: even four times the longest ridden stay is not enough.".to_owned()
        }
        FlashAdvice::LessHeat => format!(
            "Set the panel farther or cooler, by {} to begin with, and ride again: the print gets too much before it has \
             what it needs.",
            units.difference(CelsiusDifference(COOLER))
        ),
    });
    told.collect()
}
