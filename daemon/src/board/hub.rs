//! Renders what changes, once for all who look.
//!
//! While anybody looks, the shop's parts are rendered anew whenever something was recorded, and several times a second
//! besides, for the curve in the heat. A part that has changed gets a number, larger than all before; whoever
//! looks asks for what is newer than what it has. There is only ever the newest of each part: it is a state and no
//! queue, so that nobody who is slow makes anything grow, and whoever comes back after a break is told
//! just what has changed since.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use maud::Markup;
use rand::Rng;
use serde::Serialize;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{Notify, watch};
use tokio::time::{Instant, MissedTickBehavior, interval, sleep};

use super::{live, now};
use crate::api::Api;

/// How often it is looked without any news.
const BEAT: Duration = Duration::from_millis(400);
/// What is committed so close together is shown together.
const TOGETHER: Duration = Duration::from_millis(40);

/// The newest of every part.
#[derive(Debug)]
pub(crate) struct Hub {
    /// Tells one run of the daemon from another.
    run: String,
    parts: Mutex<BTreeMap<String, Part>>,
    newest: watch::Sender<u64>,
    wanted: Notify,
}

/// A part as it was rendered last.
#[derive(Debug, Clone)]
struct Part {
    number: u64,
    html: String,
    data: Arc<str>,
}

#[derive(Serialize)]
struct Data<'a> {
    id: &'a str,
    html: &'a str,
}

/// What a follower is told, and up to which number it knows all then.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Newer {
    pub(super) parts: Vec<Arc<str>>,
    pub(super) number: u64,
}

impl Hub {
    /// Nothing rendered yet.
    pub(crate) fn new() -> Hub {
        Hub {
            run: format!("{:016x}", rand::rng().next_u64()),
            parts: Mutex::default(),
            newest: watch::Sender::new(0),
            wanted: Notify::new(),
        }
    }

    /// Hears of newer parts; from now on they are made.
    pub(super) fn follow(&self) -> watch::Receiver<u64> {
        let follower = self.newest.subscribe();
        self.wanted.notify_one();
        follower
    }

    /// The id of an event after which a follower knows all up to a number.
    pub(super) fn id(&self, number: u64) -> String {
        format!("{}-{number}", self.run)
    }

    /// The number in such an id, if it is of this run.
    pub(super) fn number_in(&self, id: &str) -> Option<u64> {
        let (run, number) = id.split_once('-')?;
        (run == self.run).then(|| number.parse().ok())?
    }

    /// What is newer than a number, the oldest first.
    pub(super) fn newer(&self, than: u64) -> Newer {
        // Nothing in here panics, so that it is not poisoned; if it were, nobody would be told anything.
        let Ok(parts) = self.parts.lock() else {
            return Newer {
                parts: Vec::new(),
                number: than,
            };
        };
        let mut newer: Vec<&Part> = parts.values().filter(|part| part.number > than).collect();
        newer.sort_by_key(|part| part.number);
        Newer {
            number: newer.last().map_or(than, |part| part.number),
            parts: newer.iter().map(|part| Arc::clone(&part.data)).collect(),
        }
    }

    /// Nobody looks: what was rendered is old when somebody does again.
    fn forget(&self) {
        if let Ok(mut parts) = self.parts.lock() {
            parts.clear();
        }
    }

    /// Takes parts in; those that are as they were change nothing.
    fn put(&self, rendered: Vec<(String, Markup)>) {
        let Ok(mut parts) = self.parts.lock() else {
            return;
        };
        let before = *self.newest.borrow();
        let mut newest = before;
        parts.retain(|id, _| rendered.iter().any(|(own, _)| own == id));
        for (id, markup) in rendered {
            let html = markup.into_string();
            if parts.get(&id).is_some_and(|part| part.html == html) {
                continue;
            }
            let data = Data {
                id: &id,
                html: &html,
            };
            // Texts always become JSON.
            let Ok(data) = serde_json::to_string(&data) else {
                continue;
            };
            newest += 1;
            let part = Part {
                number: newest,
                html,
                data: data.into(),
            };
            parts.insert(id, part);
        }
        drop(parts);
        if newest > before {
            self.newest.send_replace(newest);
        }
    }
}

/// Renders while anybody looks, until the daemon stops.
pub(crate) async fn run(api: Arc<Api>) {
    let mut news = api.shift.listen();
    let mut beat = interval(BEAT);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut rendered = Instant::now();
    loop {
        tokio::select! {
            () = api.stop.cancelled() => return,
            told = news.recv() => match told {
                Ok(news) if news.records.is_empty() && news.began.is_empty() => continue,
                Ok(_) | Err(RecvError::Lagged(_)) => {}
                Err(RecvError::Closed) => return,
            },
            () = api.hub.wanted.notified() => {}
            _ = beat.tick() => {}
        }
        if api.hub.newest.receiver_count() == 0 {
            api.hub.forget();
            continue;
        }
        let waits = TOGETHER.saturating_sub(rendered.elapsed());
        if !waits.is_zero() {
            sleep(waits).await;
        }
        // Where the daemon is held up, what was shown last stays.
        if let Ok(shop) = now::look(&api, None).await {
            api.hub.put(live::parts(&shop));
        }
        rendered = Instant::now();
    }
}

#[cfg(test)]
mod tests {
    use maud::html;

    use super::*;

    fn parts(clock: &str, state: &str) -> Vec<(String, Markup)> {
        vec![
            ("clock".to_owned(), html! { (clock) }),
            ("state".to_owned(), html! { (state) }),
        ]
    }

    #[test]
    fn only_what_has_changed_is_told_and_only_the_newest_of_it() {
        let hub = Hub::new();
        assert_eq!(hub.newer(0).parts.len(), 0);
        hub.put(parts("09:00", "Good"));
        let first = hub.newer(0);
        assert_eq!((first.parts.len(), first.number), (2, 2));
        hub.put(parts("09:01", "Good"));
        hub.put(parts("09:02", "Good"));
        let then = hub.newer(first.number);
        assert_eq!(
            then.parts.len(),
            1,
            "one clock, whatever it showed in between"
        );
        assert!(then.parts[0].contains("09:02"));
        hub.put(parts("09:02", "Good"));
        assert_eq!(hub.newer(then.number).parts.len(), 0);
    }

    #[test]
    fn whoever_knows_another_run_s_parts_is_told_all() {
        let (hub, other) = (Hub::new(), Hub::new());
        hub.put(parts("09:00", "Good"));
        assert_eq!(hub.number_in(&hub.id(2)), Some(2));
        for id in [other.id(2).as_str(), "", "2", "-2", "a-b"] {
            assert_eq!(hub.number_in(id), None, "{id}");
        }
    }

    #[test]
    fn what_a_part_says_is_escaped() {
        let hub = Hub::new();
        hub.put(parts("<script>alert(1)</script>", "Good"));
        let told = hub.newer(0).parts.concat();
        assert!(!told.contains("<script") && told.contains("&lt;script&gt;"));
    }
}
