//! Holds: what to pull, why, what can still be done, and settling it.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;

use super::batches::prints;
use super::form::{Sent, by, done};
use super::page::{Frame, Kept, Refused, page};
use super::todo::which;
use super::words::{day_and_minute, hour, look, mark};
use crate::api::Api;
use crate::api::extract::Told;
use crate::api::holds as api_holds;
use crate::api::refusal::Refusal;
use crate::api::view::{Clock, Remedy, Settlement};
use crate::journal::{Holds, KeptHold, Reader};
use crate::record::Settled;

/// So many settled holds are listed.
const SETTLED: usize = 40;

/// `GET /holds`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let open = reader.holds(Holds::Open)?;
        let settled = reader.holds(Holds::Settled)?;
        let cards = |holds: &[KeptHold]| {
            let holds = holds.iter().rev();
            let cards = holds.map(|hold| card(reader, hold, may_change, clock));
            cards.collect::<Result<Vec<_>, Refusal>>()
        };
        let from = settled.len().saturating_sub(SETTLED);
        let (open, settled) = (cards(&open)?, cards(&settled[from..])?);
        Ok(html! {
            h1 { "Holds" }
            p { "Prints that are not proved good wait here until somebody says what became of them. Pull them from the bin first." }
            h2 { "Open" }
            @for card in &open { (card) }
            @if open.is_empty() { p .calm { "No print is held." } }
            @if !settled.is_empty() { h2 { "Settled" } @for card in &settled { (card) } }
        })
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/holds", "Holds", Kept::Whole, &body))
}

/// A hold.
pub(super) fn card(
    reader: &Reader,
    kept: &KeptHold,
    may_change: bool,
    clock: &Clock,
) -> Result<Markup, Refusal> {
    let hold = &kept.hold;
    let batch = match hold.batch {
        Some(batch) => reader.batch(batch)?,
        None => None,
    };
    let mut passes = Vec::new();
    for pass in &kept.passes {
        passes.extend(reader.pass(*pass)?);
    }
    let look = look(Some(&hold.verdict), hold.harm.as_deref());
    let remedy = Remedy::of(&hold.verdict, &hold.evidence);
    let reason = passes
        .last()
        .and_then(|kept| kept.pass.judged.as_ref()?.reasons.first());
    let cost = batch.as_ref().and_then(|batch| batch.batch.blank_cost);
    Ok(html! {
        article .card id={ "hold-" (hold.hold) } aria-labelledby={ "hold-name-" (hold.hold) } {
            h3 id={ "hold-name-" (hold.hold) } { (mark(look)) "Hold " (hold.hold) ": " (which(&passes)) ", " (look.word) }
            p .faint {
                @if let Some(batch) = &batch { a href={ "/batches/" (batch.batch.batch) } { (batch.batch.job) } ", " }
                (hold.station) ", " (prints(passes.len())) ", since " (day_and_minute(kept.opened, clock))
                @if let Some(cost) = cost { ", blanks worth " (format!("{:.2}", cost * passes.len() as f64)) }
            }
            ul .picks {
                @for pass in &passes {
                    li { a href={ "/prints/" (pass.pass.pass) } { (super::out::name(pass)) } " out " (hour(pass.pass.end, clock)) }
                }
            }
            @if let Some(reason) = reason { p { (reason) } }
            p { strong { (remedy.sentence) } }
            @match &kept.settled {
                Some((at, settled)) => p { "Settled: " strong { (outcome(settled.outcome)) } ", " (settled.by) ", "
                    (day_and_minute(*at, clock)) @if !settled.why.is_empty() { ": " (settled.why) } },
                None => @if may_change { (settling(hold.hold, remedy.may_re_run)) },
            }
        }
    })
}

fn outcome(settled: Settled) -> &'static str {
    match settled {
        Settled::ReRun => "sent through once more",
        Settled::Scrapped => "scrapped",
        Settled::Released => "released",
    }
}

fn settling(hold: u64, may_re_run: bool) -> Markup {
    let choices = [Settled::ReRun, Settled::Scrapped, Settled::Released];
    let choices = choices
        .into_iter()
        .filter(|own| may_re_run || *own != Settled::ReRun);
    html! {
        form method="post" action="/do/settle-hold" .sheet {
            input type="hidden" name="hold" value=(hold);
            fieldset {
                legend { "What became of them" }
                @for settled in choices {
                    label .tick { input type="radio" name="outcome" value=(word(settled)) required; (outcome(settled)) }
                }
            }
            label { "Why" input name="why" required maxlength="4000" autocomplete="off"; }
            (by())
            button { "Settle it" }
        }
    }
}

fn word(settled: Settled) -> &'static str {
    match settled {
        Settled::ReRun => "re-run",
        Settled::Scrapped => "scrapped",
        Settled::Released => "released",
    }
}

/// What the form says.
#[derive(Deserialize)]
pub(super) struct ToSettle {
    hold: String,
    outcome: Settled,
    why: String,
    by: String,
}

/// `POST /do/settle-hold`
pub(super) async fn settle(
    State(api): State<Arc<Api>>,
    Sent(form): Sent<ToSettle>,
) -> Result<Response, Refused> {
    let new = Settlement {
        outcome: form.outcome,
        by: form.by,
        why: form.why,
    };
    let _shown = api_holds::settle(State(api), Path(form.hold), Told(new)).await?;
    done("/holds")
}
