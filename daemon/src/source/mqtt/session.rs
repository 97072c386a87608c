//! One connection to a broker, from its first packet to its last.
//!
//! Readings are handed over while acknowledgements and pings go on: the broker hears from us also while the
//! daemon can take nothing for minutes. Nothing is read meanwhile, so that the broker keeps what waits.

use std::pin::Pin;
use std::time::Duration;

use sha2::{Digest, Sha256};
use tokio::time::{Instant, sleep_until, timeout};

use super::Task;
use super::ledger::Met;
use super::topic::Subscription;
use super::understanding::Taken;
use crate::broker::Trouble;
use crate::intake::{Closed, Delivery, Intake, MessageMark, Notice, Said, SourceId};
use crate::mqtt::{self, Accepted, Grant, Hello, Incoming, Lost, Message, Wire, Wish};
use crate::source::health::Line;

/// The broker hears from us at least so often; after half as long again it may hang up.
const KEEP_ALIVE_S: u16 = 20;
/// An answer to the first packets takes no longer.
const ANSWER_WITHIN: Duration = Duration::from_secs(15);
/// Receipts of one commit come one after the other; their acknowledgements wait so long for each other.
const GATHER: Duration = Duration::from_millis(1);
/// At the end the daemon has so long to take what is still in hand. What it does not take stays with the
/// broker, which has no acknowledgement of it.
const TAKE_WITHIN: Duration = Duration::from_secs(2);

/// How a connection ended.
#[derive(Debug)]
pub(super) enum End {
    /// The daemon stops.
    Stopped,
    /// The connection was lost, or never made.
    Lost(Lost),
    /// The broker wants none of us, or something else is to be mended.
    Trouble(Trouble),
    /// Another client came with our name.
    TakenOver,
    /// A message did not reach the journal; a new connection brings it again.
    GivenUp,
}

impl From<Lost> for End {
    fn from(lost: Lost) -> End {
        End::Lost(lost)
    }
}

impl From<Trouble> for End {
    fn from(trouble: Trouble) -> End {
        End::Trouble(trouble)
    }
}

impl From<Closed> for End {
    fn from(_: Closed) -> End {
        End::Stopped
    }
}

/// How far a connection has come.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Stage {
    /// The journal is to note that the session is a new one.
    Noting,
    /// Topics have been asked for.
    Asked(Instant),
    /// They have been granted, or refused.
    Settled,
}

/// On its way into the queue.
type Handing = Pin<Box<dyn Future<Output = Result<(), Closed>> + Send>>;

pub(super) struct Session<'a> {
    task: &'a mut Task,
    wire: Wire,
    stage: Stage,
    keep_alive: Duration,
    heard: Instant,
    ping_at: Instant,
    acknowledge_at: Option<Instant>,
    handing: Option<Handing>,
    /// What was read and is to be handed over next.
    notice: Option<Notice>,
    deliveries: Vec<Delivery>,
    ready: Vec<u16>,
    garbled_said: bool,
}

/// Talks to a broker until the end. Nothing of it is left then but what the ledger knows.
pub(super) async fn converse(task: &mut Task, wire: Wire) -> End {
    let stop = task.stop.clone();
    let mut session = Session::new(task, wire);
    let opened = tokio::select! {
        () = stop.cancelled() => return End::Stopped,
        opened = timeout(ANSWER_WITHIN, session.open()) => opened,
    };
    match opened {
        Err(_) => return End::Lost(Lost::Silent),
        Ok(Err(End::Lost(Lost::Closed))) => return End::Lost(Lost::Unheard),
        Ok(Err(end)) => return end,
        Ok(Ok(())) => {}
    }
    match session.go_on().await {
        Ok(()) => session.close().await,
        Err(end) => end,
    }
}

