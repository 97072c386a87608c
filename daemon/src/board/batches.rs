//! Batches: opening one, what is open, what was; one in full; prints that have none.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use inkdwell_config::station::StationKind;
use maud::{Markup, html};
use serde::Deserialize;

use super::form::{Sent, by, done, number, some_number};
use super::holds;
use super::page::{Frame, Kept, Refused, page};
use super::words::{counted, day_and_minute, hour, look, look_of, mark};
use crate::api::Api;
use crate::api::extract::{Told, absent, number as number_in_path};
use crate::api::view::{By, Clock, NewBatch, NewNote, ToAssign};
use crate::api::{batches as api_batches, refusal::Refusal};
use crate::journal::{Batches, Holds, KeptBatch, KeptPass, PassQuery, Reader};

/// So many batches are listed.
const NEWEST: u64 = 60;
/// So many prints without a batch are listed.
const UNASSIGNED: u64 = 60;

/// What a batch can be of.
struct Choices {
    stations: Vec<(String, String, StationKind)>,
    inks: Vec<(String, String)>,
    fabrics: Vec<(String, String)>,
}

async fn choices(api: &Api) -> Result<Choices, Refusal> {
    api.look(|keeper, _| {
        let (shop, library) = (keeper.shop(), keeper.library());
        let stations = shop.stations.iter();
        let inks = library.inks().iter();
        let fabrics = library.fabrics().iter();
        Choices {
            stations: stations
                .map(|own| (own.id.clone(), own.name.clone(), own.kind))
                .collect(),
            inks: inks.map(|ink| (ink.id.clone(), ink.name.clone())).collect(),
            fabrics: fabrics
                .map(|own| (own.id.clone(), own.name.clone()))
                .collect(),
        }
    })
    .await
}

/// `GET /batches`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let choices = choices(&api).await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let batches = reader.batches(Batches::Newest(NEWEST))?;
        let recipes = reader.recipes_in_force()?;
        let recipes: Vec<(u64, String)> = recipes
            .iter()
            .map(|kept| {
                let own = &kept.recipe;
                (
                    own.recipe,
                    format!("{} on {} at {}", own.ink, own.fabric, own.station),
                )
            })
            .collect();
        let without = reader.passes(&PassQuery {
            without_batch: true,
            newest: Some(UNASSIGNED),
            ..PassQuery::default()
        })?;
        Ok(html! {
            h1 { "Batches" }
            @if may_change { (opening(&choices, &recipes)) }
            (table(&batches, clock))
            @if !without.is_empty() { (unassigned(&without, &batches, may_change, clock)) }
        })
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/batches", "Batches", Kept::Whole, &body))
}

fn opening(choices: &Choices, recipes: &[(u64, String)]) -> Markup {
    let has_flash = choices
        .stations
        .iter()
        .any(|own| own.2 == StationKind::FlashUnit);
    html! {
        details .sheet {
            summary { "Open a batch" }
            form method="post" action="/do/open-batch" {
                label { "Job" input name="job" required maxlength="200" autocomplete="off"; }
                label { "Station" select name="station" {
                    @for (id, name, _) in &choices.stations { option value=(id) { (name) } }
                } }
                label { "Ink" select name="ink" { @for (id, name) in &choices.inks { option value=(id) { (name) } } } }
                label { "Fabric" select name="fabric" { @for (id, name) in &choices.fabrics { option value=(id) { (name) } } } }
                label { "How many prints" input name="quantity" inputmode="numeric"; }
                label { "A blank costs" input name="blank_cost" inputmode="decimal"; }
                label { "Mesh (threads an inch)" input name="mesh" inputmode="decimal"; }
                label { "Recipe" select name="recipe" {
                    option value="" { "none" }
                    @for (number, of) in recipes { option value=(number) { (number) ": " (of) } }
                } }
                @if has_flash {
                    label .tick { input type="checkbox" name="last_heat" value="yes"; "The flash unit is the last heat" }
                }
                (by())
                button { "Open it" }
                p .faint { "The batch that is open at that station is closed." }
            }
        }
    }
}

fn table(batches: &[KeptBatch], clock: &Clock) -> Markup {
    html! {
        div .wide tabindex="0" role="region" aria-label="Batches" { table {
            thead { tr {
                th scope="col" { "Batch" } th scope="col" { "Job" } th scope="col" { "Prints" }
                th scope="col" { "Opened" } th scope="col" { "Closed" } th scope="col" { "Ink, fabric" }
            } }
            tbody {
                @for kept in batches {
                    tr {
                        th scope="row" { a href={ "/batches/" (kept.batch.batch) } { (kept.batch.batch) } }
                        td { (kept.batch.job) }
                        td { (counts(kept)) }
                        td .time { (day_and_minute(kept.opened, clock)) }
                        td .time { @match &kept.closed { Some((at, _)) => (day_and_minute(*at, clock)), None => strong { "open" } } }
                        td { (kept.batch.ink) ", " (kept.batch.fabric) }
                    }
                }
            }
        } }
        @if batches.is_empty() { p { "No batch was opened yet." } }
    }
}

