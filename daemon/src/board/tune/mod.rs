//! Tuning from the journal's rides: how fast the belt may run, drawn, with the ride to lock a recipe from.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use inkdwell_config::station::StationKind;
use inkdwell_cure::live::Micros;
use maud::{Markup, html};
use serde::Deserialize;

use super::form::{Sent, number};
use super::page::{Frame, Kept, Refused, page};
use super::prints::is_ride;
use super::recipes::rides;
use super::words::{day_and_minute, degrees, look_of, mark, speed};
use crate::api::Api;
use crate::api::extract::absent;
use crate::api::refusal::Refusal;
use crate::api::view::Clock;
use crate::journal::{KeptPass, Reader};
use crate::record::Place;

mod answer;
mod fitting;

/// A fit takes one to three rides well; more only take longer.
const MOST: usize = 4;

/// What rides have in common that are fitted together: station, ink and fabric.
type Of = (String, String, String);

/// `GET /tune`
pub(super) async fn ask(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let (belts, units) = api
        .look(|keeper, _| {
            let shop = keeper.shop();
            let belts = shop
                .stations
                .iter()
                .filter(|own| own.kind == StationKind::BeltDryer);
            (
                belts.map(|own| own.id.clone()).collect::<Vec<_>>(),
                shop.units,
            )
        })
        .await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let mut groups: BTreeMap<Of, Vec<KeptPass>> = BTreeMap::new();
        for kept in rides(reader)? {
            let batch = match kept.pass.batch {
                Some(batch) => reader.batch(batch)?,
                None => None,
            };
            let is_fit = kept.pass.place == Place::Ride && kept.pass.belt_m_per_min.is_some();
            if let (Some(batch), true) = (batch, is_fit && kept.readings_kept)
                && belts.contains(&kept.pass.station)
            {
                let of = (
                    kept.pass.station.clone(),
                    batch.batch.ink,
                    batch.batch.fabric,
                );
                groups.entry(of).or_default().push(kept);
            }
        }
        Ok(html! {
            h1 { "Tune" }
            p {
                "From one to three rides of the same print, the heat model finds how fast the belt may run so that every \
                 print is proved cured and unharmed. Rides at different speeds tell most. (Flash units are tuned by "
                code { "inkdwell tune" } ".)"
            }
            @for (of, rides) in &groups { (group(of, rides, may_change, units, clock)) }
            @if groups.is_empty() { p { "There is no ride yet: send a print of a batch through with a probe in its ink." } }
        })
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/tune", "Tune", Kept::Not, &body))
}

fn group(
    (station, ink, fabric): &Of,
    rides: &[KeptPass],
    may_change: bool,
    units: inkdwell_config::display::Units,
    clock: &Clock,
) -> Markup {
    html! {
        article .card {
            h2 { (ink) " on " (fabric) " through " (station) }
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
                @if may_change { button { "Find the fastest safe speed" } }
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
