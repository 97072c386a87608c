//! Holds: prints that somebody has to pull, and what became of them.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use schemars::JsonSchema;
use serde::Deserialize;

use super::Api;
use super::extract::{Answer, Asked, Told, absent, at_most, name, number, prose};
use super::refusal::Refusal;
use super::view::{CAUTION, Clock, HoldView, Holds, Settlement};
use crate::journal::{self, KeptHold, Reader};
use crate::keeper::{Command, Refused};
use crate::record::Settled;

/// Which of the holds, by what became of them.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
enum Which {
    /// Those that nobody has settled.
    #[default]
    Open,
    /// Those that somebody has.
    Settled,
    /// All.
    All,
}

/// Which holds.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Asking {
    /// Open where nothing is said.
    #[serde(default)]
    state: Which,
    /// The newest so many; 200 where nothing is said, 2000 at most.
    newest: Option<u64>,
}

/// `GET /api/holds`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    Asked(asking): Asked<Asking>,
) -> Answer<Holds> {
    let newest = usize::try_from(at_most(asking.newest, 200, 2000)?).unwrap_or(usize::MAX);
    let which = match asking.state {
        Which::Open => journal::Holds::Open,
        Which::Settled => journal::Holds::Settled,
        Which::All => journal::Holds::All,
    };
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.holds(which)?;
        let from = kept.len().saturating_sub(newest);
        let holds = kept[from..].iter().map(|kept| told(reader, kept, clock));
        Ok(Holds {
            holds: holds.collect::<Result<_, _>>()?,
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

/// A hold with its prints.
pub(crate) fn told(reader: &Reader, kept: &KeptHold, clock: &Clock) -> Result<HoldView, Refusal> {
    let batch = match kept.hold.batch {
        Some(batch) => reader.batch(batch)?,
        None => None,
    };
    let mut passes = Vec::new();
    for pass in &kept.passes {
        passes.extend(reader.pass(*pass)?);
    }
    Ok(HoldView::new(kept, passes, batch.as_ref(), clock))
}

/// `GET /api/holds/{hold}`
pub(super) async fn get(State(api): State<Arc<Api>>, Path(hold): Path<String>) -> Answer<HoldView> {
    let hold = number("hold", &hold)?;
    show(&api, hold).await.map(Json)
}

async fn show(api: &Api, hold: u64) -> Result<HoldView, Refusal> {
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.hold(hold)?.ok_or_else(|| absent("hold", hold))?;
        told(reader, &kept, clock)
    };
    api.read(question).await
}

/// `POST /api/holds/{hold}/settle`
pub(crate) async fn settle(
    State(api): State<Arc<Api>>,
    Path(hold): Path<String>,
    Told(new): Told<Settlement>,
) -> Answer<HoldView> {
    let hold = number("hold", &hold)?;
    let (by, why) = (name("by", new.by)?, prose("why", new.why)?);
    let shown = show(&api, hold).await?;
    if shown.settled.is_some() {
        return Err(Refused::HoldNotOpen { hold }.into());
    }
    if new.outcome == Settled::ReRun && !shown.may_re_run {
        return Err(Refusal::conflict(format!(
            "the prints of hold {hold} are {} and cannot go through the heat again; settle it as scrapped, or as \
             released where each was looked at",
            shown.verdict
        )));
    }
    let outcome = new.outcome;
    let command = Command::SettleHold {
        hold,
        outcome,
        by,
        why,
    };
    api.ask(command).await?;
    show(&api, hold).await.map(Json)
}
