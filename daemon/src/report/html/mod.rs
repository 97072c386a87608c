//! The report as one page that wants nothing from elsewhere: no script, no request, no font. It prints on A4 and on Letter,
//! and carries its own data, so that `inkdwell verify` can hold it against the journal.

mod batch;
mod shop;

use inkdwell_config::display::Units;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::picture::{Kind, Picture, svg};
use super::words::{per_cent, prints, verdict_words};
use super::{Known, Report, VerdictCount};
use crate::api::view::Moment;

/// The page's only style, which stands in it.
pub(crate) const STYLE: &str = include_str!("report.css");
/// What stands before and after the report's data in the page.
const DATA: (&str, &str) = ("<template id=\"inkdwell-report\">", "</template>");

/// A report as a page.
///
/// # Errors
/// When its data cannot be written as JSON.
pub fn page(report: &Report) -> Result<String, serde_json::Error> {
    let units = match report.shop.us_units {
        true => Units::Us,
        false => Units::Metric,
    };
    let data = serde_json::to_string(report)?;
    let title = title(report);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (first(report))
                main {
                    (overview(report))
                    @for own in &report.batches { (batch::batch(own, units)) }
                    (shop::shop(report, units))
                    (shop::integrity(report))
                }
                template id="inkdwell-report" { (data) }
            }
        }
    };
    Ok(page.into_string())
}

/// The data of a report's page; `None` where it is none.
pub fn data_of(page: &str) -> Option<String> {
    let (_, rest) = page.split_once(DATA.0)?;
    let (data, _) = rest.split_once(DATA.1)?;
    let plain = data.replace("&lt;", "<").replace("&gt;", ">");
    Some(plain.replace("&quot;", "\"").replace("&amp;", "&"))
}

/// What a report is about, and of which shop.
fn title(report: &Report) -> String {
    let shop = report
        .shop
        .name
        .known()
        .map_or("Dryer report", String::as_str);
    format!("{shop}: {}", report.period.title)
}

/// The answer, what it is about, and what to do.
fn first(report: &Report) -> Markup {
    let period = &report.period;
    let parts = [
        report.shop.name.known().cloned(),
        Some(period.title.clone()),
        period.station.as_ref().map(|own| format!("station {own}")),
        period.job.as_ref().map(|own| format!("job “{own}”")),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    html! {
        header {
            p.where { (parts.join(" · ")) }
            h1 { (report.answer.sentence) }
            (counts(&report.counts))
            @if !report.tomorrow.is_empty() {
                h3 { "What to do tomorrow" }
                ol.tomorrow {
                    @for advice in &report.tomorrow { li { (marked(&advice.what)) } }
                }
            }
            p.caution { (report.caution) }
            @for remark in &report.remarks { p.small { (marked(remark)) } }
        }
    }
}

/// Prose in which what can be typed stands between backticks.
fn marked(text: &str) -> Markup {
    html! {
        @for (place, part) in text.split('`').enumerate() {
            @if place % 2 == 1 { code { (part) } } @else { (part) }
        }
    }
}

fn counts(counts: &[VerdictCount]) -> Markup {
    html! {
        ul.counts {
            @for count in counts {
                li {
                    b { (count.prints) }
                    (verdict(&count.verdict, count.harm.as_deref()))
                }
            }
        }
    }
}

/// A verdict with its sign.
fn verdict(verdict: &str, harm: Option<&str>) -> Markup {
    let kind = Kind::of(verdict);
    let class = match kind {
        Kind::Good => "sign good",
        Kind::TooLittle => "sign little",
        Kind::TooMuch => "sign much",
        Kind::Open => "sign open",
    };
    html! { span class=(class) { (kind.sign()) } " " (verdict_words(verdict, harm)) }
}

/// All batches at a glance.
fn overview(report: &Report) -> Markup {
    if report.batches.len() < 2 {
        return html! {};
    }
    html! {
        h2 { "Batches" }
        div.wide {
            table {
                thead {
                    tr {
                        th { "Batch" } th { "Job" } th { "Ink on fabric" } th { "Station" } th.n { "Prints" }
                        th { "Verdicts" } th.n { "Good at least" } th { "Holds" }
                    }
                }
                tbody {
                    @for batch in &report.batches {
                        tr {
                            td { a href={ "#batch-" (batch.batch) } { (batch.batch) } }
                            td { (batch.job) }
                            td { (batch.ink.name) " on " (batch.fabric.name) }
                            td { (batch.station) }
                            td.n { (batch.proof.prints) }
                            td {
                                @for count in &batch.counts {
                                    div { (count.prints) " " (verdict(&count.verdict, count.harm.as_deref())) }
                                }
                            }
                            td.n {
                                @match &batch.proof.good_at_least {
                                    Known::Is(share) => (per_cent(*share)),
                                    Known::Not { .. } => "nothing proved",
                                }
                            }
                            td { (holds(batch)) }
                        }
                    }
                }
            }
        }
        p.small { "Good at least: the exact binomial bound at 95 % confidence, from the prints that a probe saw." }
    }
}

fn holds(batch: &super::Batch) -> String {
    let open = batch
        .holds
        .iter()
        .filter(|hold| hold.settled.is_none())
        .count();
    match (batch.holds.len(), open) {
        (0, _) => "none".to_owned(),
        (all, 0) => format!("{all}, settled"),
        (all, open) => format!("{all}, {open} open"),
    }
}

fn figure(picture: &Picture) -> Markup {
    html! {
        figure {
            (PreEscaped(svg(picture)))
            figcaption { (picture.caption) }
        }
    }
}

/// `2026-03-02 14:05:11`, by the clock on the wall.
fn time(moment: &Moment) -> String {
    let written: String = moment.at.chars().take(19).collect();
    written.replace('T', " ")
}

/// The time of the day alone.
fn hour(moment: &Moment) -> String {
    moment.at.chars().skip(11).take(8).collect()
}

fn money(cost: &super::Cost) -> String {
    match (&cost.money, cost.prints) {
        (_, 0) => "nothing".to_owned(),
        (Known::Is(money), count) => format!("{}, {money:.2} in blanks", prints(count)),
        (Known::Not { unknown }, count) => format!("{}; {unknown}", prints(count)),
    }
}
