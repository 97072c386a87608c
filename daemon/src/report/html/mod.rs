//! The report as one page that wants nothing from elsewhere: no script, no request, no font. It prints on A4 and on Letter,
//! and carries its own data, so that `inkdwell verify` can hold it against the journal.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::contents::{Block, Line, Piece, Table, contents, title};
use super::picture::{Kind, Picture, svg};
use super::words::verdict_words;
use super::{Report, VerdictCount};

/// The page's only style, which stands in it.
pub(crate) const STYLE: &str = include_str!("report.css");
/// What stands before and after the report's data in the page.
const DATA: (&str, &str) = ("<template id=\"inkdwell-report\">", "</template>");

/// A report as a page.
///
/// # Errors
/// When its data cannot be written as JSON.
pub fn page(report: &Report) -> Result<String, serde_json::Error> {
    let data = serde_json::to_string(report)?;
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title(report)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main { @for own in contents(report) { (block(&own)) } }
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

fn block(block: &Block) -> Markup {
    match block {
        Block::About(text) => html! { p.where { (text) } },
        Block::Answer(text) => html! { h1 { (text) } },
        Block::Counts(counts) => large(counts),
        Block::Heading { level, id, text } => match level {
            2 => html! { h2 id=[id.as_ref()] { (text) } },
            _ => html! { h3 id=[id.as_ref()] { (text) } },
        },
        Block::Prose(own) => html! { p { (line(own)) } },
        Block::Small(own) => html! { p.small { (line(own)) } },
        Block::Caution(text) => html! { p.caution { (text) } },
        Block::Review(text) => html! { p.review { (text) } },
        Block::Steps(steps) => html! { ol.tomorrow { @for own in steps { li { (line(own)) } } } },
        Block::Facts(facts) => html! {
            dl { @for (name, own) in facts { dt { (name) } dd { (line(own)) } } }
        },
        Block::Table(own) => table(own),
        Block::Figure(picture) => figure(picture),
    }
}

fn large(counts: &[VerdictCount]) -> Markup {
    html! {
        ul.counts {
            @for count in counts {
                li {
                    b { (count.prints) }
                    (verdict(Kind::of(&count.verdict), &verdict_words(&count.verdict, count.harm.as_deref())))
                }
            }
        }
    }
}

/// A verdict with its sign.
fn verdict(kind: Kind, words: &str) -> Markup {
    let class = match kind {
        Kind::Good => "sign good",
        Kind::TooLittle => "sign little",
        Kind::TooMuch => "sign much",
        Kind::Open => "sign open",
    };
    html! { span class=(class) { (kind.sign()) } " " (words) }
}

/// A line; what follows a turn stands in an element of its own.
fn line(line: &Line) -> Markup {
    let mut parts = line.0.split(|piece| *piece == Piece::Turn);
    let first = parts.next().unwrap_or_default();
    html! {
        @for own in first { (piece(own)) }
        @for part in parts { div { @for own in part { (piece(own)) } } }
    }
}

fn piece(piece: &Piece) -> Markup {
    match piece {
        Piece::Text(text) => html! { (text) },
        Piece::Strong(text) => html! { b { (text) } },
        Piece::Small(text) => html! { span.small { (text) } },
        Piece::Code(text) => html! { code { (text) } },
        Piece::Hash(text) => html! { span.hash { (text) } },
        Piece::Verdict(kind, words) => verdict(*kind, words),
        Piece::Link(id, text) => html! { a href={ "#" (id) } { (text) } },
        Piece::Turn => html! {},
    }
}

/// A table, which may be wider than a phone: then it is moved sideways, by finger or by key.
fn table(table: &Table) -> Markup {
    let side = |place: usize| {
        let right = table.columns.get(place).is_some_and(|own| own.right);
        right.then_some("n")
    };
    html! {
        div.wide tabindex="0" role="region" aria-label=(table.told) {
            table {
                thead {
                    tr {
                        @for (place, own) in table.columns.iter().enumerate() {
                            @if own.head.is_empty() { td {} } @else { th class=[side(place)] scope="col" { (own.head) } }
                        }
                    }
                }
                tbody {
                    @for row in &table.rows {
                        tr id=[row.id.as_ref()] {
                            @for (place, own) in row.cells.iter().enumerate() { td class=[side(place)] { (line(own)) } }
                        }
                    }
                }
            }
        }
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
