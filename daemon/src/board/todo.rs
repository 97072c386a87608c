//! What to do, the most urgent first.

use maud::{Markup, html};

use super::alarms::{sign, wants_eyes};
use super::now::{ShopNow, StationNow};
use super::words::{Look, capital, counted, hour, look, mark, numbers};
use crate::api::view::{AlarmView, Remedy};
use crate::journal::{KeptHold, KeptPass};

/// Something to be done.
pub(super) struct ToDo {
    /// How the verdict looks that it is about.
    look: Option<Look>,
    /// The mark and the tone of the alarm that it is about.
    sign: Option<(&'static str, &'static str)>,
    /// That alarm.
    pub(super) alarm: Option<String>,
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
            sign: None,
            alarm: None,
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

    /// Its mark; `None` where it is about neither a print nor an alarm.
    pub(super) fn mark(&self) -> Option<&'static str> {
        let look = self.look.map(|look| look.mark);
        look.or(self.sign.map(|(mark, _)| mark))
    }

    /// Its tone.
    pub(super) fn tone(&self) -> &'static str {
        let usual = if self.is_urgent { "over" } else { "idle" };
        let sign = self.sign.map_or(usual, |(_, tone)| tone);
        self.look.map_or(sign, |look| look.tone)
    }
}

/// What is to be done at a station, the most urgent first.
pub(super) fn of(shop: &ShopNow, station: &StationNow) -> Vec<ToDo> {
    let mut all = Vec::new();
    if shop.disk_full {
        let until = "Until then nothing is recorded.";
        all.push(ToDo::new("Make room on the disk.", until).urgent());
    }
    let alarms = shop.alarms_at(&station.id);
    let alarms = alarms.filter(|own| own.state != "shelved");
    all.extend(alarms.map(alarmed));
    if station.is_blind {
        let down = shop.down.iter();
        let down =
            down.map(|(source, why)| ToDo::new(format!("Look after {source}."), why).urgent());
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
            @if let Some((mark, tone)) = to_do.sign { span class={ "mark " (tone) } aria-hidden="true" { (mark) } }
            strong { (to_do.what) } " "
            @if !to_do.more.is_empty() { (to_do.more) " " }
            @if let Some((page, words)) = &to_do.link { a href=(page) { (words) } }
        }
    }
}

fn alarmed(alarm: &AlarmView) -> ToDo {
    let why = format!("{}: {}", capital(&alarm.title), alarm.words);
    ToDo {
        sign: Some(sign(&alarm.priority)),
        alarm: Some(alarm.alarm.clone()),
        is_urgent: wants_eyes(&alarm.state),
        ..ToDo::new(&alarm.first, why)
    }
    .at("/alarms", "Alarm")
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
