//! Tuning from the journal's rides: how fast the belt may run, or how long the lamp may stay, drawn, with the ride to
//! lock a recipe from.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use inkdwell_config::display::Units;
use inkdwell_config::station::StationKind;
use inkdwell_cure::live::Micros;
use maud::{Markup, html};
use serde::Deserialize;

use super::form::{Sent, number};
use super::page::{Frame, Kept, Refused, page};
use super::prints::is_ride;
use super::words::{day_and_minute, degrees, look_of, mark, speed};
use crate::api::Api;
use crate::api::extract::absent;
use crate::api::refusal::Refusal;
use crate::api::view::Clock;
use crate::journal::{KeptPass, PassQuery, Reader};
use crate::record::Place;

mod answer;
mod belt;
mod drawing;
mod fitting;
mod lamp;

/// A fit takes one to three rides well; more only take longer.
const MOST: usize = 4;

/// So many passes of a station are looked through for rides.
const LOOKED: u64 = 200;
/// So many rides of one print are offered.
const OFFERED: usize = 8;

/// What rides have in common that are fitted together.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Of {
    station: String,
    ink: String,
    fabric: String,
    /// Whether a flash unit was the last heat.
    last_heat: bool,
}

/// `GET /tune`
pub(super) async fn ask(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let (stations, units) = api
        .look(|keeper, _| {
            let shop = keeper.shop();
            let stations = shop.stations.iter();
            let stations = stations.map(|own| (own.id.clone(), own.name.clone(), own.kind));
            (stations.collect::<Vec<_>>(), shop.units)
        })
        .await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let mut cards = Vec::new();
        for (id, name, kind) in &stations {
            for (of, rides) in groups(reader, id, *kind)? {
                cards.push(group(&of, (name, *kind), &rides, may_change, units, clock));
            }
        }
        Ok(html! {
            h1 { "Tune" }
            p {
                "From one to three rides of the same print, the heat model finds how fast the belt may run, or how long the \
                 lamp may stay, so that every print is proved good. Rides at different settings tell most."
            }
            @for card in &cards { (card) }
            @if cards.is_empty() { p .calm { "There is no ride yet: send a print of a batch through with a probe in its ink, or flash one under a probe." } }
        })
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/tune", "Tune", Kept::Not, &body))
}

/// The newest rides of a station, by what they are of.
fn groups(
    reader: &Reader,
    station: &str,
    kind: StationKind,
) -> Result<BTreeMap<Of, Vec<KeptPass>>, Refusal> {
    let mut groups: BTreeMap<Of, Vec<KeptPass>> = BTreeMap::new();
    let passes = reader.passes(&PassQuery {
        station: Some(station.to_owned()),
        newest: Some(LOOKED),
        ..PassQuery::default()
    })?;
    for kept in passes {
        let pass = &kept.pass;
        let is_whole = pass.judged.as_ref().is_some_and(|judged| !judged.cut);
        let is_fit = match kind {
            StationKind::BeltDryer => pass.place == Place::Ride && pass.belt_m_per_min.is_some(),
            StationKind::FlashUnit => pass.place == Place::Flash,
        };
        let (Some(batch), true) = (pass.batch, is_fit && is_whole && kept.readings_kept) else {
            continue;
        };
        let Some(batch) = reader.batch(batch)? else {
            continue;
        };
        let of = Of {
            station: pass.station.clone(),
            ink: batch.batch.ink,
            fabric: batch.batch.fabric,
            last_heat: kind == StationKind::FlashUnit && batch.batch.last_heat,
        };
        let own = groups.entry(of).or_default();
        if own.len() < OFFERED {
            own.push(kept);
        }
    }
    Ok(groups)
}

fn group(
    of: &Of,
    (station, kind): (&str, StationKind),
    rides: &[KeptPass],
    may_change: bool,
    units: Units,
    clock: &Clock,
) -> Markup {
    let (way, wanted) = match kind {
        StationKind::BeltDryer => ("through", "Find the fastest safe speed"),
        StationKind::FlashUnit => ("under", "Find the shortest safe stay"),
    };
    html! {
        article .card {
            h2 { (of.ink) " on " (of.fabric) " " (way) " " (station) @if of.last_heat { ", as the last heat" } }
            form method="post" action="/do/tune" data-busy="Reckoning; this takes some seconds." {
                ul .picks {
                    @for (number, kept) in rides.iter().enumerate() {
                        li { label .tick {
                            @if may_change { input type="checkbox" name="rides" value=(kept.pass.pass) checked[number < 2]; }
                            span { (mark(look_of(kept.pass.judged.as_ref()))) "Pass " (kept.pass.pass)
                                @if let Some(belt) = kept.pass.belt_m_per_min { " at " (speed(belt, units)) }
                                @if let Some(judged) = &kept.pass.judged { ", peak " (degrees(judged.peak_c, units)) }
                                span .faint { ", " (day_and_minute(kept.pass.end, clock)) } }
                        } }
                    }
                }
                @if may_change { button { (wanted) } }
                @else { p .faint { "Log in to have it reckoned." } }
            }
        }
    }
}

/// What the form says: several fields of one name.
#[derive(Deserialize)]
#[serde(transparent)]
pub(super) struct Rides(Vec<(String, String)>);

/// `POST /do/tune`
pub(super) async fn run(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
    Sent(Rides(fields)): Sent<Rides>,
) -> Result<Response, Refused> {
    let named = fields.iter().filter(|field| field.0 == "rides");
    let passes = named.map(|field| number("Ride", &field.1, "12"));
    let mut passes = passes.collect::<Result<Vec<u64>, Refusal>>()?;
    passes.sort_unstable();
    passes.dedup();
    if passes.is_empty() || passes.len() > MOST {
        return Err(Refused(Refusal::wrong(format!(
            "{} rides are ticked; tick 1 to {MOST} of the same print",
            passes.len()
        ))));
    }
    let Ok(_alone) = api.tuning.try_lock() else {
        return Err(Refused(Refusal::not_now(
            "somebody else has a window reckoned; ask again in some seconds",
        )));
    };
    let frame = Frame::now(&api, &headers).await?;
    let (shop, doubts) = api.look(fitting::shop_and_doubts).await?;
    let units = shop.units;
    let to_fit = api
        .read(move |reader, _| {
            let kept = passes.into_iter().map(|pass| {
                let kept = reader.pass(pass)?;
                kept.ok_or_else(|| absent("ride", pass))
            });
            let kept = kept.collect::<Result<Vec<_>, Refusal>>()?;
            fitting::to_fit(reader, &shop, &doubts, kept)
        })
        .await?;
    // It takes a processor for seconds: not one of the tasks that answer everybody.
    let tuned = tokio::task::spawn_blocking(move || fitting::tuned(to_fit)).await;
    let tuned = tuned.map_err(|_| Refusal::broken("the reckoning failed; the log says why"))??;
    let lock = tuned.nearest(is_ride);
    let body = answer::show(&tuned, lock, frame.may_change, units);
    Ok(page(&frame, "/tune", "Tune", Kept::Not, &body))
}

/// The seconds of a moment since another.
fn since(at: Micros, from: Micros) -> f64 {
    at.seconds_since(from)
}
