//! Batches: opened, closed, noted, and given passes afterwards.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use chrono::DateTime;
use schemars::JsonSchema;
use serde::Deserialize;

use super::Api;
use super::anew;
use super::extract::{Answer, Asked, Told, absent, at_most, name, number, prose};
use super::holds::told as told_hold;
use super::refusal::Refusal;
use super::view::{
    Assigned, BatchInFull, BatchView, Batches, By, CAUTION, Clock, NewBatch, NewNote, NewSignOff,
    PassView, ToAssign,
};
use crate::journal::{self, Holds, KeptBatch, KeptPass, PassQuery, Reader};
use crate::keeper::{Command, OpenBatch};
use crate::record::{Judged, Record, SignedOff};
use crate::time::Micros;

/// So many passes may be assigned by one call: each has its readings judged anew.
const MOST_ASSIGNED: usize = 200;

/// Which batches.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Which {
    /// Only those that are open.
    #[serde(default)]
    open: bool,
    /// The newest so many; 50 where nothing is said, 1000 at most.
    newest: Option<u64>,
}

/// `GET /api/batches`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    Asked(which): Asked<Which>,
) -> Answer<Batches> {
    let newest = at_most(which.newest, 50, 1000)?;
    let question = move |reader: &Reader, clock: &Clock| {
        let mut kept = if which.open {
            reader.batches(journal::Batches::Open)?
        } else {
            reader.batches(journal::Batches::Newest(newest))?
        };
        kept.sort_by_key(|kept| std::cmp::Reverse(kept.batch.batch));
        kept.truncate(usize::try_from(newest).unwrap_or(usize::MAX));
        Ok(Batches {
            batches: kept
                .iter()
                .map(|kept| BatchView::new(kept, clock))
                .collect(),
            unassigned: unassigned(reader)?,
        })
    };
    api.read(question).await.map(Json)
}

/// How many prints have no batch.
pub(crate) fn unassigned(reader: &Reader) -> Result<u64, Refusal> {
    let query = PassQuery {
        without_batch: true,
        ..PassQuery::default()
    };
    let counts = reader.verdict_counts(&query)?;
    Ok(counts.iter().map(|count| count.passes).sum())
}

/// `POST /api/batches`
pub(crate) async fn open(
    State(api): State<Arc<Api>>,
    Told(new): Told<NewBatch>,
) -> Result<(StatusCode, Json<BatchView>), Refusal> {
    let ink_mixed = match new.ink_mixed {
        Some(text) => Some(mixed(&api, text).await?),
        None => None,
    };
    let open = OpenBatch {
        station: name("the station", new.station)?,
        job: name("the job", new.job)?,
        ink: name("the ink", new.ink)?,
        fabric: name("the fabric", new.fabric)?,
        last_heat: new.last_heat,
        quantity: new.quantity,
        blank_cost: new.blank_cost,
        mesh_per_inch: new.mesh_per_inch,
        ink_mixed,
        recipe: new.recipe,
        by: name("by", new.by)?,
    };
    let done = api.ask(Command::OpenBatch(Box::new(open))).await?;
    let Record::BatchOpened(opened) = done else {
        return Err(odd());
    };
    let batch = show(&api, opened.batch).await?;
    Ok((StatusCode::CREATED, Json(batch)))
}

/// When the ink was mixed, from what the clock on the wall showed.
async fn mixed(api: &Api, text: String) -> Result<Micros, Refusal> {
    let shown = DateTime::parse_from_rfc3339(text.trim()).map_err(|_| {
        Refusal::wrong(format!(
            "when the ink was mixed: {text:?} is no time; write it as 2026-01-31T08:30:00+01:00"
        ))
    })?;
    let now = api.shift.now();
    let at = api
        .read(move |_, clock| Ok(clock.walls.when(Micros(shown.timestamp_micros()))))
        .await?;
    // Who types the minute that has just begun is not wrong.
    if at > now.plus_seconds(60.0) {
        return Err(Refusal::wrong(format!(
            "when the ink was mixed: {text:?} is still to come; give the time at which it was mixed"
        )));
    }
    Ok(at)
}

