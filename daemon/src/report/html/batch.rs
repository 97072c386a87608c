//! One batch on the page.

use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use maud::{Markup, html};

use super::super::picture;
use super::super::words::{prints as so_many, verdict_words};
use super::super::{Batch, Figures, Hold, Known, Print, Settings, Spread};
use super::{figure, hour, money, time, verdict};
use crate::record::{Dose, Settled};

/// Everything of a batch.
pub(super) fn batch(batch: &Batch, units: Units) -> Markup {
    html! {
        section {
            h2 id={ "batch-" (batch.batch) } { "Batch " (batch.batch) ": " (batch.job) }
            p {
                @for (place, count) in batch.counts.iter().enumerate() {
                    @if place > 0 { ", " }
                    (count.prints) " " (verdict(&count.verdict, count.harm.as_deref()))
                }
                @if batch.counts.is_empty() { "No print." } @else { "." }
            }
            p { (batch.proof.words) }
            (settings(batch, units))
            @if let Some(rides) = picture::rides(batch, units) { (figure(&rides)) }
            @else if let Known::Not { unknown } = &batch.rides { p.small { "Rides: " (unknown) } }
            @for figures in &batch.figures { (what_they_got(batch, figures, units)) }
            (holds(batch))
            (sign_offs(batch))
            @if !batch.notes.is_empty() {
                h3 { "Notes" }
                @for note in &batch.notes {
                    p { (note.note) " " span.small { (time(&note.written.at)) " by " (note.written.by) } }
                }
            }
            (prints(batch, units))
        }
    }
}

