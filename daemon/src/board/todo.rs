//! What to do, the most urgent first.

use maud::{Markup, html};

use super::now::{ShopNow, StationNow};
use super::words::{counted, hour, look, mark, numbers};
use crate::api::view::Remedy;
use crate::journal::{KeptHold, KeptPass};

/// The part.
pub(super) fn part(shop: &ShopNow, station: &StationNow) -> Markup {
    let batch = station.batch.as_ref();
    let done = batch.map_or(0, |batch| {
        batch.counts.iter().map(|count| count.passes).sum::<u64>()
    });
    let full = batch.filter(|batch| batch.batch.quantity.is_some_and(|of| done >= of));
    let nothing = shop.down.is_empty()
        && !shop.disk_full
        && station.holds.is_empty()
        && full.is_none()
        && batch.is_some();
    html! {
        ul .todo {
            @if shop.disk_full { li .urgent { strong { "Make room on the disk." } " Until then nothing is recorded." } }
            @if station.is_blind {
                @for (source, why) in &shop.down {
                    li .urgent { strong { "Look after " (source) "." } " " (why) }
                }
            }
            @for (hold, passes) in station.holds.iter().rev() { li { (pull(shop, hold, passes)) } }
            @if let Some(batch) = full {
                li { strong { "All are through." } " " a href={ "/batches/" (batch.batch.batch) } { "Close the batch" } }
            }
            @if batch.is_none() {
                li { strong { "Open a batch" } " so that prints are judged. " a href="/batches" { "Batches" } }
            }
            @if shop.unassigned > 0 {
                li { (counted(shop.unassigned, "print has", "prints have")) " no batch. " a href="/batches" { "Give them one" } }
            }
            @if nothing { li .calm { "Nothing. Keep printing." } }
        }
    }
}

fn pull(shop: &ShopNow, kept: &KeptHold, passes: &[KeptPass]) -> Markup {
    let hold = &kept.hold;
    let look = look(Some(&hold.verdict), hold.harm.as_deref());
    let times = passes.first().zip(passes.last());
    html! {
        (mark(look))
        strong { "Pull " (which(passes)) } ", " (look.word)
        @if let Some((first, last)) = times {
            span .faint {
                " (out " (hour(first.pass.end, &shop.clock))
                @if passes.len() > 1 { " to " (hour(last.pass.end, &shop.clock)) }
                ")"
            }
        }
        br;
        (Remedy::of(&hold.verdict, &hold.evidence).sentence) " "
        a href={ "/holds#hold-" (hold.hold) } { "Settle hold " (hold.hold) }
    }
}

/// Which prints they are.
pub(super) fn which(passes: &[KeptPass]) -> String {
    let prints: Vec<u64> = passes
        .iter()
        .filter_map(|kept| kept.pass.print.filter(|print| *print > 0))
        .collect();
    match prints.len() {
        0 => counted(
            passes.len() as u64,
            "print without a number",
            "prints without numbers",
        ),
        1 => format!("print {}", prints[0]),
        _ => format!("prints {}", numbers(prints)),
    }
}
