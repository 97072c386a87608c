//! One connection on which everything is published that comes.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use inkdwell_config::shop::Shop;
use rumqttc::v5::mqttbytes::v5::PubAckReason;
use tokio::time::{Instant, MissedTickBehavior, interval};

use super::topics::topic;
use super::{End, Terms, out_of_turn, state, status, written};
use crate::broker::Trouble;
use crate::journal::RecordNumber;
use crate::mqtt::{Incoming, Lost, Publication, Wire};
use crate::sink::message::Alive;
use crate::sink::outbox::Outbox;

/// It acknowledges within this time.
const ACKNOWLEDGE_WITHIN: Duration = Duration::from_secs(30);
/// States are looked at this often.
const LOOK_EVERY: Duration = Duration::from_millis(250);

/// A publication on its way.
struct Sent {
    packet: u16,
    is_letter: bool,
    since: Instant,
    /// What the broker said to it.
    answer: Option<Result<(), String>>,
}

/// A broker that has let us in.
pub(super) struct Connection<'a> {
    outbox: &'a mut Outbox,
    shop: &'a Arc<Shop>,
    wire: Wire,
    on_the_way: VecDeque<Sent>,
    terms: Terms,
    last_packet: u16,
    /// What is kept at the broker, by topic, and up to which record.
    states: HashMap<String, String>,
    stated: Option<RecordNumber>,
}