/// `GET /api/batches/{batch}`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Path(batch): Path<String>,
) -> Answer<BatchInFull> {
    let batch = number("batch", &batch)?;
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = known(reader, batch)?;
        let holds = reader.holds(Holds::OfBatch(batch))?;
        Ok(BatchInFull {
            batch: BatchView::new(&kept, clock),
            holds: holds
                .iter()
                .map(|hold| told_hold(reader, hold, clock))
                .collect::<Result<_, _>>()?,
            declared: kept.batch.declared,
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

/// `POST /api/batches/{batch}/close`
pub(crate) async fn close(
    State(api): State<Arc<Api>>,
    Path(batch): Path<String>,
    Told(By { by }): Told<By>,
) -> Answer<BatchView> {
    let batch = number("batch", &batch)?;
    show(&api, batch).await?;
    let by = name("by", by)?;
    api.ask(Command::CloseBatch { batch, by }).await?;
    show(&api, batch).await.map(Json)
}

/// `POST /api/batches/{batch}/notes`
pub(crate) async fn note(
    State(api): State<Arc<Api>>,
    Path(batch): Path<String>,
    Told(new): Told<NewNote>,
) -> Answer<BatchView> {
    let batch = number("batch", &batch)?;
    show(&api, batch).await?;
    let (note, by) = (prose("the note", new.note)?, name("by", new.by)?);
    api.ask(Command::NoteBatch { batch, note, by }).await?;
    show(&api, batch).await.map(Json)
}

/// `POST /api/batches/{batch}/sign-offs`
pub(super) async fn sign_off(
    State(api): State<Arc<Api>>,
    Path(batch): Path<String>,
    Told(new): Told<NewSignOff>,
) -> Answer<BatchView> {
    let batch = number("batch", &batch)?;
    show(&api, batch).await?;
    if let Some(pass) = new.pass {
        let kept = api.read(move |reader, _| Ok(reader.pass(pass)?)).await?;
        let kept = kept.ok_or_else(|| absent("pass", pass))?;
        if kept.pass.batch != Some(batch) {
            return Err(Refusal::conflict(format!(
                "pass {pass} is no print of batch {batch}; `inkdwell batch show {batch}` lists them"
            )));
        }
    }
    let test = SignedOff {
        batch,
        pass: new.pass,
        method: prose("the method", new.method)?,
        passed: new.passed,
        result: prose("the result", new.result)?,
        by: name("by", new.by)?,
    };
    api.ask(Command::SignOff(test)).await?;
    show(&api, batch).await.map(Json)
}

async fn show(api: &Api, batch: u64) -> Result<BatchView, Refusal> {
    api.read(move |reader, clock| Ok(BatchView::new(&known(reader, batch)?, clock)))
        .await
}

fn known(reader: &Reader, batch: u64) -> Result<KeptBatch, Refusal> {
    let kept = reader.batch(batch)?;
    kept.ok_or_else(|| absent("batch", batch))
}

/// `POST /api/batches/{batch}/passes`: all of them, or none where one cannot be.
pub(crate) async fn assign(
    State(api): State<Arc<Api>>,
    Path(batch): Path<String>,
    Told(new): Told<ToAssign>,
) -> Answer<Assigned> {
    let batch = number("batch", &batch)?;
    let by = name("by", new.by)?;
    let passes = new.passes;
    if passes.is_empty() || passes.len() > MOST_ASSIGNED {
        return Err(Refusal::wrong(format!(
            "passes names {}; name 1 to {MOST_ASSIGNED} at a time",
            passes.len()
        )));
    }
    let mut sorted = passes.clone();
    sorted.sort_unstable();
    if let Some(twice) = sorted.windows(2).find(|pair| pair[0] == pair[1]) {
        let twice = twice[0];
        return Err(Refusal::wrong(format!("pass {twice} is named twice")));
    }
    let alone = api.assigning.lock().await;
    let judged = judge_all(&api, batch, passes.clone()).await?;
    let printed = printed(&api, batch).await?;
    for (kept, judged) in judged {
        let command = Command::AssignPass {
            pass: kept.pass.pass,
            station: kept.pass.station,
            batch,
            printed,
            by: by.clone(),
            judged: Box::new(judged),
        };
        api.ask(command).await?;
    }
    drop(alone);
    let question = move |reader: &Reader, clock: &Clock| {
        let mut assigned = Vec::new();
        for pass in passes {
            let kept = reader.pass(pass)?.ok_or_else(|| absent("pass", pass))?;
            assigned.push(PassView::new(kept, clock));
        }
        Ok(Assigned {
            passes: assigned,
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

/// The highest number that a print of a batch has; the daemon itself remembers only the last batches.
async fn printed(api: &Api, batch: u64) -> Result<u64, Refusal> {
    let of_batch = PassQuery {
        batch: Some(batch),
        ..PassQuery::default()
    };
    let question = move |reader: &Reader, _: &Clock| {
        let passes = reader.passes(&of_batch)?;
        let numbers = passes.iter().filter_map(|kept| kept.pass.print);
        Ok(numbers.max().unwrap_or(0))
    };
    api.read(question).await
}

/// What the batch's laws say of each pass.
async fn judge_all(
    api: &Api,
    batch: u64,
    passes: Vec<u64>,
) -> Result<Vec<(KeptPass, Judged)>, Refusal> {
    let shop = api.look(|keeper, _| keeper.shop().clone()).await?;
    let question = move |reader: &Reader, _: &Clock| {
        let batch = known(reader, batch)?.batch;
        let kept = passes.into_iter().map(|pass| {
            let kept = reader.pass(pass)?.ok_or_else(|| absent("pass", pass))?;
            if let Some(has) = kept.pass.batch {
                return Err(Refusal::conflict(format!(
                    "pass {pass} belongs to batch {has} already"
                )));
            }
            if kept.pass.station != batch.station {
                return Err(Refusal::conflict(format!(
                    "pass {pass} was seen at {}, and batch {} was printed at {}",
                    kept.pass.station, batch.batch, batch.station
                )));
            }
            Ok(kept)
        });
        // Nothing is reckoned before it is known that all may be assigned.
        let kept = kept.collect::<Result<Vec<_>, _>>()?;
        let judged = kept.into_iter().map(|kept| {
            let judged = anew::judge(reader, &shop, &batch, &kept)?;
            Ok((kept, judged))
        });
        judged.collect()
    };
    api.read(question).await
}

/// The daemon answered with another record than it was asked for.
pub(crate) fn odd() -> Refusal {
    Refusal::broken("the daemon did something else than it was asked for; its log may say why")
}