/// Prints by their verdicts.
pub(super) fn counts(kept: &KeptBatch) -> Markup {
    let done: u64 = kept.counts.iter().map(|count| count.passes).sum();
    html! {
        span .tally { (done) @if let Some(of) = kept.batch.quantity { " of " (of) } } " "
        @for count in &kept.counts {
            @let look = look(count.verdict.as_deref(), count.harm.as_deref());
            span .tally { " " (mark(look)) (count.passes) }
        }
    }
}

fn unassigned(
    without: &[KeptPass],
    batches: &[KeptBatch],
    may_change: bool,
    clock: &Clock,
) -> Markup {
    html! {
        h2 { "Prints without a batch" }
        p { "Nobody said what they were, so that nothing is said of them. Give them to their batch, and they are judged by its laws." }
        form method="post" action="/do/assign" .sheet {
            ul .picks {
                @for kept in without {
                    li { label .tick {
                        @if may_change { input type="checkbox" name="passes" value=(kept.pass.pass) data-pick[true]; }
                        "Pass " (kept.pass.pass) ", " (kept.pass.station) ", out " (day_and_minute(kept.pass.end, clock))
                    } }
                }
            }
            @if may_change && !batches.is_empty() {
                label { "Batch" select name="batch" {
                    @for kept in batches { option value=(kept.batch.batch) { (kept.batch.batch) ": " (kept.batch.job) " (" (kept.batch.station) ")" } }
                } }
                (by())
                button { "Give them to it" }
            }
        }
    }
}

/// `GET /batches/{batch}`
pub(super) async fn one(
    State(api): State<Arc<Api>>,
    Path(batch): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let batch = number_in_path("batch", &batch)?;
    let frame = Frame::now(&api, &headers).await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.batch(batch)?.ok_or_else(|| absent("batch", batch))?;
        let passes = reader.passes(&PassQuery {
            batch: Some(batch),
            newest: Some(2000),
            ..PassQuery::default()
        })?;
        let holds = reader.holds(Holds::OfBatch(batch))?;
        let holds = holds
            .iter()
            .map(|hold| holds::card(reader, hold, may_change, clock));
        let holds = holds.collect::<Result<Vec<_>, _>>()?;
        Ok(in_full(&kept, &passes, &holds, may_change, clock))
    };
    let body = api.read(question).await?;
    Ok(page(
        &frame,
        "/batches",
        &format!("Batch {batch}"),
        Kept::Whole,
        &body,
    ))
}

fn in_full(
    kept: &KeptBatch,
    passes: &[KeptPass],
    holds: &[Markup],
    may_change: bool,
    clock: &Clock,
) -> Markup {
    let batch = &kept.batch;
    html! {
        h1 { "Batch " (batch.batch) ": " (batch.job) }
        dl .facts {
            dt { "Prints" } dd { (counts(kept)) }
            dt { "Ink" } dd { (batch.ink) }
            dt { "Fabric" } dd { (batch.fabric) }
            dt { "Station" } dd { (batch.station) }
            @if let Some(recipe) = batch.recipe { dt { "Recipe" } dd { a href="/recipes" { (recipe) } } }
            @if let Some(mesh) = batch.mesh_per_inch { dt { "Mesh" } dd { (mesh) " threads an inch" } }
            @if let Some(cost) = batch.blank_cost { dt { "A blank costs" } dd { (cost) } }
            @if let Some(mixed) = batch.ink_mixed { dt { "Ink mixed" } dd { (day_and_minute(mixed, clock)) } }
            dt { "Opened" } dd { (day_and_minute(kept.opened, clock)) ", " (batch.by) }
            dt { "Closed" }
            dd { @match &kept.closed { Some((at, closed)) => { (day_and_minute(*at, clock)) ", " (closed.by) } None => "it is open" } }
        }
        @if may_change && kept.closed.is_none() {
            form method="post" action="/do/close-batch" .sheet.line {
                input type="hidden" name="batch" value=(batch.batch);
                (by())
                button { "Close the batch" }
            }
        }
        @if !holds.is_empty() { h2 { "Holds" } @for hold in holds { (hold) } }
        h2 { "Prints" }
        ol .strip.wrapped aria-label="Prints, the newest first" {
            @for kept in passes {
                @let look = look_of(kept.pass.judged.as_ref());
                li { a href={ "/prints/" (kept.pass.pass) } class={ "chip " (look.tone) } title={ "out " (hour(kept.pass.end, clock)) } {
                    span aria-hidden="true" { (look.mark) }
                    small { (kept.pass.print.unwrap_or(0)) }
                    span .unseen { " print " (kept.pass.print.unwrap_or(0)) ": " (look.word) }
                } }
            }
        }
        @if passes.is_empty() { p { "None has left the heat yet." } }
        h2 { "Notes" }
        @for (at, noted) in &kept.notes {
            p .note { (noted.note) br; span .faint { (noted.by) ", " (day_and_minute(*at, clock)) } }
        }
        @if kept.notes.is_empty() { p { "None." } }
        @if may_change {
            form method="post" action="/do/note-batch" .sheet {
                input type="hidden" name="batch" value=(batch.batch);
                label { "Note" textarea name="note" required maxlength="4000" rows="3" { } }
                (by())
                button { "Write it down" }
            }
        }
    }
}

