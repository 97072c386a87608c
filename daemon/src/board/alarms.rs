//! Alarms: what stands, what to do first about it, and saying that it was seen.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;

use super::form::{Sent, by, done, number};
use super::page::{Frame, Kept, Refused, page};
use super::words::capital;
use crate::api::Api;
use crate::api::alarms as api_alarms;
use crate::api::extract::Told;
use crate::api::refusal::Refusal;
use crate::api::view::{Acknowledgement, AlarmChangeView, AlarmView, ByWhy, ToShelve, order};
use crate::record::Record;

/// So many changes are listed.
const CHANGES: u64 = 60;

/// How urgent an alarm is, as a sign.
pub(super) fn sign(priority: &str) -> (&'static str, &'static str) {
    match priority {
        "high" => ("▲", "over"),
        "medium" => ("■", "unproven"),
        _ => ("▪", "none"),
    }
}

/// Whether somebody still has to say that they have seen it.
pub(super) fn wants_eyes(state: &str) -> bool {
    matches!(
        state,
        "unacknowledged" | "returned-unacknowledged" | "latched-unacknowledged"
    )
}

/// The alarms that stand, what wants to be seen first.
pub(super) async fn standing(api: &Api) -> Result<Vec<AlarmView>, Refusal> {
    let (mut alarms, units) = api
        .look(|keeper, _| {
            (
                keeper.alarms().cloned().collect::<Vec<_>>(),
                keeper.shop().units,
            )
        })
        .await?;
    alarms.sort_by_key(order);
    let told = api.read(move |_, clock| {
        let told = alarms
            .iter()
            .map(|alarm| AlarmView::new(alarm, units, clock));
        Ok(told.filter(stands).collect())
    });
    told.await
}

/// Whether an alarm is to be shown. (What is suppressed by design is shown while its condition holds.)
pub(super) fn stands(alarm: &AlarmView) -> bool {
    match alarm.state.as_str() {
        "normal" => false,
        "suppressed-by-design" => alarm.holds,
        _ => true,
    }
}

/// `GET /alarms`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let alarms = standing(&api).await?;
    let history = api
        .read(|reader, clock| {
            let kept = reader.alarm_history(None, CHANGES)?;
            let changes = kept.iter().filter_map(|kept| match &kept.record {
                Record::AlarmChanged(changed) => {
                    let number = kept.number.0;
                    Some(AlarmChangeView::new(number, kept.at, changed, clock))
                }
                _ => None,
            });
            Ok(changes.collect::<Vec<_>>())
        })
        .await?;
    let may_change = frame.may_change;
    let body = html! {
        h1 { "Alarms" }
        @for alarm in &alarms { (card(alarm, may_change)) }
        @if alarms.is_empty() { p .calm { "None stands." } }
        h2 { "What happened" }
        ul .events {
            @for change in &history {
                li {
                    span .faint { (short(&change.at.at)) } " " strong { (change.alarm) } ": " (change.change)
                    @if !change.words.is_empty() { ". " (change.words) }
                    @if let Some(said) = &change.said { " (" (said.by) @if !said.why.is_empty() { ": " (said.why) } ")" }
                }
            }
        }
        @if history.is_empty() { p { "Nothing yet." } }
        @if may_change {
            details {
                summary { "Try the alarms" }
                form method="post" action="/do/drill" .sheet {
                    p { "A marked test alarm goes through every way out." }
                    label { "Why" input name="why" required maxlength="4000" autocomplete="off"; }
                    (by())
                    button { "Raise it" }
                }
            }
        }
    };
    Ok(page(&frame, "/alarms", "Alarms", Kept::Whole, &body))
}

fn card(alarm: &AlarmView, may_change: bool) -> Markup {
    let (mark, tone) = sign(&alarm.priority);
    html! {
        article .card id={ "alarm-" (alarm.alarm) } {
            h2 { span class={ "mark " (tone) } aria-hidden="true" { (mark) } span .unseen { (alarm.priority) " " }
                (capital(&alarm.title)) @if let Some(of) = &alarm.of { ", " (of) } @if alarm.drill { " (a drill)" } }
            p { (alarm.words) }
            p .headline.step { (alarm.first) }
            p { (alarm.then) }
            p .faint { (alarm.time) }
            @if let Some(caution) = &alarm.caution { p .said { (caution) } }
            p .faint {
                (state(alarm)) ", since " (short(&alarm.since.at))
                @if alarm.count > 1 { ", " (alarm.count) " times" }
                @if let Some(until) = &alarm.shelved_until { ", until " (short(&until.at)) }
                @if let Some(said) = &alarm.said { ", " (said.by) @if !said.why.is_empty() { ": " (said.why) } }
                @if let Some(first) = &alarm.follows { ", follows from " (first) }
            }
            @if may_change { (deals(alarm)) }
        }
    }
}

