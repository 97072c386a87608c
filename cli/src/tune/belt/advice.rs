//! What would help, and the ride that would tell most, as sentences.

use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_cure::heat::fit::{NextRide, Trip};
use inkdwell_cure::tuning::{Advice, Change, Opening, Window};

use super::Answer;
use crate::tune::words::hotter;

/// What would open or widen the window.
pub(super) fn sentences(answer: &Answer<'_>) -> Vec<String> {
    let advice = answer.tuning.advice.iter();
    advice.map(|advice| sentence(advice, answer)).collect()
}

fn sentence(advice: &Advice, answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    match advice {
        Advice::ChangeChamber { change, opens } => format!(
            "set {}: the belt may then run {}, best at {}{}; ride once there before you trust it",
            set(*change, answer),
            between(&opens.window, answer),
            units.speed(opens.belt),
            prints(opens, answer),
        ),
        Advice::AnotherDrive(opens) => format!(
            "the chamber is right but the drive does not go there: good speeds lie {}",
            between(&opens.window, answer)
        ),
        Advice::SecondPass(twice) => {
            let prints = twice.prints_per_hour.map_or_else(String::new, |prints| {
                format!(", which makes {prints:.0} prints an hour")
            });
            format!(
                "send the prints through twice at {}{prints}; ride both times before you trust it",
                units.speed(twice.belt)
            )
        }
        Advice::AnotherInk => format!(
            "take an ink that cures cooler, or a fabric that stands more heat: no chamber temperature \
             within {} of this one helps",
            units.difference(CelsiusDifference(40.0))
        ),
    }
}

/// What is set how, with what that makes of it.
fn set(change: Change, answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    let by = hotter(change.by(), units);
    let station = change.made(&answer.call.imagined.station);
    let now = |zone: usize, panel: bool| {
        let zone = station.as_ref()?.zones.get(zone)?;
        if panel { zone.panel } else { zone.air }
    };
    let to = |celsius: Option<Celsius>| {
        celsius.map_or_else(String::new, |celsius| {
            format!(" ({})", units.temperature(celsius))
        })
    };
    match change {
        Change::AllZones(by) => {
            let zones = &answer.call.imagined.station.zones;
            let panels = CelsiusDifference(3.0 * by.0);
            let has = |panel: bool| {
                zones
                    .iter()
                    .any(|zone| if panel { zone.panel } else { zone.air }.is_some())
            };
            match (has(false), has(true)) {
                (true, true) => format!(
                    "the air of all zones {} and their panels {}",
                    hotter(by, units),
                    hotter(panels, units)
                ),
                (false, true) => format!("the panels of all zones {}", hotter(panels, units)),
                _ => format!("all zones {}", hotter(by, units)),
            }
        }
        Change::Air { zone, .. } => {
            format!("zone {}'s air {by}{}", zone + 1, to(now(zone, false)))
        }
        Change::Panel { zone, .. } => {
            format!("zone {}'s panel {by}{}", zone + 1, to(now(zone, true)))
        }
    }
}

fn between(window: &Window, answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    let fast = units.speed(window.fast.belt);
    window.slow.map_or(format!("up to {fast}"), |slow| {
        format!("from {} to {fast}", units.speed(slow.belt))
    })
}

/// Prints an hour, and what that costs or gains.
fn prints(opens: &Opening, answer: &Answer<'_>) -> String {
    let Some(then) = opens.prints_per_hour else {
        return String::new();
    };
    let now = answer.tuning.recommended.as_ref();
    let against = now
        .and_then(|now| now.prints_per_hour)
        .map(|now| then - now);
    match against {
        Some(more) if more >= 0.5 => format!(" with {then:.0} prints an hour ({more:.0} more)"),
        Some(more) if more <= -0.5 => {
            format!(" with {then:.0} prints an hour ({:.0} fewer)", -more)
        }
        Some(_) => format!(" with {then:.0} prints an hour (as many as now)"),
        None => format!(" with {then:.0} prints an hour"),
    }
}

/// Why the next ride should be there.
pub(super) fn why(next: &NextRide, answer: &Answer<'_>) -> String {
    let units = answer.call.units;
    let now = units.difference(next.doubt_now);
    let beyond = answer.tuning.window.as_ref().is_some_and(
        |window| matches!(next.trip, Trip::Belt(speed) if speed.0 > window.fast.belt.0),
    );
    let test_piece = if beyond {
        " (a test piece: it may come out under-cured)"
    } else {
        ""
    };
    let then = next.doubt_then;
    if next.doubt_now.0 - then.0 < 0.02 * next.doubt_now.0 {
        return format!(
            "rides have told nearly all they can: of the {now} of doubt at the window's fast end most is the \
             probe's own and the garments'{test_piece}"
        );
    }
    format!(
        "a ride at this speed would narrow the doubt at the window's fast end from {now} to about \
         {}, more than at any other{test_piece}",
        units.difference(then),
    )
}
