//! What changes, as server-sent events, for those who look at a board.
//!
//! Each `part` is an element of the page and what it holds now. The last of those that are sent together has an id:
//! whoever was cut off comes back with it (browsers do by themselves), and is told what has changed since, or
//! everything where the daemon was started anew.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use tokio::sync::{OwnedSemaphorePermit, mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;

use crate::api::Api;
use crate::api::refusal::Refusal;

/// Events that may wait for a reader.
const WAITING: usize = 16;
/// A quiet stream shows this often that it lives.
const HEARTBEAT: Duration = Duration::from_secs(5);
/// A browser that was cut off comes back after so long.
const AGAIN: Duration = Duration::from_millis(1000);

type Events = mpsc::Sender<Result<Event, Infallible>>;

/// `GET /live`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Sse<impl tokio_stream::Stream<Item = Result<Event, Infallible>>>, Refusal> {
    let place = Arc::clone(&api.boards).try_acquire_owned().map_err(|_| {
        Refusal::not_now("too many boards are open at the same time; close some, or look later")
    })?;
    let known = headers.get("last-event-id");
    let known = known.and_then(|id| api.hub.number_in(id.to_str().ok()?.trim()));
    let (events, taken) = mpsc::channel(WAITING);
    let newest = api.hub.follow();
    tokio::spawn(follow(api, newest, known.unwrap_or(0), events, place));
    let alive = KeepAlive::new().interval(HEARTBEAT);
    Ok(Sse::new(ReceiverStream::new(taken)).keep_alive(alive))
}

/// Tells what changes, until nobody takes it or the daemon stops.
async fn follow(
    api: Arc<Api>,
    mut newest: watch::Receiver<u64>,
    known: u64,
    events: Events,
    place: OwnedSemaphorePermit,
) {
    let stop = api.stop.clone();
    let gone = events.clone();
    tokio::select! {
        () = stop.cancelled() => {}
        () = gone.closed() => {}
        _ = tell_all(&api, &mut newest, known, &events) => {}
    }
    drop(api);
    drop(place);
}

/// Ends with an error: nobody takes it any more.
async fn tell_all(
    api: &Api,
    newest: &mut watch::Receiver<u64>,
    mut known: u64,
    events: &Events,
) -> Option<Infallible> {
    events.send(Ok(Event::default().retry(AGAIN))).await.ok()?;
    loop {
        // What is marked seen before it is read is read, or is newer and told next.
        newest.borrow_and_update();
        let newer = api.hub.newer(known);
        let count = newer.parts.len();
        for (number, part) in newer.parts.iter().enumerate() {
            let mut event = Event::default().event("part").data(part);
            if number + 1 == count {
                event = event.id(api.hub.id(newer.number));
            }
            events.send(Ok(event)).await.ok()?;
        }
        known = newer.number;
        newest.changed().await.ok()?;
    }
}
