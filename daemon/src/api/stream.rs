//! The news as it is committed, as server-sent events.
//!
//! Every record of evidence is one event: its `id` is the record's number, its `event` the record's kind, its
//! `data` JSON with `record` (the number), `at` (a moment) and the record's own members. Whoever was cut off
//! asks again with the last id that it has (`Last-Event-ID`, which browsers send by themselves, or `after`),
//! and misses nothing: what was committed meanwhile comes first, from the journal. A print that has entered the
//! heat is an event without an id: `pass-began`, or `pass-dropped` where it was none; those are news only.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use inkdwell_cure::live::FloorEvent;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{broadcast, mpsc};
use tokio_stream::wrappers::ReceiverStream;

use super::Api;
use super::extract::Asked;
use super::refusal::Refusal;
use super::view::{Clock, Moment};
use crate::journal::{KeptRecord, RecordNumber};
use crate::record::Record;
use crate::shift::News;

/// Events that may wait for a reader.
const WAITING: usize = 64;
/// Records that are fetched from the journal at once.
const AT_ONCE: u64 = 200;
/// A quiet stream shows this often that it lives.
const HEARTBEAT: Duration = Duration::from_secs(15);

/// From where on.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct From {
    /// The number of the last record that is known; where nothing is said, what comes from now on.
    after: Option<u64>,
}

/// The data of an event.
#[derive(Debug, Serialize)]
struct Told<'a> {
    record: u64,
    at: Moment,
    #[serde(flatten)]
    body: &'a Record,
}

/// The data of a pass that began or was none.
#[derive(Debug, Serialize)]
struct Began<'a> {
    station: &'a str,
    probe: &'a str,
    at: Moment,
}

/// `GET /api/stream`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Asked(from): Asked<From>,
    headers: HeaderMap,
) -> Result<Sse<impl tokio_stream::Stream<Item = Result<Event, Infallible>>>, Refusal> {
    let place = Arc::clone(&api.streams).try_acquire_owned().map_err(|_| {
        Refusal::not_now("too many follow the news at the same time; close some, or ask later")
    })?;
    let after = match headers.get("last-event-id") {
        None => from.after,
        Some(id) => {
            let id = id.to_str().ok().and_then(|id| id.trim().parse().ok());
            Some(id.ok_or_else(|| {
                Refusal::wrong("Last-Event-ID is no number of a record; leave it out to begin anew")
            })?)
        }
    };
    // Heard first, so that nothing falls between the journal and the news.
    let news = api.shift.listen();
    let head = api.read(|reader, _| Ok(reader.head()?.number.0)).await?;
    let after = after.unwrap_or(head);
    if after > head {
        return Err(Refusal::conflict(format!(
            "there is no record {after} yet, the last one is {head}; begin anew without a number"
        )));
    }
    let (events, taken) = mpsc::channel(WAITING);
    let follower = Follower {
        api,
        events,
        last: after,
    };
    tokio::spawn(async move {
        follower.follow(news).await;
        drop(place);
    });
    let alive = KeepAlive::new().interval(HEARTBEAT);
    Ok(Sse::new(ReceiverStream::new(taken)).keep_alive(alive))
}

/// Nobody listens any more, or the daemon stops.
struct Over;

struct Follower {
    api: Arc<Api>,
    events: mpsc::Sender<Result<Event, Infallible>>,
    /// The last record that was sent.
    last: u64,
}

impl Follower {
    async fn follow(mut self, mut news: broadcast::Receiver<Arc<News>>) {
        let stop = self.api.stop.clone();
        let gone = self.events.clone();
        tokio::select! {
            () = stop.cancelled() => {}
            () = gone.closed() => {}
            Over = self.tell_all(&mut news) => {}
        }
    }

    async fn tell_all(&mut self, news: &mut broadcast::Receiver<Arc<News>>) -> Over {
        if let Err(over) = self.catch_up().await {
            return over;
        }
        loop {
            let told = match news.recv().await {
                Ok(news) => self.tell(&news).await,
                Err(RecvError::Lagged(_)) => self.catch_up().await,
                Err(RecvError::Closed) => return Over,
            };
            if let Err(over) = told {
                return over;
            }
        }
    }

    /// Tells what the journal has and was not told.
    async fn catch_up(&mut self) -> Result<(), Over> {
        loop {
            let after = self.last;
            let read = self.api.read(move |reader, clock| {
                let head = reader.head()?.number.0.min(after.saturating_add(AT_ONCE));
                let numbers = (after + 1..=head).map(RecordNumber);
                let records = numbers.map(|number| reader.record(number));
                Ok((records.collect::<Result<Vec<_>, _>>()?, clock.clone()))
            });
            let (records, clock) = read.await.map_err(|_| Over)?;
            if records.is_empty() {
                return Ok(());
            }
            for record in &records {
                self.send_record(record, &clock).await?;
            }
        }
    }

    async fn tell(&mut self, news: &News) -> Result<(), Over> {
        let is_next = |number: &RecordNumber| number.0 == self.last + 1;
        let first = news.records.first().map(|(number, ..)| number);
        let last = news.records.last().map(|(number, ..)| number.0);
        let is_new = last.is_some_and(|last| last > self.last);
        if !is_new && news.began.is_empty() {
            return Ok(());
        }
        if is_new && !first.is_some_and(is_next) {
            return self.catch_up().await;
        }
        let clock = self.api.read(|_, clock| Ok(clock.clone())).await;
        let clock = clock.map_err(|_| Over)?;
        for began in &news.began {
            self.send_began(began, &clock).await?;
        }
        if is_new {
            for (number, at, record) in &news.records {
                let kept = KeptRecord {
                    number: *number,
                    at: *at,
                    record: record.clone(),
                };
                self.send_record(&kept, &clock).await?;
            }
        }
        Ok(())
    }

    async fn send_record(&mut self, kept: &KeptRecord, clock: &Clock) -> Result<(), Over> {
        let told = Told {
            record: kept.number.0,
            at: clock.moment(kept.at),
            body: &kept.record.without_readings(),
        };
        let event = Event::default()
            .id(kept.number.0.to_string())
            .event(kept.record.kind());
        self.send(event, &told).await?;
        self.last = kept.number.0;
        Ok(())
    }

    async fn send_began(&mut self, began: &FloorEvent, clock: &Clock) -> Result<(), Over> {
        let (name, station, probe, at) = match began {
            FloorEvent::PassStarted { station, probe, at } => ("pass-began", station, probe, at),
            FloorEvent::PassDropped { station, probe, at } => ("pass-dropped", station, probe, at),
            _ => return Ok(()),
        };
        let at = clock.moment(*at);
        let told = Began { station, probe, at };
        self.send(Event::default().event(name), &told).await
    }

    async fn send(&mut self, event: Event, data: &impl Serialize) -> Result<(), Over> {
        let event = event.json_data(data).map_err(|_| Over)?;
        self.events.send(Ok(event)).await.map_err(|_| Over)
    }
}
