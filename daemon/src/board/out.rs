//! What has left the heat: the last print in large letters, those before it as a strip of marks, the batch's counts.

use maud::{Markup, html};

use super::now::{ShopNow, StationNow};
use super::words::{counted, degrees, hour, look, look_of, mark};
use crate::journal::{KeptBatch, KeptPass};

/// The part.
pub(super) fn part(shop: &ShopNow, station: &StationNow) -> Markup {
    html! {
        @match station.last.first() {
            Some(kept) => (last(shop, kept)),
            None => h3 { "Nothing has left it yet" },
        }
        @if !station.last.is_empty() { (strip(&station.last)) }
        @if let Some(batch) = &station.batch { (progress(station, batch)) }
    }
}

fn last(shop: &ShopNow, kept: &KeptPass) -> Markup {
    let pass = &kept.pass;
    let look = look_of(pass.judged.as_ref());
    html! {
        h3 .last {
            (mark(look)) (name(kept)) " " span .word { (look.word) }
        }
        p .figures {
            "out " (hour(pass.end, &shop.clock))
            @if let Some(judged) = &pass.judged {
                @if judged.evidence == "none" { ", no probe saw it" } @else {
                    ", peak " (degrees(judged.peak_c, shop.units)) ", " (judged.evidence)
                }
            }
        }
    }
}

/// How a print is called.
pub(super) fn name(kept: &KeptPass) -> String {
    match kept.pass.print.filter(|print| *print > 0) {
        Some(print) => format!("Print {print}"),
        None => format!("Pass {}", kept.pass.pass),
    }
}

/// The last prints, the newest next to the heat that it came from.
fn strip(last: &[KeptPass]) -> Markup {
    html! {
        ol .strip aria-label="The last prints, the newest first" {
            @for kept in last {
                @let look = look_of(kept.pass.judged.as_ref());
                @let is_inferred = kept.pass.judged.as_ref().is_some_and(|judged| judged.evidence == "inferred");
                li {
                    a href={ "/prints/" (kept.pass.pass) } class={ "chip " (look.tone) @if is_inferred { " inferred" } } {
                        span aria-hidden="true" { (look.mark) }
                        small { (kept.pass.print.filter(|print| *print > 0).map_or_else(String::new, |print| print.to_string())) }
                        span .unseen { " " (name(kept)) ": " (look.word) }
                    }
                }
            }
        }
    }
}

/// How far a batch is.
pub(super) struct Counts {
    /// Prints that have left the heat.
    pub(super) done: u64,
    /// Those that are proved good.
    pub(super) good: u64,
    /// Those that are held.
    pub(super) held: u64,
}

impl Counts {
    pub(super) fn of(station: &StationNow, batch: &KeptBatch) -> Counts {
        let good = batch.counts.iter();
        let good = good.filter(|count| look(count.verdict.as_deref(), None).tone == "good");
        let held = station
            .holds
            .iter()
            .filter(|(hold, _)| hold.hold.batch == Some(batch.batch.batch));
        Counts {
            done: batch.counts.iter().map(|count| count.passes).sum(),
            good: good.map(|count| count.passes).sum(),
            held: held.map(|(_, passes)| passes.len() as u64).sum(),
        }
    }
}

/// How far the batch is.
fn progress(station: &StationNow, batch: &KeptBatch) -> Markup {
    let Counts { done, good, held } = Counts::of(station, batch);
    html! {
        p .job { a href={ "/batches/" (batch.batch.batch) } { (batch.batch.job) } }
        dl .counts {
            div { dt { "done" } dd { (done) @if let Some(of) = batch.batch.quantity { span .of { " of " (of) } } } }
            div { dt { "good" } dd { (good) } }
            div .held[held > 0] { dt { "to pull" } dd { (held) } }
        }
        @if let Some(of) = batch.batch.quantity.filter(|of| *of > 0) {
            progress max=(of) value=(done.min(of)) aria-label=(counted(done, "print done", "prints done")) { }
        }
    }
}
