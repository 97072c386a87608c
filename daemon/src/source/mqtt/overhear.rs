//! Listening to a broker without taking anything from anybody.
//!
//! A listener comes under a name of its own and leaves no session behind, so that the daemon's stays as it is and goes on
//! getting every message. What it hears is shown to people and judged by nobody.

use std::time::Duration;

use inkdwell_config::shop::{Broker, MqttTopic};
use rand::Rng;
use tokio::time::{Instant, sleep_until, timeout};

use super::topic::{shared_filter, subscriptions};
use crate::broker::{self, Trouble};
use crate::mqtt::{Grant, Hello, Incoming, Lost, Session, Wire, Wish};

/// The broker hears from a listener at least so often.
const KEEP_ALIVE_S: u16 = 20;
/// An answer to the first packets takes no longer.
const ANSWER_WITHIN: Duration = Duration::from_secs(15);

/// What a listener hears.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Overheard {
    /// The broker has taken its subscriptions but for these filters, which it refuses.
    Subscribed {
        /// Refused.
        refused: Vec<String>,
    },
    /// A message.
    Message {
        /// Its topic, as bytes.
        topic: Vec<u8>,
        /// What it says.
        payload: Vec<u8>,
        /// Whether the broker had kept it from before.
        retained: bool,
    },
    /// A message larger than 64 KiB, which sources pass over too.
    TooLarge,
}

/// A connection that only listens. Dropped, it is closed.
pub struct Listener {
    wire: Wire,
    wishes: Vec<Wish>,
    ping_at: Instant,
}

impl Listener {
    /// Connects, and asks for what these topics name, with what the broker has kept of it.
    ///
    /// # Errors
    /// What is in the way.
    pub async fn connect(broker: &Broker, topics: &[MqttTopic]) -> Result<Listener, Trouble> {
        let login = broker::login(broker)?;
        let stream = broker::connect(broker).await?;
        let mut wire = Wire::new(stream, broker.version);
        let name = broker::client_id(&rand::rng().next_u64().to_string(), "listener", "");
        let let_in = async {
            wire.put_connect(&Hello {
                client_id: &name,
                keep_alive: KEEP_ALIVE_S,
                login: login.as_ref(),
                session: Session::Fresh,
                will: None,
            })?;
            wire.flush().await?;
            loop {
                if let Some(answer) = wire.next()? {
                    return Ok::<_, Lost>(answer);
                }
                wire.read().await?;
            }
        };
        let answer = match timeout(ANSWER_WITHIN, let_in).await {
            Err(_) => Err(Lost::Silent),
            Ok(Err(Lost::Closed)) => Err(Lost::Unheard),
            Ok(answer) => answer,
        };
        match answer? {
            Incoming::Accepted(_) => {}
            Incoming::RefusedV3(code) => return Err(Trouble::refused_v3(broker, code)),
            Incoming::RefusedV5(code) => return Err(Trouble::refused_v5(broker, code)),
            _ => return Err(Lost::NoMqtt("a packet out of turn".to_owned()).into()),
        }
        let wishes = subscriptions(topics).into_iter().map(|own| Wish {
            // In a group of listeners it would take what is sent to another.
            filter: shared_filter(&own.filter).to_owned(),
            // What the broker has kept is told too.
            retained: true,
        });
        let mut listener = Listener {
            wire,
            wishes: wishes.collect(),
            ping_at: soon(),
        };
        listener.subscribe().await?;
        Ok(listener)
    }

    async fn subscribe(&mut self) -> Result<(), Lost> {
        self.wire.put_subscribe(&self.wishes)?;
        self.wire.flush().await
    }

    /// What is heard next; it may take for ever. Dropped while it waits, it loses the connection.
    ///
    /// # Errors
    /// Why the connection is lost.
    pub async fn next(&mut self) -> Result<Overheard, Trouble> {
        Ok(self.hear().await?)
    }

    async fn hear(&mut self) -> Result<Overheard, Lost> {
        loop {
            while let Some(incoming) = self.wire.next()? {
                match incoming {
                    Incoming::Message(message) => {
                        if let Some(packet) = message.packet {
                            self.wire.put_acknowledgement(packet)?;
                            self.wire.flush().await?;
                        }
                        return Ok(Overheard::Message {
                            topic: message.topic.to_vec(),
                            payload: message.payload.to_vec(),
                            retained: message.retained,
                        });
                    }
                    Incoming::TooLarge(packet) => {
                        if let Some(packet) = packet {
                            self.wire.put_acknowledgement(packet)?;
                            self.wire.flush().await?;
                        }
                        return Ok(Overheard::TooLarge);
                    }
                    Incoming::Subscribed(granted) => {
                        let asked = self.wishes.iter().zip(granted);
                        let refused = asked.filter(|(_, grant)| *grant == Grant::Refused);
                        let refused = refused.map(|(asked, _)| asked.filter.clone()).collect();
                        return Ok(Overheard::Subscribed { refused });
                    }
                    Incoming::TakenOver => return Err(Lost::Closed),
                    Incoming::Farewell(why) => return Err(Lost::Broken(why)),
                    Incoming::Pong => {}
                    _ => return Err(Lost::NoMqtt("a packet out of turn".to_owned())),
                }
            }
            tokio::select! {
                read = self.wire.read() => read?,
                () = sleep_until(self.ping_at) => {
                    self.ping_at = soon();
                    self.wire.put_ping()?;
                    self.wire.flush().await?;
                }
            }
        }
    }
}

fn soon() -> Instant {
    Instant::now() + Duration::from_secs(KEEP_ALIVE_S.into()).mul_f64(0.75)
}
