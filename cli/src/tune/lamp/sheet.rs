//! The answer for people.

use inkdwell_cure::heat::fit::LimitName;

use super::Answer;
use crate::terminal::Setting;
use crate::tune::words::{self, CAUTION};

/// The answer as text.
pub(super) fn write(answer: &Answer<'_>, setting: Setting) -> String {
    let call = answer.call;
    let title = format!(
        "{} on {} under {}",
        call.ink.name, call.fabric.name, call.station.name
    );
    let mut text = format!("{}\n\n", setting.strong(&title));
    text += &rides(answer, setting);
    text.push('\n');
    text += &verdict(answer, setting);
    for (trip, prediction) in answer.at {
        text += &format!(
            "\nFor {}:\n{}",
            words::trip(*trip, call.units),
            words::predicted(prediction, "peak on the ink", call)
        );
    }
    text += &platens(answer);
    text += &words::list("What to do:", &answer.advice(), setting);
    let next = answer.tuning.next_ride.iter();
    let next: Vec<String> = next
        .map(|next| {
            format!(
                "{}: {}",
                words::trip(next.trip, call.units),
                answer.why(next)
            )
        })
        .collect();
    text += &words::list("The next ride:", &next, setting);
    text += &words::list("Worth knowing:", &answer.all_remarks(), setting);
    text + &format!("\n{}\n", setting.faint(CAUTION))
}

fn rides(answer: &Answer<'_>, setting: Setting) -> String {
    let units = answer.call.units;
    let mut text = String::new();
    let rides = answer.heatings.iter().zip(answer.fit.rides());
    for (number, (heating, explained)) in rides.enumerate() {
        text += &format!(
            "{}, heating {}, {}: peak {}, misfit {}\n",
            answer.names[heating.file],
            heating.number,
            words::trip(explained.trip, units),
            units.temperature(heating.pass.peak),
            units.difference(explained.rms),
        );
        for note in answer.notes_of(number) {
            text += &setting.wrap("  → ", 4, &note);
            text.push('\n');
        }
    }
    text
}

fn verdict(answer: &Answer<'_>, setting: Setting) -> String {
    let tuning = answer.tuning;
    let (Some(window), Some(recommended)) = (tuning.window, &tuning.recommended) else {
        let mut text = setting.strong("No stay is proved to be right for this print.") + "\n";
        if let Some(likely) = tuning.window_best {
            let likely = format!("Most likely it would be good {}.", likely.range());
            text += &format!("{}\n", setting.wrap("", 0, &likely));
        }
        return text;
    };
    let platen = answer.call.units.temperature(answer.platen);
    let stay = recommended.stay.0;
    let mut text = setting.strong(&format!("Leave the lamp over a print for {stay:.1} s."));
    let goal = match window.shortest.limit {
        LimitName::Gel => "gelled and not beyond",
        _ => "cured and unharmed",
    };
    let short = window.shortest.beyond("shorter");
    let ends = match window.longest {
        Some(longest) => format!(
            "from {:.1} s ({short}) to {:.1} s ({})",
            window.shortest.stay.0,
            longest.stay.0,
            longest.beyond("longer")
        ),
        None => format!(
            "from {:.1} s on ({short}); nothing known limits it within four times the ridden stay",
            window.shortest.stay.0
        ),
    };
    let proved = format!("On a platen at {platen} every print is proved {goal} {ends}.");
    text += &format!("\n\n{}\n", setting.wrap("", 0, &proved));
    text + &words::predicted(&recommended.predicted, "peak on the ink", answer.call)
}

/// How the stays shorten as platens warm.
fn platens(answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    let mut text = "\nAs the platen warms, the lamp may stay:\n".to_owned();
    for on in &answer.tuning.platens {
        let stays = match (on.window, on.window_best) {
            (Some(stays), _) => format!("{}, proved", stays.range()),
            (None, Some(stays)) => format!("{}, most likely but not proved", stays.range()),
            (None, None) => "no stay is right".to_owned(),
        };
        text += &format!("  platen at {:<9} {stays}\n", units.temperature(on.platen));
    }
    text
}
