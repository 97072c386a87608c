//! Readings from an MQTT broker.
//!
//! Topics are subscribed to at QoS 1, in a session that the broker keeps while we are away. A message is
//! acknowledged only after the journal has committed its readings, so that neither a crash here nor one of
//! the broker loses or doubles a reading; the file `ledger.rs` says by which rules. What a broker may do nevertheless:
//! - One that counts its packet identifiers from the lowest free one may have given a message that we never
//!   saw the identifier of one that we committed. If both are the same in every byte, the second is taken
//!   for the first. A sequence number or a time in the payload tells them apart.
//! - One that forgets the session, or fails to keep its messages, forgets readings. Publishers that send
//!   them again are told by their sequence numbers.
//!
//! The task makes a new connection for itself whenever one is lost, with growing waits. When it is told to
//! stop, it hands over what it has read, acknowledges what was committed until then, and leaves; the rest
//! comes again at the next start.

mod ledger;
mod overhear;
mod payload;
mod session;
mod topic;
mod understanding;

#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::time::{Duration, Instant};

use inkdwell_config::shop::{Broker, Mqtt, MqttTopic};
use tokio_util::sync::CancellationToken;

pub use self::overhear::{Listener, Overheard};
pub use self::payload::Unfit;
pub use self::understanding::{Taken, Understanding};

use self::ledger::Ledger;
use self::session::{End, converse};
use self::topic::{Subscription, subscriptions};
use crate::broker::{self, Trouble};
use crate::intake::{Intake, MessageMark, Notice, SourceId};
use crate::mqtt::{Lost, Wire};
use crate::source::health::{Health, Line};
use crate::source::waits::Waits;

/// What somebody has to mend is tried again so often: brokers lock out who tries a wrong password too often.
const SLOWLY: Duration = Duration::from_secs(60);
/// A connection that lasted so long was a good one.
const STEADY: Duration = Duration::from_secs(10);
/// After so many connections in a row that the broker closed at once, there is a reason.
const FLAPPING: u32 = 3;

/// What a source is as long as it runs, whatever becomes of its connections.
struct Task {
    source: SourceId,
    client_id: String,
    broker: Broker,
    subscriptions: Vec<Subscription>,
    understanding: Understanding,
    ledger: Arc<Ledger>,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
    /// What is in the way, as it was said.
    down: Option<String>,
}

/// Reads from a broker until it is told to stop, or the intake closes.
///
/// `client_id` is the client's name at the broker ([`broker::client_id`]). `memory` is what the journal
/// knew of messages at the start, in the order in which it committed them; the latest 32 768 are enough. An
/// empty delivery whose mark has the packet identifier 0 belongs among them: it stands where the broker had
/// lost the session, and voids what was before. No topic is subscribed to before its receipt was called.
pub async fn run(
    source: SourceId,
    client_id: String,
    settings: Mqtt,
    memory: Vec<MessageMark>,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    let topics: Arc<[MqttTopic]> = settings.topics.into();
    let task = Task {
        source,
        client_id,
        broker: settings.broker,
        subscriptions: subscriptions(&topics),
        understanding: Understanding::new(topics),
        ledger: Arc::new(Ledger::new(memory)),
        intake,
        health,
        stop,
        down: None,
    };
    task.run().await;
}

impl Task {
    async fn run(mut self) {
        let (mut waits, mut closed_at_once) = (Waits::default(), 0);
        let stop = self.stop.clone();
        loop {
            let begun = Instant::now();
            let end = self.connection().await;
            if begun.elapsed() > STEADY {
                waits.reset();
                closed_at_once = 0;
            }
            if matches!(end, End::Lost(Lost::Closed | Lost::Unheard)) {
                closed_at_once += 1;
            }
            let Some(trouble) = self.trouble(end, closed_at_once >= FLAPPING) else {
                return;
            };
            let wait = match trouble.slow {
                true => SLOWLY,
                false => waits.next_wait(),
            };
            tokio::select! {
                () = stop.cancelled() => return,
                told = self.down(&trouble) => if told.is_err() { return },
            }
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(wait) => {}
            }
        }
    }

    async fn connection(&mut self) -> End {
        let stream = tokio::select! {
            () = self.stop.cancelled() => return End::Stopped,
            stream = broker::connect(&self.broker) => stream,
        };
        match stream {
            Ok(stream) => {
                let wire = Wire::new(stream, self.broker.version);
                converse(self, wire).await
            }
            Err(trouble) => End::Trouble(trouble),
        }
    }

    /// What an end means; `None` if it is the last.
    fn trouble(&self, end: End, flapping: bool) -> Option<Trouble> {
        match end {
            End::Stopped => None,
            End::Trouble(trouble) => Some(trouble),
            End::TakenOver => Some(Trouble::passing(self.twin())),
            End::Lost(Lost::Closed) if flapping => Some(Trouble::passing(format!(
                "the broker closes the connection again and again as soon as it is made; see the broker's log. It may be that {}",
                self.twin()
            ))),
            // It may be starting, or it may be its way to refuse a password.
            End::Lost(Lost::Unheard) if flapping => Some(Trouble::slow(Lost::Unheard.to_string())),
            End::Lost(lost) => Some(Trouble::passing(lost.to_string())),
            End::GivenUp => Some(Trouble::passing(
                "readings could not be kept; the broker is asked for them again".to_owned(),
            )),
        }
    }

    fn twin(&self) -> String {
        format!(
            "another client has come to the broker by the name {}; see whether a second daemon runs with a copy of this shop file, and give each shop its own name",
            self.client_id
        )
    }

    async fn down(&mut self, trouble: &Trouble) -> Result<(), crate::intake::Closed> {
        let again = match trouble.slow {
            true => "every minute",
            false => "every few seconds",
        };
        let why = format!("{trouble} (tried again {again})");
        if self.down.as_ref() == Some(&why) {
            return Ok(());
        }
        tracing::warn!(source = self.source.0, "{why}");
        self.down = Some(why.clone());
        self.health.set(Line::Down(why.clone()));
        self.intake.tell(self.source, Notice::Down(why)).await
    }
}
