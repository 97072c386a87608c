//! Ways out, and figures for whoever watches from afar.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use inkdwell_config::problem::suggestion;
use tokio::time::timeout;

use super::extract::{Answer, Told, name};
use super::refusal::Refusal;
use super::view::{AsideView, By, Clock, SinkState, SinkView, Sinks};
use super::{Api, COMMIT};
use crate::journal::{Holds, ReadError, Reader};
use crate::metrics::{MEDIA_TYPE, Now};
use crate::sink::{Health, Way};

/// Of what is set aside, so much is told.
const NEWEST: u64 = 20;

/// `GET /api/sinks`
pub(super) async fn list(State(api): State<Arc<Api>>) -> Answer<Sinks> {
    let sinks = all(&api).await?;
    Ok(Json(Sinks { sinks }))
}

/// `POST /api/sinks/{sink}/retry`
pub(super) async fn retry(
    State(api): State<Arc<Api>>,
    Path(sink): Path<String>,
    Told(who): Told<By>,
) -> Answer<SinkView> {
    let by = name("by", who.by)?;
    if by.is_empty() {
        return Err(Refusal::wrong("by is empty; say who asks for it"));
    }
    let own = one(&api, &sink).await?;
    if own.set_aside == 0 {
        return Err(Refusal::conflict(format!(
            "{sink} has set nothing aside; there is nothing to be sent again"
        )));
    }
    tracing::info!(sink, by, "is to send again what was set aside");
    if timeout(COMMIT, api.shift.send_again(&sink)).await.is_err() {
        return Err(api.held_up());
    }
    one(&api, &sink).await.map(Json)
}

async fn one(api: &Api, sink: &str) -> Result<SinkView, Refusal> {
    let mut all = all(api).await?;
    if let Some(own) = all.iter().position(|own| own.sink == sink) {
        return Ok(all.swap_remove(own));
    }
    let names: Vec<&str> = all.iter().map(|own| own.sink.as_str()).collect();
    let remedy = suggestion(sink, &names);
    Err(Refusal::absent(format!(
        "the shop file declares no way out {sink:?}; {remedy}"
    )))
}

async fn all(api: &Api) -> Result<Vec<SinkView>, Refusal> {
    let sinks = api.shift.sinks();
    api.read(move |reader, clock| {
        let last = reader.head()?.number.0;
        let told = sinks
            .iter()
            .map(|(id, kind, health)| told(reader, clock, id, kind, health, last));
        Ok(told.collect::<Result<Vec<_>, _>>()?)
    })
    .await
}

fn told(
    reader: &Reader,
    clock: &Clock,
    id: &str,
    kind: &str,
    health: &Health,
    last: u64,
) -> Result<SinkView, ReadError> {
    let counts = health.counts(last);
    let (state, why) = match health.way() {
        Way::Starting => (SinkState::Starting, None),
        Way::Open => (SinkState::Open, None),
        Way::Blocked(why) => (SinkState::Blocked, Some(why)),
    };
    let (aside, newest) = reader.set_aside(id, NEWEST)?;
    let newest = newest.into_iter().map(|aside| AsideView {
        at: clock.moment(aside.at),
        record: aside.record.map(|record| record.0),
        again: aside.again,
        why: aside.why,
    });
    Ok(SinkView {
        sink: id.to_owned(),
        kind: kind.to_owned(),
        state,
        why,
        waiting: counts.waiting,
        sent: counts.sent,
        last_taken: health.last_taken().map(|at| clock.moment(at)),
        failed: counts.failed,
        set_aside: aside.kept,
        dropped: aside.dropped,
        newest_aside: newest.collect(),
    })
}

/// `GET /api/messages.json`
pub(super) async fn schemas() -> Json<serde_json::Value> {
    let schemas = crate::sink::message::schemas().into_iter();
    let schemas = schemas.map(|(name, schema)| (name.to_owned(), schema.to_value()));
    Json(serde_json::Value::Object(schemas.collect()))
}

/// `GET /metrics`
pub(super) async fn metrics(State(api): State<Arc<Api>>) -> Result<Response, Refusal> {
    let mut now = Now {
        disk_full: api.shift.disk_is_full(),
        sources: api.shift.sources(),
        sinks: api.shift.sinks(),
        ..Now::default()
    };
    (now.last_record, now.open_holds) = api
        .read(|reader, _| {
            let holds = reader.holds(Holds::Open)?.len() as u64;
            Ok((reader.head()?.number.0, holds))
        })
        .await?;
    let text = api.shift.metrics().text(&now);
    let text =
        text.map_err(|error| Refusal::broken(format!("no figures can be told ({error})")))?;
    Ok(([(CONTENT_TYPE, MEDIA_TYPE)], text).into_response())
}
