//! Ways out: where verdicts, alarms and events go.
//!
//! Each sink is one task in a file of its own, and follows what the journal has committed. Its outbox is a place
//! in the journal up to which everything is settled: taken by the other side, or refused for good and set aside
//! with its reason. So an outage delays and loses nothing, however long it lasts and whatever is restarted
//! meanwhile; and it costs no memory, since what waits lies in the journal already.
//!
//! What is sent may be sent twice, where an answer was lost or the daemon died before it could note it down. It
//! then has the same identity, and whoever receives it knows it by that: the `id` of a message, the time and tags
//! of a point. The order of the records is kept.
//!
//! Neither the engine nor the journal ever waits for a sink. A sink waits: with growing, jittered waits where a
//! trouble may pass, every minute where somebody has to mend something.

mod alarm;
mod command;
mod compose;
mod desk;
mod health;
mod http;
mod influxdb;
mod ledger;
pub mod message;
mod mqtt;
mod outbox;
mod secret;
mod webhook;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Sends, Shop, Sink, SinkKind};
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

pub use health::{Counts, Health, Way};

use crate::journal::{ReadError, Reader, Readers, Standing};
use crate::time::Steady;
pub(crate) use ledger::{Committed, Ledger};
use outbox::{Common, Outbox};

/// Sinks that have not ended so long after they were told are given up.
const PATIENCE: Duration = Duration::from_secs(3);

/// A sink that runs.
#[derive(Debug)]
struct Running {
    sink: Sink,
    health: Arc<Health>,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

/// All sinks of a shop.
#[derive(Debug)]
pub(crate) struct Sinks {
    running: Mutex<Vec<Running>>,
    shop: Mutex<Option<Arc<Shop>>>,
    common: Common,
    stop: CancellationToken,
}

impl Sinks {
    /// None yet. They end when `stop` is cancelled.
    pub(crate) fn new(
        ledger: Arc<Ledger>,
        readers: Readers,
        steady: Steady,
        stop: CancellationToken,
    ) -> Sinks {
        Sinks {
            running: Mutex::default(),
            shop: Mutex::default(),
            common: Common {
                ledger,
                readers,
                steady,
            },
            stop,
        }
    }

    /// Starts those of a shop. Those that run already and that the shop file declares as before go on; others end,
    /// and what takes the place of one begins where that has ended.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub(crate) fn start(&self, shop: &Shop, reader: &Reader) -> Result<(), ReadError> {
        let (Ok(mut running), Ok(mut own)) = (self.running.lock(), self.shop.lock()) else {
            return Ok(());
        };
        let same_shop = own.as_ref().is_some_and(|own| is_told_alike(own, shop));
        let shop = Arc::new(shop.clone());
        let mut before: Vec<Running> = running.drain(..).collect();
        for sink in &shop.sinks {
            let known = before.iter().position(|own| own.sink.id == sink.id);
            let known = known.map(|place| before.swap_remove(place));
            match known {
                Some(known) if same_shop && known.sink == *sink => running.push(known),
                known => {
                    let standing = self.standing(sink, reader)?;
                    running.push(self.run(&shop, sink, standing, known));
                }
            }
        }
        before.iter().for_each(|gone| gone.stop.cancel());
        *own = Some(shop);
        Ok(())
    }

    /// Where a sink stands. A new one begins with what comes from now on.
    fn standing(&self, sink: &Sink, reader: &Reader) -> Result<Standing, ReadError> {
        let kind = kind(&sink.kind);
        let known = match self.common.ledger.latest(&sink.id) {
            Some(known) => Some(known),
            None => reader.standing(&sink.id)?,
        };
        let now = self.common.ledger.now();
        if let Some(mut known) = known.filter(|known| known.kind == kind) {
            if !sink.sends.readings {
                // Should they be sent some day, those from before it are not.
                known.commit = now.commit;
            }
            return Ok(known);
        }
        let standing = Standing {
            sink: sink.id.clone(),
            kind: kind.to_owned(),
            record: now.record,
            commit: now.commit,
        };
        self.common.ledger.note(standing.clone());
        Ok(standing)
    }

    fn run(
        &self,
        shop: &Arc<Shop>,
        sink: &Sink,
        standing: Standing,
        before: Option<Running>,
    ) -> Running {
        let health = Arc::new(Health::default());
        let stop = self.stop.child_token();
        let (common, delay) = (self.common.clone(), delay(shop, sink));
        let make = {
            let (shop, sink) = (Arc::clone(shop), sink.clone());
            let (health, stop) = (Arc::clone(&health), stop.clone());
            move |standing| Outbox::new(&shop, &sink, standing, delay, common, health, stop)
        };
        let (shop, kind) = (Arc::clone(shop), sink.kind.clone());
        let sends_readings = sink.sends.readings;
        let ledger = Arc::clone(&self.common.ledger);
        let task = tokio::spawn(async move {
            let mut standing = standing;
            if let Some(before) = before {
                before.stop.cancel();
                end(before).await;
                // It may have come further meanwhile.
                standing = match ledger.latest(&standing.sink) {
                    Some(latest) if latest.kind == standing.kind => latest,
                    _ => standing,
                };
            }
            let outbox = make(standing);
            match kind {
                SinkKind::Mqtt(broker) => mqtt::run(outbox, broker, shop).await,
                SinkKind::Influxdb {
                    url,
                    org,
                    bucket,
                    token,
                    roots,
                    readings_every,
                    gzip,
                } => {
                    let every = readings_every.map_or(influxdb::USUAL_INTERVAL, |every| every.0);
                    let settings = influxdb::Settings {
                        url,
                        org,
                        bucket,
                        token,
                        roots,
                        gzip,
                        readings_every: sends_readings.then_some(every),
                    };
                    influxdb::run(outbox, settings, shop).await;
                }
                SinkKind::Webhook { url, secret, roots } => {
                    webhook::run(outbox, url, secret, roots).await;
                }
                SinkKind::Command {
                    program,
                    arguments,
                    timeout,
                    most_at_once,
                } => {
                    let limit = timeout.map(|limit| Duration::from_secs_f64(limit.0));
                    let program = command::Program {
                        program,
                        arguments,
                        limit: limit.unwrap_or(command::USUAL),
                        most_at_once: usize::try_from(most_at_once).unwrap_or(1),
                    };
                    command::run(outbox, program).await;
                }
            }
        });
        Running {
            sink: sink.clone(),
            health,
            stop,
            task,
        }
    }

