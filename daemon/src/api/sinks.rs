//! Ways out, and figures for whoever watches from afar.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

use super::Api;
use super::extract::Answer;
use super::refusal::Refusal;
use super::view::{AsideView, Clock, SinkState, SinkView, Sinks};
use crate::journal::{Holds, ReadError, Reader};
use crate::metrics::{MEDIA_TYPE, Now};
use crate::sink::{Health, Way};

/// Of what is set aside, so much is told.
const NEWEST: u64 = 20;

/// `GET /api/sinks`
pub(super) async fn list(State(api): State<Arc<Api>>) -> Answer<Sinks> {
    let sinks = api.shift.sinks();
    let told = api
        .read(move |reader, clock| {
            let last = reader.head()?.number.0;
            let told = sinks
                .iter()
                .map(|(id, kind, health)| told(reader, clock, id, kind, health, last));
            Ok(told.collect::<Result<Vec<_>, _>>()?)
        })
        .await?;
    Ok(Json(Sinks { sinks: told }))
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
    let (set_aside, newest) = reader.set_aside(id, NEWEST)?;
    let newest = newest.into_iter().map(|aside| AsideView {
        at: clock.moment(aside.at),
        record: aside.record.map(|record| record.0),
        why: aside.why,
    });
    Ok(SinkView {
        sink: id.to_owned(),
        kind: kind.to_owned(),
        state,
        why,
        waiting: counts.waiting,
        sent: counts.sent,
        failed: counts.failed,
        set_aside,
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
