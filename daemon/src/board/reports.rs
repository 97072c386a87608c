//! What every day came to.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use chrono::{Days, NaiveDate, NaiveTime};
use maud::{Markup, html};
use serde::Deserialize;

use super::batches::counts;
use super::form::done;
use super::holds::card;
use super::page::{Frame, Kept, Refused, page};
use super::report_forms;
use super::words::{counted, hour, look, mark};
use crate::api::Api;
use crate::api::refusal::Refusal;
use crate::api::view::{Clock, sentence};
use crate::journal::{Batches, Holds, PassQuery, Reader, VerdictCount};
use crate::report::When;
use crate::time::Micros;

/// So many days are listed.
const DAYS: u64 = 31;

/// When a day of the wall calendar begins and ends, in steady time.
fn bounds(day: NaiveDate, clock: &Clock) -> Option<(Micros, Micros)> {
    let (from, before) = when(day).shown(clock.zone)?;
    Some((clock.walls.when(from), clock.walls.when(before)))
}

/// A day as a report is asked about it.
pub(super) fn when(date: NaiveDate) -> When {
    When::Day {
        date,
        begins: NaiveTime::MIN,
    }
}

/// The day of an address.
pub(super) fn day_in_path(day: &str) -> Result<NaiveDate, Refusal> {
    day.parse().map_err(|_| {
        let day: String = day.chars().take(40).collect();
        Refusal::absent(format!("{day:?} is no day; write it as 2026-01-31"))
    })
}

/// Which day is wanted, where the calendar was used.
#[derive(Debug, Deserialize)]
pub(super) struct Wanted {
    day: Option<String>,
}

fn counted_between(
    reader: &Reader,
    from: Micros,
    before: Micros,
) -> Result<Vec<VerdictCount>, Refusal> {
    let query = PassQuery {
        from: Some(from),
        before: Some(before),
        ..PassQuery::default()
    };
    Ok(reader.verdict_counts(&query)?)
}

fn tallies(counts: &[VerdictCount]) -> Markup {
    html! {
        @for count in counts {
            @let look = look(count.verdict.as_deref(), count.harm.as_deref());
            span .tally { (mark(look)) (count.passes) " " span .faint { (look.word) } } " "
        }
    }
}

/// `GET /reports`
pub(super) async fn days(
    State(api): State<Arc<Api>>,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    if let Some(day) = wanted.day {
        return done(&format!("/reports/{}", day_in_path(&day)?));
    }
    let frame = Frame::now(&api, &headers).await?;
    let now = api.shift.now();
    let question = move |reader: &Reader, clock: &Clock| {
        let mut days = Vec::new();
        let today = clock.day(now).parse::<NaiveDate>().ok();
        let past = today.into_iter().flat_map(|today| {
            (0..DAYS).filter_map(move |ago| today.checked_sub_days(Days::new(ago)))
        });
        for day in past {
            if let Some((from, before)) = bounds(day, clock) {
                let counts = counted_between(reader, from, before)?;
                if !counts.is_empty() {
                    days.push((day, counts));
                }
            }
        }
        Ok(html! {
            h1 { "Reports" }
            @for (day, counts) in &days {
                div .row { p {
                    a href={ "/reports/" (day) } { (day.format("%A")) ", " (day) } " "
                    (tallies(counts))
                } }
            }
            @if days.is_empty() { p .calm { "No print has left the heat in the last " (DAYS) " days." } }
            form method="get" action="/reports" .sheet {
                label { "Another day" input type="date" name="day" required; }
                button { "Show it" }
            }
        })
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/reports", "Reports", Kept::Whole, &body))
}

/// `GET /reports/{day}`
pub(super) async fn day(
    State(api): State<Arc<Api>>,
    Path(day): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let date = day_in_path(&day)?;
    let question = move |reader: &Reader, clock: &Clock| {
        let Some((from, before)) = bounds(date, clock) else {
            return Err(Refusal::absent(format!(
                "{date} is out of the calendar's reach"
            )));
        };
        of_day(reader, clock, date, from, before)
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/reports", &day, Kept::Whole, &body))
}

fn of_day(
    reader: &Reader,
    clock: &Clock,
    day: NaiveDate,
    from: Micros,
    before: Micros,
) -> Result<Markup, Refusal> {
    let counts = counted_between(reader, from, before)?;
    let all: u64 = counts.iter().map(|count| count.passes).sum();
    let good = counts
        .iter()
        .filter(|count| look(count.verdict.as_deref(), None).tone == "good");
    let good: u64 = good.map(|count| count.passes).sum();
    let batches = reader.batches(Batches::Between(from, before))?;
    let mut holds = Vec::new();
    for kept in reader.holds(Holds::All)? {
        if kept.opened >= from && kept.opened < before {
            holds.push(card(reader, &kept, false, clock)?);
        }
    }
    let events = reader.events(from, before)?;
    Ok(html! {
        h1 { (day.format("%A")) ", " (day) }
        p .headline { (good) " of " (counted(all, "print", "prints")) " proved good" }
        p { (tallies(&counts)) }
        @if all > 0 { (forms(day)) }
        h2 { "Batches" }
        @for kept in &batches {
            div .row { p { a href={ "/batches/" (kept.batch.batch) } { (kept.batch.batch) ": " (kept.batch.job) } " " (counts_of(kept)) } }
        }
        @if batches.is_empty() { p { "None." } }
        h2 { "Held" }
        @for hold in &holds { (hold) }
        @if holds.is_empty() { p { "Nothing was held." } }
        h2 { "What happened" }
        ul .events { @for event in &events { li { span .faint { (hour(event.at, clock)) } " " (sentence(&event.event.what)) } } }
        @if events.is_empty() { p { "Nothing out of the ordinary." } }
    })
}

/// The ways to the whole report.
fn forms(day: NaiveDate) -> Markup {
    html! {
        p .forms {
            a .main href={ "/reports/" (day) "/" (report_forms::PAGE) } { "The whole report, to read and to print" }
            @for (form, name) in report_forms::FILES {
                a href={ "/reports/" (day) "/" (form) } download { (name) }
            }
        }
    }
}

fn counts_of(kept: &crate::journal::KeptBatch) -> Markup {
    counts(kept)
}
