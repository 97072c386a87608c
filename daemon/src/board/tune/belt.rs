//! The answer for a belt dryer in words.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;
use inkdwell_cure::tuning::{Advice, Tuning};
use maud::{Markup, html};

use super::answer::predicted;

/// How fast the belt should run.
pub(super) fn verdict(tuning: &Tuning, units: Units) -> Markup {
    let (Some(window), Some(best)) = (&tuning.window, &tuning.recommended) else {
        return html! {
            p .headline { "No belt speed is proved to cure this print unharmed." }
            @if let Some(likely) = &tuning.window_best {
                p { "Most likely it would be good " (likely.range(units)) ", but the doubt is larger than that: a better probe or another ride may prove it." }
            }
        };
    };
    html! {
        p .headline { "Run the belt at " (units.speed(best.belt)) }
        p { "Every print is proved cured and unharmed " (window.range(units)) ": "
            (window.fast.limit.beyond("faster"))
            @if let Some(slow) = window.slow { ", " (slow.limit.beyond("slower")) } "." }
        dl .facts {
            dt { "In the heat" } dd { (format!("{:.0} s", best.dwell.0)) }
            @if let Some(prints) = best.prints_per_hour { dt { "Prints an hour" } dd { (format!("{prints:.0}")) } }
            (predicted(&best.predicted, units))
        }
    }
}

/// What would open a window, or widen a narrow one.
pub(super) fn advice(tuning: &Tuning, units: Units) -> Vec<String> {
    let advice = tuning.advice.iter();
    advice.map(|advice| advised(advice, units)).collect()
}

fn advised(advice: &Advice, units: Units) -> String {
    match advice {
        Advice::ChangeChamber { change, opens } => {
            let by = change.by();
            let way = if by.0 > 0.0 { "hotter" } else { "cooler" };
            let by = units.difference(CelsiusDifference(by.0.abs()));
            format!(
                "Set the chamber about {by} {way}: the belt may then run {}. The command line says which zone.",
                opens.window.range(units)
            )
        }
        Advice::AnotherDrive(opens) => format!(
            "The chamber is right, but the drive does not go there: good speeds lie {}.",
            opens.window.range(units)
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
