//! What has happened.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::Deserialize;

use super::Api;
use super::extract::{Answer, Asked, at_most};
use super::view::{Clock, EventView, Events};
use crate::journal::Reader;

/// Which events.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Which {
    /// The newest so many; 100 where nothing is said, 5000 at most.
    newest: Option<u64>,
}

/// `GET /api/events`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    Asked(which): Asked<Which>,
) -> Answer<Events> {
    let newest = at_most(which.newest, 100, 5000)?;
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.newest_events(newest)?.into_iter();
        Ok(Events {
            events: kept.map(|kept| EventView::new(kept, clock)).collect(),
        })
    };
    api.read(question).await.map(Json)
}