    /// How they are, in the order of the shop file: id, kind, health.
    pub(crate) fn health(&self) -> Vec<(String, &'static str, Arc<Health>)> {
        let running = self.running.lock();
        running.map_or_else(
            |_| Vec::new(),
            |running| {
                let each = running.iter();
                each.map(|own| {
                    let kind = kind(&own.sink.kind);
                    (own.sink.id.clone(), kind, Arc::clone(&own.health))
                })
                .collect()
            },
        )
    }

    /// Has a sink send again what it has set aside until now. Returns once that wish is on the disk.
    pub(crate) async fn ask_again(&self, sink: &str) {
        self.common.ledger.ask_again(sink).await;
    }

    /// How many records wait for each.
    pub(crate) fn waiting(&self) -> Vec<(String, u64)> {
        let last = self.common.ledger.now().record.0;
        let all = self.health().into_iter();
        all.map(|(id, _, health)| (id, health.counts(last).waiting))
            .collect()
    }

    /// Tells all to stop, and waits until they have, or are given up.
    pub(crate) async fn stop(&self) {
        self.stop.cancel();
        let all: Vec<Running> = match self.running.lock() {
            Ok(mut running) => running.drain(..).collect(),
            Err(_) => return,
        };
        for running in all {
            end(running).await;
        }
    }
}

async fn end(running: Running) {
    let mut task = running.task;
    if timeout(PATIENCE, &mut task).await.is_err() {
        tracing::warn!(
            sink = running.sink.id,
            "did not end in time and is given up"
        );
        task.abort();
        let _ = task.await;
    }
}

/// A sink's kind, as the shop file calls it.
fn kind(kind: &SinkKind) -> &'static str {
    match kind {
        SinkKind::Mqtt(_) => "mqtt",
        SinkKind::Influxdb { .. } => "influxdb",
        SinkKind::Webhook { .. } => "webhook",
        SinkKind::Command { .. } => "command",
    }
}

/// Whether two shops are told of in the same words.
fn is_told_alike(one: &Shop, other: &Shop) -> bool {
    one.name == other.name
        && one.timezone == other.timezone
        && one.alarms.escalate_after == other.alarms.escalate_after
        && one.stations == other.stations
        && one.probes == other.probes
        && one.signals == other.signals
}

/// How long what goes through a sink waits first, to see whether somebody acknowledges it: as the sink says; else,
/// of the sinks to people that carry alarms alone, the second waits once as long as `escalate_after` says, the
/// third twice, and so on.
fn delay(shop: &Shop, sink: &Sink) -> Option<Seconds> {
    if sink.alarms_after.is_some() {
        return sink.alarms_after;
    }
    let escalate_after = shop.alarms.escalate_after?;
    let calls = |sink: &&Sink| {
        let to_people = matches!(
            sink.kind,
            SinkKind::Webhook { .. } | SinkKind::Command { .. }
        );
        let only = Sends {
            alarms: true,
            ..Sends::default()
        };
        to_people && sink.sends == only && sink.alarms_after.is_none()
    };
    let place = shop
        .sinks
        .iter()
        .filter(calls)
        .position(|own| own == sink)?;
    (place > 0).then_some(Seconds(escalate_after.0 * place as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_is_called_next_waits_longer_and_who_says_so_waits_as_said() {
        let call = |id: &str, more: &str| {
            format!("[[sink]]\nid = {id:?}\nkind = \"command\"\nprogram = \"/bin/true\"\n{more}")
        };
        let text = String::from("[alarms]\nescalate_after = \"2 min\"\n")
            + &call("bell", "")
            + "[[sink]]\nid = \"office\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:1\"\n"
            + &call("lead", "")
            + &call("own", "alarms_after = \"30 s\"\n")
            + &call("owner", "");
        let shop = Shop::parse("shop.toml", &text).value;
        let delays: Vec<_> = shop.sinks.iter().map(|sink| delay(&shop, sink)).collect();
        let seconds = |seconds: f64| Some(Seconds(seconds));
        // The office hears verdicts too, which do not wait.
        assert_eq!(
            delays,
            [None, None, seconds(120.0), seconds(30.0), seconds(240.0)]
        );
    }
}
