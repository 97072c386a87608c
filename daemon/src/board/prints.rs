//! One print with its proof: the curve, the doses, why it was judged so.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use inkdwell_config::display::Units;
use inkdwell_config::shop::Probe;
use maud::{Markup, html};

use super::page::{Frame, Kept, Refused, page};
use super::words::{day_and_minute, degrees, hour, look_of, mark, seconds, speed};
use super::{curve, heat, out, running};
use crate::api::Api;
use crate::api::extract::{absent, number};
use crate::api::view::Clock;
use crate::journal::{Holds, KeptPass, Reader};
use crate::record::Judged;

/// `GET /prints/{pass}`
pub(super) async fn one(
    State(api): State<Arc<Api>>,
    Path(pass): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let pass = number("print", &pass)?;
    let frame = Frame::now(&api, &headers).await?;
    let (probes, units) = api
        .look(|keeper, _| {
            let shop = keeper.shop();
            (shop.probes.clone(), shop.units)
        })
        .await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.pass(pass)?.ok_or_else(|| absent("print", pass))?;
        let own = |probe: &&Probe| Some(&probe.id) == kept.pass.probe.as_ref();
        let trip = match probes.iter().find(own) {
            Some(probe) if kept.readings_kept => Some(running::ended(reader, probe, &kept)?),
            _ => None,
        };
        let holds = reader.holds(Holds::OfPass(pass))?;
        let holds: Vec<u64> = holds.iter().map(|hold| hold.hold.hold).collect();
        let batch = match kept.pass.batch {
            Some(batch) => reader.batch(batch)?,
            None => None,
        };
        let job = batch.map(|batch| (batch.batch.batch, batch.batch.job));
        Ok(html! {
            (heading(&kept, job, clock))
            @match &trip {
                Some(trip) => { div .proof { (curve::draw(trip, units)) (heat::doses(trip)) } }
                None => p { "There is no curve: no probe saw it, its readings are not kept any more, or its probe is not declared any more." }
            }
            @if let Some(judged) = &kept.pass.judged { (figures(&kept, judged, units)) }
            @if !holds.is_empty() {
                p { "Held: " @for hold in &holds { a href={ "/holds#hold-" (hold) } { "hold " (hold) } " " } }
            }
            @if may_change && is_ride(&kept) {
                p { a href={ "/recipes#ride-" (pass) } { "Lock a recipe from this ride" } }
            }
        })
    };
    let body = api.read(question).await?;
    Ok(page(
        &frame,
        "/batches",
        &format!("Pass {pass}"),
        Kept::Not,
        &body,
    ))
}

/// Whether a recipe can be locked from it.
pub(super) fn is_ride(kept: &KeptPass) -> bool {
    let judged = kept.pass.judged.as_ref();
    kept.pass.batch.is_some()
        && kept.readings_kept
        && judged.is_some_and(|judged| judged.evidence == "measured" && judged.is_good())
}

fn heading(kept: &KeptPass, job: Option<(u64, String)>, clock: &Clock) -> Markup {
    let pass = &kept.pass;
    let look = look_of(pass.judged.as_ref());
    html! {
        h1 { (mark(look)) (out::name(kept)) ": " (look.word) }
        p {
            @match job {
                Some((batch, job)) => { a href={ "/batches/" (batch) } { (job) } }
                None => "no batch",
            }
            ", " (pass.station) ", pass " (pass.pass)
            ", in " (day_and_minute(pass.start, clock)) ", out " (hour(pass.end, clock))
        }
    }
}

fn figures(kept: &KeptPass, judged: &Judged, units: Units) -> Markup {
    html! {
        @for reason in &judged.reasons { p .said { (reason) } }
        dl .facts {
            dt { "Evidence" } dd { (judged.evidence) @if let Some(probe) = &kept.pass.probe { ", " (probe) } @if judged.cut { ", seen only in part" } }
            @if judged.evidence != "none" {
                dt { "Peak" } dd { (degrees(judged.peak_c, units)) }
                dt { "Above " (degrees(judged.threshold_c, units)) } dd { (seconds(judged.time_above_s)) }
                dt { "In doubt by" } dd { (units.difference(inkdwell_config::quantity::CelsiusDifference(judged.uncertainty_c))) " (k = 2)" }
                dt { "Samples" } dd { (judged.samples) ", " (judged.faults) " bad, " (judged.gaps) " gaps" }
            }
            @if let Some(belt) = kept.pass.belt_m_per_min { dt { "Belt" } dd { (speed(belt, units)) } }
        }
        @if !judged.remarks.is_empty() {
            h2 { "Worth knowing" }
            ul { @for remark in &judged.remarks { li { (remark) } } }
        }
    }
}
