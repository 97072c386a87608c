//! The answer for people.

use inkdwell_config::display::Units;
use inkdwell_cure::tuning::Window;

use super::{Answer, advice};
use crate::terminal::Setting;
use crate::tune::words::{self, CAUTION};

/// The answer as text.
pub(super) fn write(answer: &Answer<'_>, setting: Setting) -> String {
    let call = answer.call;
    let units = call.units;
    let title = format!(
        "{} on {} through {}",
        call.ink.name, call.fabric.name, call.station.name
    );
    let mut text = format!("{}\n\n", setting.strong(&title));
    text += &rides(answer, setting);
    text += "\n";
    text += &verdict(answer, setting);
    for (trip, prediction) in answer.at {
        text += &format!(
            "\nAt {}:\n{}",
            words::trip(*trip, units),
            words::predicted(prediction, "peak in the ink", call)
        );
    }
    text += &words::list("What to do:", &advice::sentences(answer), setting);
    text += &words::list("The next ride:", &next_ride(answer), setting);
    text += &words::list("Worth knowing:", &answer.remarks(), setting);
    text + &format!("\n{}\n", setting.faint(CAUTION))
}

fn verdict(answer: &Answer<'_>, setting: Setting) -> String {
    let units = answer.call.units;
    let (Some(window), Some(recommended)) = (&answer.tuning.window, &answer.tuning.recommended)
    else {
        let none = "No belt speed is proved to cure this print unharmed.";
        let mut text = setting.strong(none) + "\n";
        if let Some(likely) = &answer.tuning.window_best {
            let likely = format!(
                "Most likely it would be good {}, but the doubt is larger than that: a better probe or \
                 another ride may prove it.",
                likely.range(units)
            );
            text += &format!("{}\n", setting.wrap("", 0, &likely));
        }
        return text;
    };
    let mut text = setting.strong(&format!(
        "Run the belt at {}.",
        units.speed(recommended.belt)
    ));
    text += &format!("\n{:.0} s in the heat", recommended.dwell.0);
    if let Some(prints) = recommended.prints_per_hour {
        text += &format!(", {prints:.0} prints an hour");
    }
    text += &format!(".\n\n{}\n", setting.wrap("", 0, &proved(window, units)));
    text + &words::predicted(&recommended.predicted, "peak in the ink", answer.call)
}

fn next_ride(answer: &Answer<'_>) -> Vec<String> {
    let next = answer.tuning.next_ride.iter();
    next.map(|next| {
        format!(
            "at {}: {}",
            words::trip(next.trip, answer.call.units),
            advice::why(next, answer)
        )
    })
    .collect()
}

fn rides(answer: &Answer<'_>, setting: Setting) -> String {
    let units = answer.call.units;
    let mut text = String::new();
    for (number, (ride, explained)) in answer.rides.iter().zip(answer.fit.rides()).enumerate() {
        text += &format!(
            "{} at {}: peak {}, misfit {}\n",
            ride.name,
            words::trip(explained.trip, units),
            units.temperature(ride.peak),
            units.difference(explained.rms),
        );
        for note in answer.notes_of(number) {
            text += &setting.wrap("  → ", 4, &note);
            text.push('\n');
        }
    }
    text
}

fn proved(window: &Window, units: Units) -> String {
    let fast = units.speed(window.fast.belt);
    match window.slow {
        Some(slow) => format!(
            "Every print is proved cured and unharmed from {} ({}) to {fast} ({}).",
            units.speed(slow.belt),
            slow.limit.beyond("slower"),
            window.fast.limit.beyond("faster"),
        ),
        None => format!(
            "Every print is proved cured and unharmed up to {fast} ({}); nothing known harms it \
             however slow the belt.",
            window.fast.limit.beyond("faster"),
        ),
    }
}