impl<'a> Connection<'a> {
    pub(super) fn new(
        outbox: &'a mut Outbox,
        shop: &'a Arc<Shop>,
        wire: Wire,
        terms: Terms,
    ) -> Connection<'a> {
        Connection {
            outbox,
            shop,
            wire,
            on_the_way: VecDeque::new(),
            terms,
            last_packet: 0,
            states: HashMap::new(),
            stated: None,
        }
    }

    /// Publishes what comes, until something ends that.
    pub(super) async fn publish_all(&mut self) -> Result<std::convert::Infallible, End> {
        let running = status(self.shop, Alive::Running)?;
        self.publish(&running, false).await?;
        let stop = self.outbox.stop.clone();
        let half = Duration::from_secs_f64(f64::from(self.terms.keep_alive.max(2)) / 2.0);
        let mut pings = interval(half);
        let mut looks = interval(LOOK_EVERY);
        looks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut heard = Instant::now();
        loop {
            let has_room = self.on_the_way.len() < self.terms.at_once;
            tokio::select! {
                () = stop.cancelled() => return Err(End::Over),
                read = self.wire.read() => {
                    read?;
                    heard = Instant::now();
                    self.take_answers().await?;
                }
                letter = self.outbox.next(), if has_room => {
                    let letter = letter?;
                    let topic = topic(&self.shop.name, letter.message.station(), letter.message.word());
                    match letter.message.json() {
                        Ok(json) => {
                            let publication = Publication { topic, payload: json.into(), retained: false };
                            self.publish(&publication, true).await?;
                        }
                        Err(error) => self.refuse(error.to_string(), true),
                    }
                }
                _ = looks.tick() => {
                    if heard.elapsed() > 3 * half || self.is_held_up() {
                        return Err(Lost::Silent.into());
                    }
                    self.tell_states().await?;
                }
                _ = pings.tick() => {
                    self.wire.put_ping()?;
                    self.wire.flush().await?;
                }
            }
            self.settle().await?;
        }
    }

    fn is_held_up(&self) -> bool {
        let first = self.on_the_way.front();
        first.is_some_and(|first| first.since.elapsed() > ACKNOWLEDGE_WITHIN)
    }

    async fn publish(&mut self, what: &Publication, is_letter: bool) -> Result<(), Trouble> {
        // A broker would hang up on it, again and again.
        if what.size() > self.terms.largest {
            self.refuse(
                format!(
                    "the broker takes no packet of more than {} bytes; let it take larger ones",
                    self.terms.largest
                ),
                is_letter,
            );
            return Ok(());
        }
        let packet = self.next_packet();
        self.wire.put_publication(packet, what)?;
        self.on_the_way.push_back(Sent {
            packet,
            is_letter,
            since: Instant::now(),
            answer: None,
        });
        Ok(self.wire.flush().await?)
    }

    /// What cannot be published is refused in its place.
    fn refuse(&mut self, why: String, is_letter: bool) {
        self.on_the_way.push_back(Sent {
            packet: 0,
            is_letter,
            since: Instant::now(),
            answer: Some(Err(why)),
        });
    }

    /// A packet identifier that is not on its way: 1 to 65 535 (MQTT 5.0, section 2.2.1).
    fn next_packet(&mut self) -> u16 {
        loop {
            self.last_packet = self.last_packet.checked_add(1).unwrap_or(1);
            let packet = self.last_packet;
            if self.on_the_way.iter().all(|sent| sent.packet != packet) {
                return packet;
            }
        }
    }

    async fn take_answers(&mut self) -> Result<(), End> {
        while let Some(incoming) = self.wire.next()? {
            match incoming {
                Incoming::Taken(packet) => self.answered(packet, Ok(())),
                Incoming::Declined(packet, reason) => {
                    let why = format!("the broker refuses it ({reason:?})");
                    match reason {
                        PubAckReason::NotAuthorized => {
                            return Err(End::Trouble(Trouble::slow(format!(
                                "{why}; give our user the right to publish below inkdwell/ at the broker"
                            ))));
                        }
                        PubAckReason::QuotaExceeded | PubAckReason::PacketIdentifierInUse => {
                            return Err(End::Trouble(Trouble::passing(why)));
                        }
                        _ => self.answered(packet, Err(why)),
                    }
                }
                Incoming::Pong => {}
                other => return Err(out_of_turn(other).into()),
            }
        }
        Ok(())
    }

    fn answered(&mut self, packet: u16, answer: Result<(), String>) {
        let sent = self.on_the_way.iter_mut();
        let mut waiting = sent.filter(|sent| sent.answer.is_none());
        if let Some(sent) = waiting.find(|sent| sent.packet == packet) {
            sent.answer = Some(answer);
        }
    }

    /// Settles what is answered, in order.
    async fn settle(&mut self) -> Result<(), End> {
        while let Some(first) = self.on_the_way.front_mut() {
            let Some(answer) = first.answer.take() else {
                return Ok(());
            };
            let is_letter = first.is_letter;
            self.on_the_way.pop_front();
            self.outbox.goes_well();
            match (answer, is_letter) {
                (Ok(()), true) => self.outbox.sent(),
                (Err(why), true) => self.outbox.set_aside(why).await?,
                (Ok(()), false) => {}
                // A state that the broker does not keep is told again with the next change.
                (Err(why), false) => tracing::warn!(sink = self.outbox.sink, "{why}"),
            }
        }
        Ok(())
    }

    /// Publishes the states that have changed, once all before them is on its way.
    async fn tell_states(&mut self) -> Result<(), End> {
        let has_room = self.on_the_way.len() < self.terms.at_once;
        let read = self.outbox.last_read();
        if !self.outbox.is_empty() || self.stated == Some(read) || !has_room {
            return Ok(());
        }
        let shop = Arc::clone(self.shop);
        let (states, alarms) = self
            .outbox
            .look(move |reader, clock, _| {
                let states = state::states(reader, clock, &shop)?;
                Ok((states, state::alarms(reader, clock, &shop)?))
            })
            .await?;
        for mut state in states {
            let topic = topic(&self.shop.name, Some(&state.station), "state");
            // The record alone is no change.
            let record = std::mem::take(&mut state.record);
            let same = written(&state)?;
            state.record = record;
            self.retain(topic, same, written(&state)?).await?;
        }
        for mut standing in alarms {
            let topic = topic(&self.shop.name, standing.station.as_deref(), "alarms");
            let record = std::mem::take(&mut standing.record);
            let same = written(&standing)?;
            standing.record = record;
            self.retain(topic, same, written(&standing)?).await?;
        }
        self.stated = Some(read);
        Ok(())
    }

    /// Publishes something that is kept, where it is not the same as before.
    async fn retain(&mut self, topic: String, same: String, json: String) -> Result<(), Trouble> {
        if self.states.get(&topic) == Some(&same) {
            return Ok(());
        }
        let publication = Publication {
            topic: topic.clone(),
            payload: Bytes::from(json),
            retained: true,
        };
        self.publish(&publication, false).await?;
        self.states.insert(topic, same);
        Ok(())
    }

    /// Says that the monitor was stopped, and goes.
    pub(super) async fn leave(&mut self) -> Result<(), Trouble> {
        let stopped = status(self.shop, Alive::Stopped)?;
        self.publish(&stopped, false).await?;
        // What was acknowledged until then need not be sent again.
        while self.on_the_way.iter().any(|sent| sent.answer.is_none()) {
            self.wire.read().await?;
            if self.take_answers().await.is_err() {
                break;
            }
        }
        while let Some(Sent {
            answer: Some(Ok(())),
            is_letter,
            ..
        }) = self.on_the_way.pop_front()
        {
            if is_letter {
                self.outbox.sent();
            }
        }
        self.wire.put_farewell()?;
        Ok(self.wire.flush().await?)
    }
}