impl<'a> Session<'a> {
    fn new(task: &'a mut Task, wire: Wire) -> Session<'a> {
        let keep_alive = Duration::from_secs(KEEP_ALIVE_S.into());
        let now = Instant::now();
        Session {
            task,
            wire,
            stage: Stage::Noting,
            keep_alive,
            heard: now,
            ping_at: now + keep_alive.mul_f64(0.75),
            acknowledge_at: None,
            handing: None,
            notice: None,
            deliveries: Vec::new(),
            ready: Vec::new(),
            garbled_said: false,
        }
    }

    /// Until the broker has let us in.
    async fn open(&mut self) -> Result<(), End> {
        let login = crate::broker::login(&self.task.broker)?;
        self.wire.put_connect(&Hello {
            client_id: &self.task.client_id,
            keep_alive: KEEP_ALIVE_S,
            login: login.as_ref(),
            session: mqtt::Session::Kept,
            will: None,
        })?;
        self.wire.flush().await?;
        let answer = loop {
            if let Some(answer) = self.wire.next()? {
                break answer;
            }
            self.wire.read().await?;
        };
        match answer {
            Incoming::Accepted(Accepted {
                session_present,
                keep_alive,
                ..
            }) => {
                // A broker's 0 switches the matter off; our own pings do no harm then.
                if let Some(seconds @ 1..) = keep_alive {
                    self.keep_alive = Duration::from_secs(seconds.into());
                }
                self.ping_at = Instant::now() + self.keep_alive.mul_f64(0.75);
                self.heard = Instant::now();
                self.begin(session_present);
                Ok(())
            }
            Incoming::RefusedV3(code) => Err(Trouble::refused_v3(&self.task.broker, code).into()),
            Incoming::RefusedV5(code) => Err(Trouble::refused_v5(&self.task.broker, code).into()),
            other => Err(out_of_turn(other)),
        }
    }

    fn begin(&mut self, session_present: bool) {
        tracing::info!(
            source = self.task.source.0,
            session_present,
            "connected to the broker"
        );
        if let Some((mark, receipt)) = self.task.ledger.connected(session_present) {
            self.deliveries.push(Delivery {
                source: self.task.source,
                arrived: std::time::Instant::now(),
                said: Vec::new(),
                mark: Some(mark),
                receipt: Some(receipt),
            });
        }
        self.hand_over();
    }

    /// Until the daemon stops.
    async fn go_on(&mut self) -> Result<(), End> {
        self.take_in()?;
        loop {
            self.step()?;
            self.wire.flush().await?;
            let acknowledge_at = self.acknowledge_at;
            tokio::select! {
                biased;
                () = self.task.stop.cancelled() => return Ok(()),
                () = self.task.ledger.changed() => self.acknowledge_soon(),
                () = until(acknowledge_at) => self.put_acknowledgements()?,
                () = sleep_until(self.ping_at) => self.ping()?,
                handed = handed(&mut self.handing) => {
                    self.handing = None;
                    self.heard = Instant::now();
                    handed?;
                    self.take_in()?;
                }
                read = self.wire.read(), if self.handing.is_none() => {
                    read?;
                    self.heard = Instant::now();
                    self.take_in()?;
                }
            }
        }
    }

    /// Hands over what is in hand, acknowledges what has arrived, and says good-bye.
    async fn close(mut self) -> End {
        if let Some(handing) = self.handing.take() {
            // What is not taken has no acknowledgement, and stays with the broker.
            let _ = timeout(TAKE_WITHIN, handing).await;
        }
        let farewell = self.put_acknowledgements();
        if farewell.and_then(|()| self.wire.put_farewell()).is_ok() {
            let _ = self.wire.flush().await;
        }
        End::Stopped
    }

    fn step(&mut self) -> Result<(), End> {
        if self.task.ledger.given_up() {
            return Err(End::GivenUp);
        }
        if self.stage == Stage::Noting && self.task.ledger.session_noted() {
            let wishes: Vec<Wish> = self.task.subscriptions.iter().map(wish).collect();
            self.wire.put_subscribe(&wishes)?;
            self.stage = Stage::Asked(Instant::now());
        }
        Ok(())
    }

    fn ping(&mut self) -> Result<(), End> {
        // While nothing is read, nothing can be heard.
        let silence = self.keep_alive.mul_f64(1.5).max(ANSWER_WITHIN);
        if self.handing.is_none() && self.heard.elapsed() > silence {
            return Err(Lost::Silent.into());
        }
        if let Stage::Asked(at) = self.stage
            && self.handing.is_none()
            && at.elapsed() > silence
        {
            return Err(Lost::Silent.into());
        }
        self.ping_at = Instant::now() + self.keep_alive.mul_f64(0.75);
        Ok(self.wire.put_ping()?)
    }

    fn acknowledge_soon(&mut self) {
        self.acknowledge_at
            .get_or_insert_with(|| Instant::now() + GATHER);
    }

    fn put_acknowledgements(&mut self) -> Result<(), Lost> {
        self.acknowledge_at = None;
        self.task.ledger.take_ready(&mut self.ready);
        for packet in self.ready.drain(..) {
            self.wire.put_acknowledgement(packet)?;
        }
        Ok(())
    }

    /// Takes every whole packet of what has been read.
    fn take_in(&mut self) -> Result<(), End> {
        while let Some(incoming) = self.wire.next()? {
            match incoming {
                Incoming::Message(message) => self.message(message),
                Incoming::TooLarge(packet) => {
                    if let Some(packet) = packet {
                        self.task.ledger.passed_over(packet);
                    }
                    self.garbled("a message of more than 64 KiB");
                }
                Incoming::Subscribed(granted) => self.subscribed(&granted),
                Incoming::Pong => {}
                other => return Err(out_of_turn(other)),
            }
        }
        self.acknowledge_soon();
        self.hand_over();
        Ok(())
    }

    fn subscribed(&mut self, granted: &[Grant]) {
        self.stage = Stage::Settled;
        let wanted = self.task.subscriptions.iter().zip(granted);
        let refused = wanted.filter(|(_, grant)| **grant == Grant::Refused);
        let refused: Vec<String> = refused
            .map(|(wanted, _)| format!("{:?}", wanted.filter))
            .collect();
        if granted.contains(&Grant::Lossy) {
            tracing::warn!(
                source = self.task.source.0,
                "the broker grants topics at QoS 0 only: readings are lost where the connection is; let it grant QoS 1"
            );
        }
        if refused.is_empty() {
            self.task.down = None;
            self.task.health.set(Line::Up);
            self.notice = Some(Notice::Up);
            return;
        }
        let why = format!(
            "the broker refuses the topics {}; give the user rights to read them at the broker, or correct filter in the shop file",
            refused.join(", ")
        );
        if self.task.down.as_ref() != Some(&why) {
            self.task.health.set(Line::Down(why.clone()));
            self.notice = Some(Notice::Down(why.clone()));
            self.task.down = Some(why);
        }
    }

    fn message(&mut self, message: Message) {
        let mark = message.packet.map(|packet| MessageMark {
            packet,
            digest: digest(&message.topic, &message.payload),
        });
        let number = match mark.map(|mark| self.task.ledger.meet(mark, message.again)) {
            Some(Met::Again) => return self.task.health.repeated(),
            Some(Met::New(number)) => Some(number),
            None => None,
        };
        let said = self.said_in(&message);
        if said.is_empty() {
            if let Some(number) = number {
                self.task.ledger.nothing_in(number);
            }
            return;
        }
        self.task.health.understood(said.len() as u64);
        self.deliveries.push(Delivery {
            source: self.task.source,
            arrived: std::time::Instant::now(),
            said,
            mark,
            receipt: number.map(|number| self.task.ledger.receipt(number)),
        });
    }

    /// What a message says of each of its channels.
    fn said_in(&mut self, message: &Message) -> Vec<Said> {
        let (mut said, mut old) = (Vec::with_capacity(1), false);
        let (topic, payload) = (&message.topic, &message.payload);
        let understanding = &mut self.task.understanding;
        understanding.of(topic, payload, message.retained, |taken| match taken {
            Taken::Said(reading) => said.push(reading),
            Taken::Old(_) => old = true,
            Taken::Unclear(..) => {}
        });
        if said.is_empty() && !old {
            self.garbled("a message that is not understood");
        }
        said
    }

    fn garbled(&mut self, what: &str) {
        self.task.health.garbled();
        if !std::mem::replace(&mut self.garbled_said, true) {
            tracing::warn!(
                source = self.task.source.0,
                "{what} came; see the topics, and value, time and sequence, in the shop file (said once for each connection)"
            );
        }
    }

    fn hand_over(&mut self) {
        if self.notice.is_none() && self.deliveries.is_empty() {
            return;
        }
        let (intake, source) = (self.task.intake.clone(), self.task.source);
        let deliveries = std::mem::take(&mut self.deliveries);
        let handing = hand_over(intake, source, self.notice.take(), deliveries);
        self.handing = Some(match self.handing.take() {
            None => Box::pin(handing),
            Some(before) => Box::pin(async move {
                before.await?;
                handing.await
            }),
        });
    }
}

async fn hand_over(
    intake: Intake,
    source: SourceId,
    notice: Option<Notice>,
    deliveries: Vec<Delivery>,
) -> Result<(), Closed> {
    if let Some(notice) = notice {
        intake.tell(source, notice).await?;
    }
    for delivery in deliveries {
        intake.deliver(delivery).await?;
    }
    Ok(())
}

async fn handed(handing: &mut Option<Handing>) -> Result<(), Closed> {
    match handing {
        Some(handing) => handing.await,
        None => std::future::pending().await,
    }
}

async fn until(moment: Option<Instant>) {
    match moment {
        Some(moment) => sleep_until(moment).await,
        None => std::future::pending().await,
    }
}

/// What a broker had kept from before tells of no time but its own, and where clients share a subscription none
/// of it is sent (MQTT 5.0, section 3.3.1.3).
fn wish(wanted: &Subscription) -> Wish {
    Wish {
        filter: wanted.filter.clone(),
        retained: wanted.timed && !wanted.filter.starts_with("$share"),
    }
}

/// The first 16 bytes of the SHA-256 of topic and payload. (No topic holds a zero byte.)
fn digest(topic: &[u8], payload: &[u8]) -> [u8; 16] {
    let mut hash = Sha256::new();
    hash.update(topic);
    hash.update([0]);
    hash.update(payload);
    let whole: [u8; 32] = hash.finalize().into();
    let mut half = [0; 16];
    half.copy_from_slice(&whole[..16]);
    half
}

/// A packet that has no place here.
fn out_of_turn(incoming: Incoming) -> End {
    match incoming {
        Incoming::TakenOver => End::TakenOver,
        Incoming::Farewell(why) => End::Trouble(Trouble::passing(format!(
            "the broker has closed the connection, its reason being {why}"
        ))),
        _ => End::Lost(Lost::NoMqtt("a packet out of turn".to_owned())),
    }
}
