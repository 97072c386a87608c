//! Passes: every print's trip through the heat, those without a batch among them.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use schemars::JsonSchema;
use serde::Deserialize;

use super::Api;
use super::extract::{Answer, Asked, absent, at_most, number, some_name};
use super::view::{CAUTION, Clock, PassInFull, PassView, Passes};
use crate::journal::{Holds, PassQuery, Reader};

/// Which passes; all that is named has to hold.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Which {
    /// Of this batch.
    batch: Option<u64>,
    /// At this station.
    station: Option<String>,
    /// Of this verdict.
    verdict: Option<String>,
    /// Only those without a batch.
    #[serde(default)]
    unassigned: bool,
    /// The newest so many; 100 where nothing is said, 5000 at most.
    newest: Option<u64>,
}

/// `GET /api/passes`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    Asked(which): Asked<Which>,
) -> Answer<Passes> {
    let query = PassQuery {
        station: some_name("station", which.station)?,
        batch: which.batch,
        verdict: some_name("verdict", which.verdict)?,
        without_batch: which.unassigned,
        newest: Some(at_most(which.newest, 100, 5000)?),
        ..PassQuery::default()
    };
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.passes(&query)?.into_iter();
        Ok(Passes {
            passes: kept.map(|kept| PassView::new(kept, clock)).collect(),
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

/// `GET /api/passes/{pass}`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Path(pass): Path<String>,
) -> Answer<PassInFull> {
    let pass = number("pass", &pass)?;
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.pass(pass)?.ok_or_else(|| absent("pass", pass))?;
        let holds = reader.holds(Holds::OfPass(pass))?.into_iter();
        Ok(PassInFull {
            pass: PassView::new(kept, clock),
            holds: holds.map(|kept| kept.hold.hold).collect(),
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}