fn settings(batch: &Batch, units: Units) -> Markup {
    let Settings {
        belt_m_per_min,
        recipe,
    } = &batch.settings;
    let speed = |own: f64| units.speed(MetresPerSecond(own / 60.0));
    let closed = batch
        .closed
        .as_ref()
        .map_or("still open".to_owned(), |own| {
            format!("closed {} by {}", hour(&own.at), own.by)
        });
    html! {
        dl {
            dt { "Ran" }
            dd { (time(&batch.opened.at)) " by " (batch.opened.by) ", " (closed) ", at " (batch.station) }
            dt { "Ink" }
            dd {
                (batch.ink.name) ": " (batch.ink.law)
                div.small { "Source: " (batch.ink.source) }
            }
            dt { "Fabric" }
            dd {
                (batch.fabric.name)
                @if batch.fabric.limits.is_empty() { ": no limit is known" }
                @for limit in &batch.fabric.limits {
                    "; " (verdict_words("overheated", Some(&limit.harm))) " by " (limit.law)
                }
                div.small { "Source: " (batch.fabric.source) }
            }
            dt { "Belt" }
            dd {
                @match belt_m_per_min {
                    Known::Is(span) => { (speed(span.mean)) ", from " (speed(span.least)) " to " (speed(span.greatest)) }
                    Known::Not { unknown } => (unknown),
                }
            }
            dt { "Recipe" }
            dd {
                @match recipe {
                    Known::Not { unknown } => (unknown),
                    Known::Is(own) => {
                        (own.recipe)
                        @if let Some(belt) = own.belt_m_per_min { ", belt " (speed(belt)) }
                        @for (zone, at) in &own.zones_c { ", " (zone) " " (units.temperature(Celsius(*at))) }
                        @if own.departures.is_empty() { "; never left" }
                        @for left in &own.departures {
                            div {
                                "Left at " (hour(&left.at)) ": " (left.what) ", "
                                @match left.lasted_s {
                                    Some(lasted) => { "for " (format!("{lasted:.0}")) " s" }
                                    None => "and not back when the batch ended",
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn what_they_got(batch: &Batch, figures: &Figures, units: Units) -> Markup {
    let celsius = |own: f64| format!("{:.1}", units.temperature_number(Celsius(own)));
    let plain = |own: f64| format!("{own:.1}");
    let dose = |own: f64| format!("{own:.2}");
    html! {
        h3 { (so_many(figures.prints)) " " (figures.evidence) }
        table {
            thead {
                tr {
                    th { "" } th.n { "least" } th.n { "quarter below" } th.n { "half below" } th.n { "quarter above" }
                    th.n { "greatest" } th.n { "mean" }
                }
            }
            tbody {
                (row(&format!("peak, {}", units.degree()), &figures.peak_c, &celsius))
                (row("time above, s", &figures.time_above_s, &plain))
                @if let Some(cure) = &figures.cure_best { (row("cure dose", cure, &dose)) }
                @if let Some(cure) = &figures.cure_low { (row("cure dose, low end", cure, &dose)) }
                @for harm in &figures.harms {
                    (row(&format!("{} dose, high end", harm.harm), &harm.high, &dose))
                }
            }
        }
        p.small {
            "Weakest cure: "
            @match &figures.cure_low {
                Some(cure) => a href={ "#pass-" (cure.least_pass) } { "pass " (cure.least_pass) },
                None => "not asked for between colours",
            }
            ". Hottest: " a href={ "#pass-" (figures.peak_c.greatest_pass) } { "pass " (figures.peak_c.greatest_pass) } ". "
            @match &figures.trend {
                Known::Is(trend) => {
                    "The peak " @if trend.over_all_c < 0.0 { "fell" } @else { "climbed" } " by "
                    (units.difference(inkdwell_config::quantity::CelsiusDifference(trend.over_all_c.abs())))
                    " over the batch (by chance: " (chance(trend.by_chance)) "). "
                }
                Known::Not { unknown } => { (unknown) " " }
            }
            @match &figures.capability {
                Known::Is(own) => {
                    "Capability of the cure, Cpk: " (dose(own.cpk.best)) ", with 95 % confidence from "
                    (dose(own.cpk.low)) " to " (dose(own.cpk.high)) ", of " (so_many(own.prints)) "."
                }
                Known::Not { unknown } => { "No capability: " (unknown) }
            }
        }
        @if let Some(picture) = picture::prints(batch, figures, units) { (figure(&picture)) }
    }
}

fn chance(share: f64) -> String {
    match share < 0.001 {
        true => "less than 1 in 1000".to_owned(),
        false => format!("{:.1} %", share * 100.0),
    }
}

fn row(name: &str, spread: &Spread, tell: &dyn Fn(f64) -> String) -> Markup {
    let figures = [
        spread.least,
        spread.lower_quartile,
        spread.median,
        spread.upper_quartile,
        spread.greatest,
        spread.mean,
    ];
    html! {
        tr {
            td { (name) }
            @for figure in figures { td.n { (tell(figure)) } }
        }
    }
}

fn holds(batch: &Batch) -> Markup {
    if batch.holds.is_empty() {
        return html! { h3 { "Holds" } p { "None." } };
    }
    html! {
        h3 { "Holds" }
        table {
            thead { tr { th { "Hold" } th { "Why" } th { "Prints" } th { "Opened" } th { "Settled" } } }
            tbody {
                @for hold in &batch.holds {
                    tr {
                        td { (hold.hold) }
                        td { (verdict(&hold.verdict, hold.harm.as_deref())) }
                        td { (held(batch, hold)) }
                        td { (time(&hold.opened)) }
                        td { (settled(hold)) }
                    }
                }
            }
        }
        p { "Scrapped: " (money(&batch.scrapped)) "." }
    }
}

/// So many prints of a hold are named.
const NAMED: usize = 40;

fn held(batch: &Batch, hold: &Hold) -> Markup {
    let print = |pass: u64| {
        let own = batch.prints.iter().find(|print| print.pass == pass);
        own.and_then(|print| print.print).unwrap_or(pass)
    };
    html! {
        @for (place, pass) in hold.passes.iter().take(NAMED).enumerate() {
            @if place > 0 { ", " }
            a href={ "#pass-" (pass) } { (print(*pass)) }
        }
        @if hold.passes.len() > NAMED { " and " (hold.passes.len() - NAMED) " more" }
    }
}

fn settled(hold: &Hold) -> Markup {
    let Some(settled) = &hold.settled else {
        return html! { b { "open" } };
    };
    let word = match settled.outcome {
        Settled::ReRun => "re-run",
        Settled::Scrapped => "scrapped",
        Settled::Released => "released",
    };
    html! { (word) ": " (settled.why) " " span.small { (time(&settled.decided.at)) " by " (settled.decided.by) } }
}

fn sign_offs(batch: &Batch) -> Markup {
    if batch.sign_offs.tests.is_empty() {
        return html! { h3 { "Sign-off tests" } p { "None recorded. A wash test is what proves cure in the end." } };
    }
    html! {
        h3 { "Sign-off tests" }
        table {
            thead { tr { th { "Test" } th { "Print" } th { "Result" } th { "Predicted" } th { "By" } } }
            tbody {
                @for test in &batch.sign_offs.tests {
                    tr {
                        td { (test.method) }
                        td {
                            @match test.pass {
                                Some(pass) => a href={ "#pass-" (pass) } { "pass " (pass) },
                                None => "not said which",
                            }
                        }
                        td { @if test.passed { "passed" } @else { b { "failed" } } ": " (test.result) }
                        td {
                            @match (&test.verdict, test.cure) {
                                (Some(own), Some(cure)) => { (own) ", cure " (doses(&cure)) }
                                (Some(own), None) => (own),
                                _ => "–",
                            }
                        }
                        td { (test.recorded.by) " " span.small { (time(&test.recorded.at)) } }
                    }
                }
            }
        }
        @for review in &batch.sign_offs.review { p.review { (review) } }
    }
}

fn doses(dose: &Dose) -> String {
    format!("{:.2} ({:.2} to {:.2})", dose.best, dose.low, dose.high)
}

fn prints(batch: &Batch, units: Units) -> Markup {
    if batch.prints.is_empty() {
        return html! {};
    }
    html! {
        h3 { "Every print" }
        div.wide {
            table {
                thead {
                    tr {
                        th.n { "Print" } th { "In" } th { "Verdict" } th { "Evidence" } th.n { "Peak, " (units.degree()) }
                        th.n { "Above, s" } th { "Cure dose" } th { "Worst harm dose" } th { "Proof" }
                    }
                }
                tbody { @for own in &batch.prints { (print(own, units)) } }
            }
        }
        p.small {
            "Doses: best, and in brackets at the low and the high end of the probe's uncertainty (k = 2); 1 is enough for the \
             ink, and the limit for the fabric. Proof: the pass and the record of the journal's chain."
        }
    }
}

fn print(print: &Print, units: Units) -> Markup {
    let number = |own: Option<f64>, tell: &dyn Fn(f64) -> f64| {
        own.map_or("–".to_owned(), |own| format!("{:.1}", tell(own)))
    };
    let worst = print
        .harms
        .iter()
        .max_by(|a, b| a.dose.high.total_cmp(&b.dose.high));
    html! {
        tr id={ "pass-" (print.pass) } {
            td.n { (print.print.map_or("–".to_owned(), |own| own.to_string())) }
            td { (hour(&print.at)) }
            td {
                (verdict(&print.verdict, print.harm.as_deref()))
                @for reason in &print.reasons { div.small { (reason) } }
            }
            td { (print.evidence) }
            td.n { (number(print.peak_c, &|own| units.temperature_number(Celsius(own)))) }
            td.n { (number(print.time_above_s, &|own| own)) }
            td { (print.cure.map_or("–".to_owned(), |own| doses(&own))) }
            td {
                @match worst {
                    Some(own) => { (own.harm) " " (doses(&own.dose)) }
                    None => "–",
                }
            }
            td {
                "pass " (print.pass) ", record " (print.record)
                @for hold in &print.holds { ", hold " (hold) }
            }
        }
    }
}
