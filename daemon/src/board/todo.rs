//! What to do, the most urgent first.

use maud::{Markup, html};

use super::now::{ShopNow, StationNow};
use super::words::{Look, counted, hour, look, mark, numbers};
use crate::api::view::Remedy;
use crate::journal::{KeptHold, KeptPass};

/// Something to be done.
pub(super) struct ToDo {
    /// How the verdict looks that it is about.
    pub(super) look: Option<Look>,
    /// Whether it cannot wait.
    pub(super) is_urgent: bool,
    /// What to do, in a few words.
    pub(super) what: String,
    /// What else is to be known of it.
    pub(super) more: String,
    /// The hold that it is about.
    pub(super) hold: Option<u64>,
    /// The page where it is done, and what leads there.
    link: Option<(String, String)>,
}

impl ToDo {
    fn new(what: impl Into<String>, more: impl Into<String>) -> ToDo {
        ToDo {
            look: None,
            is_urgent: false,
            what: what.into(),
            more: more.into(),
            hold: None,
            link: None,
        }
    }

    fn urgent(self) -> ToDo {
        ToDo {
            is_urgent: true,
            ..self
        }
    }

    fn at(self, page: impl Into<String>, words: impl Into<String>) -> ToDo {
        ToDo {
            link: Some((page.into(), words.into())),
            ..self
        }
    }

    /// The tone of what is about no print.
    pub(super) fn tone(&self) -> &'static str {
        if self.is_urgent { "over" } else { "idle" }
    }
}

/// What is to be done at a station, the most urgent first.
pub(super) fn of(shop: &ShopNow, station: &StationNow) -> Vec<ToDo> {
    let mut all = Vec::new();
    if shop.disk_full {
        let until = "Until then nothing is recorded.";
        all.push(ToDo::new("Make room on the disk.", until).urgent());
    }
    if station.is_blind {
        let down = shop.down.iter();
        let down = down.map(|(source, why)| ToDo::new(format!("Look after {source}."), why).urgent());
        all.extend(down);
    }
    let holds = station.holds.iter().rev();
    all.extend(holds.map(|(hold, passes)| pull(shop, hold, passes)));
    match &station.batch {
        None => {
            let so = "so that prints are judged.";
            all.push(ToDo::new("Open a batch", so).at("/batches", "Batches"));
        }
        Some(batch) => {
            let done: u64 = batch.counts.iter().map(|count| count.passes).sum();
            if batch.batch.quantity.is_some_and(|of| done >= of) {
                let page = format!("/batches/{}", batch.batch.batch);
                all.push(ToDo::new("All are through.", "").at(page, "Close the batch"));
            }
        }
    }
    if shop.unassigned > 0 {
        let without = counted(shop.unassigned, "print has", "prints have");
        all.push(ToDo::new(format!("{without} no batch."), "").at("/batches", "Give them one"));
    }
    all
}

/// The part.
pub(super) fn part(shop: &ShopNow, station: &StationNow) -> Markup {
    let all = of(shop, station);
    html! {
        ul .todo {
            @for to_do in &all { (one(to_do)) }
            @if all.is_empty() { li .calm { "Nothing. Keep printing." } }
        }
    }
}

fn one(to_do: &ToDo) -> Markup {
    html! {
        li .urgent[to_do.is_urgent] {
            @if let Some(look) = to_do.look { (mark(look)) }
            strong { (to_do.what) } " "
            @if !to_do.more.is_empty() { (to_do.more) " " }
            @if let Some((page, words)) = &to_do.link { a href=(page) { (words) } }
        }
    }
}

fn pull(shop: &ShopNow, kept: &KeptHold, passes: &[KeptPass]) -> ToDo {
    let hold = &kept.hold;
    let look = look(Some(&hold.verdict), hold.harm.as_deref());
    let hour = |kept: &KeptPass| hour(kept.pass.end, &shop.clock);
    let times = match passes {
        [] => String::new(),
        [only] => format!(", out {}", hour(only)),
        [first, .., last] => format!(", out {} to {}", hour(first), hour(last)),
    };
    let what = format!("Pull {}, {}{times}.", which(passes), look.word);
    ToDo {
        look: Some(look),
        hold: Some(hold.hold),
        ..ToDo::new(what, Remedy::of(&hold.verdict, &hold.evidence).sentence)
    }
    .at(
        format!("/holds#hold-{}", hold.hold),
        format!("Settle hold {}", hold.hold),
    )
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