/// What the form to open a batch says.
#[derive(Deserialize)]
pub(super) struct Opening {
    job: String,
    station: String,
    ink: String,
    fabric: String,
    #[serde(default)]
    quantity: String,
    #[serde(default)]
    blank_cost: String,
    #[serde(default)]
    mesh: String,
    #[serde(default)]
    recipe: String,
    last_heat: Option<String>,
    by: String,
}

/// `POST /do/open-batch`
pub(super) async fn open(
    State(api): State<Arc<Api>>,
    Sent(form): Sent<Opening>,
) -> Result<Response, Refused> {
    let new = NewBatch {
        quantity: some_number("How many prints", &form.quantity, "120")?,
        blank_cost: some_number("A blank costs", &form.blank_cost, "6.50")?,
        mesh_per_inch: some_number("Mesh", &form.mesh, "156")?,
        recipe: some_number("Recipe", &form.recipe, "1")?,
        station: form.station,
        job: form.job,
        ink: form.ink,
        fabric: form.fabric,
        last_heat: form.last_heat.is_some(),
        ink_mixed: None,
        by: form.by,
    };
    let (_, axum::Json(opened)) = api_batches::open(State(api), Told(new)).await?;
    done(&format!("/batches/{}", opened.batch))
}

/// What a form says that does something to a batch.
#[derive(Deserialize)]
pub(super) struct ToBatch {
    batch: String,
    #[serde(default)]
    note: String,
    by: String,
}

/// `POST /do/close-batch`
pub(super) async fn close(
    State(api): State<Arc<Api>>,
    Sent(form): Sent<ToBatch>,
) -> Result<Response, Refused> {
    let page = format!("/batches/{}", form.batch);
    let by = By { by: form.by };
    let _shown = api_batches::close(State(api), Path(form.batch), Told(by)).await?;
    done(&page)
}

/// `POST /do/note-batch`
pub(super) async fn note(
    State(api): State<Arc<Api>>,
    Sent(form): Sent<ToBatch>,
) -> Result<Response, Refused> {
    let page = format!("/batches/{}", form.batch);
    let new = NewNote {
        note: form.note,
        by: form.by,
    };
    let _shown = api_batches::note(State(api), Path(form.batch), Told(new)).await?;
    done(&page)
}

/// `POST /do/assign`: several fields of one name, which is why it is read by hand.
pub(super) async fn assign(
    State(api): State<Arc<Api>>,
    Sent(fields): Sent<Vec<(String, String)>>,
) -> Result<Response, Refused> {
    let named = |name: &'static str| {
        let own = fields.iter().filter(move |field| field.0 == name);
        own.map(|field| field.1.as_str())
    };
    let passes = named("passes").map(|text| number("Pass", text, "12"));
    let passes = passes.collect::<Result<Vec<u64>, _>>()?;
    if passes.is_empty() {
        return Err(Refused(Refusal::wrong(
            "no print is ticked; tick those that belong to the batch",
        )));
    }
    let batch: u64 = number("Batch", named("batch").next().unwrap_or_default(), "3")?;
    let by = named("by").next().unwrap_or_default().to_owned();
    let told = Told(ToAssign { passes, by });
    let _shown = api_batches::assign(State(api), Path(batch.to_string()), told).await?;
    done(&format!("/batches/{batch}"))
}

/// A count with its words, where there is anything to count.
pub(super) fn prints(count: usize) -> String {
    counted(count as u64, "print", "prints")
}
