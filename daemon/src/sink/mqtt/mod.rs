//! Publishes to an MQTT broker: verdicts and events at QoS 1, states retained, and a last will by which everybody
//! learns when the monitor itself has died. `topics.rs` lists the topics, [`super::message`] what is in them.
//!
//! Some publications are on their way at a time, in the order of their records, and a record is settled when the
//! broker has acknowledged it and all before it. Where a connection is lost, what was not acknowledged is published
//! again on the next, under the same `id`; whoever has had an id passes over it.

mod connection;
mod state;
mod topics;

use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use inkdwell_config::shop::{Broker, Shop};
use tokio::time::timeout;

use self::connection::Connection;
use self::topics::topic;
use super::message::{Alive, Status};
use super::outbox::{Outbox, Over};
use crate::broker::{self, Trouble};
use crate::mqtt::{Hello, Incoming, Lost, Publication, Session, Wire};

/// The broker hears from us at least so often, in seconds, or tells the last will half as long after.
const KEEP_ALIVE: u16 = 20;
/// Publications on their way at a time.
const AT_ONCE: usize = 64;
/// The broker lets us in within this time, or is given up.
const ACCEPT_WITHIN: Duration = Duration::from_secs(10);
/// So long a farewell may take.
const FAREWELL: Duration = Duration::from_secs(2);

/// Why a connection ends.
enum End {
    Over,
    Trouble(Trouble),
}

impl From<Over> for End {
    fn from(_: Over) -> End {
        End::Over
    }
}

impl From<Trouble> for End {
    fn from(trouble: Trouble) -> End {
        End::Trouble(trouble)
    }
}

impl From<Lost> for End {
    fn from(lost: Lost) -> End {
        End::Trouble(lost.into())
    }
}

/// On which terms the broker has let us in.
struct Terms {
    /// Seconds between signs of life.
    keep_alive: u16,
    /// Publications on their way at a time.
    at_once: usize,
    /// Bytes of the largest packet.
    largest: usize,
}

pub(super) async fn run(mut outbox: Outbox, broker: Broker, shop: Arc<Shop>) {
    let client_id = broker::client_id(&shop.name, "sink", &outbox.sink);
    loop {
        let End::Trouble(trouble) = connection(&mut outbox, &broker, &shop, &client_id).await
        else {
            return;
        };
        outbox.begin_again();
        if outbox.wait_out(&trouble, None).await.is_err() {
            return;
        }
    }
}

async fn connection(
    outbox: &mut Outbox,
    broker: &Broker,
    shop: &Arc<Shop>,
    client_id: &str,
) -> End {
    let stop = outbox.stop.clone();
    let letting_in = async {
        let login = broker::login(broker)?;
        let stream = broker::connect(broker).await?;
        let mut wire = Wire::new(stream, broker.version);
        let will = status(shop, Alive::Lost)?;
        wire.put_connect(&Hello {
            client_id,
            keep_alive: KEEP_ALIVE,
            login: login.as_ref(),
            session: Session::Fresh,
            will: Some(&will),
        })?;
        wire.flush().await?;
        let accepted = timeout(ACCEPT_WITHIN, accepted(&mut wire, broker)).await;
        let accepted = accepted.map_err(|_| Lost::Silent)??;
        Ok::<_, Trouble>((wire, accepted))
    };
    let let_in = tokio::select! {
        () = stop.cancelled() => return End::Over,
        let_in = letting_in => let_in,
    };
    let (wire, terms) = match let_in {
        Ok(let_in) => let_in,
        Err(trouble) => return End::Trouble(trouble),
    };
    let mut connection = Connection::new(outbox, shop, wire, terms);
    let Err(end) = connection.publish_all().await;
    if matches!(end, End::Over) {
        // A broker that does not hear it tells the last will, which is wrong, but errs on the safe side.
        let _ = timeout(FAREWELL, connection.leave()).await;
    }
    end
}

/// Waits until the broker lets us in.
async fn accepted(wire: &mut Wire, broker: &Broker) -> Result<Terms, Trouble> {
    loop {
        match wire.next()? {
            Some(Incoming::Accepted(accepted)) => {
                return Ok(Terms {
                    keep_alive: accepted.keep_alive.unwrap_or(KEEP_ALIVE),
                    at_once: usize::from(accepted.at_once).clamp(1, AT_ONCE),
                    largest: accepted
                        .largest
                        .map_or(usize::MAX, |largest| largest as usize),
                });
            }
            Some(Incoming::RefusedV3(code)) => return Err(Trouble::refused_v3(broker, code)),
            Some(Incoming::RefusedV5(code)) => return Err(Trouble::refused_v5(broker, code)),
            Some(other) => return Err(out_of_turn(other)),
            None => wire.read().await?,
        }
    }
}

/// A packet that has no place where it came.
fn out_of_turn(incoming: Incoming) -> Trouble {
    match incoming {
        Incoming::TakenOver => Trouble::passing(
            "another client has come to the broker by our name; see whether a second daemon runs with a copy of this shop file, and give each shop its own name".to_owned(),
        ),
        Incoming::Farewell(why) => Trouble::passing(format!("the broker hangs up ({why})")),
        _ => Lost::NoMqtt("a packet that was not asked for".to_owned()).into(),
    }
}

/// How the monitor is, as it is retained.
fn status(shop: &Shop, state: Alive) -> Result<Publication, Trouble> {
    let text = match state {
        Alive::Running => "Inkdwell watches.",
        Alive::Stopped => "Inkdwell was stopped: nothing is watched.",
        Alive::Lost => {
            "Inkdwell has died, or its connection has: as far as anybody here knows, nothing is watched. Go and \
             look at the dryer first, then at the monitor."
        }
    };
    let status = Status {
        schema: "inkdwell.status/1".to_owned(),
        shop: shop.name.clone(),
        state,
        version: env!("CARGO_PKG_VERSION").to_owned(),
        text: text.to_owned(),
    };
    Ok(Publication {
        topic: topic(&shop.name, None, "status"),
        payload: Bytes::from(written(&status)?),
        retained: true,
    })
}

fn written(what: &impl serde::Serialize) -> Result<String, Trouble> {
    serde_json::to_string(what)
        .map_err(|error| Trouble::slow(format!("a message cannot be written ({error})")))
}