/// The state in plain words.
fn state(alarm: &AlarmView) -> &'static str {
    match alarm.state.as_str() {
        "unacknowledged" => "nobody has said that they saw it",
        "acknowledged" => "somebody has seen it",
        "returned-unacknowledged" => "over, and nobody has said that they saw it",
        "latched-unacknowledged" => "over, but it stays until it is seen and reset",
        "latched-acknowledged" => "over and seen; reset it",
        "shelved" => "put aside",
        "suppressed-by-design" => "held back by design",
        "out-of-service" => "out of service",
        _ => "normal",
    }
}

fn deals(alarm: &AlarmView) -> Markup {
    let state = alarm.state.as_str();
    html! {
        @if wants_eyes(state) { (deal(alarm, "acknowledge", "I have seen it", false)) }
        @match state {
            "latched-acknowledged" => (deal(alarm, "reset", "Reset it", true)),
            "shelved" => (deal(alarm, "unshelve", "Take it back from the shelf", true)),
            "out-of-service" => (deal(alarm, "put-back", "Put it back into service", true)),
            _ => details {
                summary { "Put it aside" }
                form method="post" action="/do/alarm" .sheet {
                    input type="hidden" name="alarm" value=(alarm.alarm);
                    input type="hidden" name="deal" value="shelve";
                    label { "For how many minutes" input name="minutes" inputmode="numeric" required; }
                    label { "Why" input name="why" required maxlength="4000" autocomplete="off"; }
                    (by())
                    button { "Put it aside" }
                }
            },
        }
    }
}

fn deal(alarm: &AlarmView, deal: &str, words: &str, with_why: bool) -> Markup {
    html! {
        form method="post" action="/do/alarm" .sheet {
            input type="hidden" name="alarm" value=(alarm.alarm);
            input type="hidden" name="deal" value=(deal);
            @if with_why { label { "Why" input name="why" required maxlength="4000" autocomplete="off"; } }
            (by())
            button { (words) }
        }
    }
}

/// Day and minute of a written moment.
fn short(at: &str) -> String {
    at.chars().take(16).collect::<String>().replace('T', " ")
}

/// What a form about an alarm says.
#[derive(Deserialize)]
pub(super) struct Dealing {
    alarm: String,
    deal: String,
    #[serde(default)]
    minutes: String,
    #[serde(default)]
    why: String,
    by: String,
}

/// `POST /do/alarm`
pub(super) async fn deal_with(
    State(api): State<Arc<Api>>,
    Sent(form): Sent<Dealing>,
) -> Result<Response, Refused> {
    let Dealing {
        alarm,
        deal,
        minutes,
        why,
        by,
    } = form;
    let (state, path) = (State(api), Path(alarm));
    let _shown = match deal.as_str() {
        "acknowledge" => {
            api_alarms::acknowledge(state, path, Told(Acknowledgement { by, why })).await?
        }
        "reset" => api_alarms::reset(state, path, Told(ByWhy { by, why })).await?,
        "unshelve" => api_alarms::unshelve(state, path, Told(ByWhy { by, why })).await?,
        "put-back" => api_alarms::put_back(state, path, Told(ByWhy { by, why })).await?,
        "shelve" => {
            let minutes: f64 = number("For how many minutes", &minutes, "30")?;
            let told = Told(ToShelve {
                for_s: minutes * 60.0,
                by,
                why,
            });
            api_alarms::shelve(state, path, told).await?
        }
        _ => {
            return Err(Refused(Refusal::wrong(
                "the form asks for nothing that can be done; open its page again",
            )));
        }
    };
    done("/alarms")
}

/// What the drill's form says.
#[derive(Deserialize)]
pub(super) struct Drill {
    why: String,
    by: String,
}

/// `POST /do/drill`
pub(super) async fn drill(
    State(api): State<Arc<Api>>,
    Sent(Drill { why, by }): Sent<Drill>,
) -> Result<Response, Refused> {
    let _shown = api_alarms::drill(State(api), Told(ByWhy { by, why })).await?;
    done("/alarms")
}
