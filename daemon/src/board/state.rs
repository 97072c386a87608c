//! The state of a station in a few large words.

use inkdwell_config::station::StationKind;
use maud::{Markup, html};

use super::now::{ShopNow, StationNow};
use super::out::name;
use super::words::{counted, look_of};
use crate::record::Judged;

/// A belt slower than this, in m/s, stands.
const STANDS: f64 = 0.002;

/// What is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct State {
    pub(super) mark: &'static str,
    /// The name of its colour.
    pub(super) tone: &'static str,
    /// What is to be read from three metres.
    pub(super) large: String,
    /// What follows from it.
    pub(super) small: String,
    /// When somebody last had to look up, in milliseconds: it grows with each new reason.
    pub(super) call: u64,
}

impl State {
    pub(super) fn of(shop: &ShopNow, station: &StationNow) -> State {
        let say = |mark, tone, large: String, small: String| State {
            mark,
            tone,
            large,
            small,
            call: call(station),
        };
        if shop.disk_full {
            let small =
                "The disk is full: nothing is accepted. Make room in the data folder's disk.";
            return say("✕", "over", "Not watching".to_owned(), small.to_owned());
        }
        if station.is_blind {
            let small = "A source is not heard: prints that pass now are not proved.";
            return say("✕", "over", "Not watching".to_owned(), small.to_owned());
        }
        let stands = station.belt_is_live && station.belt.is_some_and(|belt| belt.0 < STANDS);
        if station.kind == StationKind::BeltDryer && stands {
            let small = "What lies in the heat stays there. Clear the belt, if it is safe to.";
            return say("■", "over", "The belt stands".to_owned(), small.to_owned());
        }
        let Some(batch) = &station.batch else {
            let small = "Prints are recorded, but nothing is said of them. Open a batch.";
            return say("○", "idle", "No batch".to_owned(), small.to_owned());
        };
        let own = |pass: &&crate::journal::KeptPass| pass.pass.batch == Some(batch.batch.batch);
        let Some(last) = station.last.iter().find(own) else {
            let small = format!("{} is open; no print of it has left yet.", batch.batch.job);
            return say("○", "idle", "Waiting".to_owned(), small);
        };
        let look = look_of(last.pass.judged.as_ref());
        if look.tone == "good" {
            let prints = station.last.iter().filter(own);
            let good =
                prints.take_while(|kept| kept.pass.judged.as_ref().is_some_and(Judged::is_good));
            let row = good.count() as u64;
            let small = match row {
                1 => format!("{} is {}.", name(last), look.word),
                row => format!(
                    "The last {} are {}.",
                    counted(row, "print", "prints"),
                    look.word
                ),
            };
            return say(look.mark, look.tone, "Good".to_owned(), small);
        }
        let mut letters = look.word.chars();
        let first = letters
            .next()
            .map(|letter| letter.to_uppercase().to_string());
        let large = format!("{}{}", first.unwrap_or_default(), letters.as_str());
        let reason = last
            .pass
            .judged
            .as_ref()
            .and_then(|judged| judged.reasons.first());
        // It may begin with the verdict, which stands in large letters already.
        let reason = reason.map(|reason| {
            let rest = reason.strip_prefix(look.word);
            let rest = rest.and_then(|rest| rest.strip_prefix(": "));
            rest.unwrap_or(reason)
        });
        let reason = reason.map_or_else(String::new, |reason| format!(" {}.", capital(reason)));
        say(
            look.mark,
            look.tone,
            large,
            format!("Pull {}.{reason}", lower(&name(last))),
        )
    }

    pub(super) fn part(&self) -> Markup {
        html! {
            div class={ "say " (self.tone) } data-call=(self.call) {
                span .sign aria-hidden="true" { (self.mark) }
                div { p .large { (self.large) } p .small { (self.small) } }
            }
        }
    }
}

/// When the last print that is not good left the heat.
fn call(station: &StationNow) -> u64 {
    let bad = station.last.iter().filter(|kept| {
        let judged = kept.pass.judged.as_ref();
        judged.is_some_and(|judged| !judged.is_good())
    });
    let ended = bad.map(|kept| kept.pass.end.0 / 1000).max();
    ended
        .and_then(|ended| u64::try_from(ended).ok())
        .unwrap_or(0)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters
        .next()
        .map(|letter| letter.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), letters.as_str())
}

fn lower(text: &str) -> String {
    text.to_lowercase()
}
