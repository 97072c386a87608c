//! Messages of a broker, as they come.

use std::collections::HashMap;
use std::time::Duration;

use inkdwell_config::shop::{Broker, MqttTopic};
use inkdwell_daemon::source::mqtt::{Listener, Overheard, Taken, Understanding};
use tokio::sync::mpsc::Sender;
use tokio::time::sleep;

use super::guess;
use super::heard::{Heard, Reading};

/// How long to wait before a lost broker is tried again.
const AGAIN_AFTER: Duration = Duration::from_secs(1);
/// So many topics are remembered with what their payloads look like.
const REMEMBERED: usize = 2000;

/// How messages are read.
enum Way {
    /// As they were declared.
    Declared(Understanding),
    /// Each topic by what its payload looks like.
    Guessing(HashMap<Vec<u8>, Understanding>),
}

/// Listens until nobody hears any more. Where topics are only filters, payloads are read by what they look like.
///
/// # Errors
/// When the broker does not let us in to begin with. Later it is waited for.
pub(crate) async fn listen(
    broker: Broker,
    topics: Vec<MqttTopic>,
    declared: bool,
    tell: Sender<Heard>,
) -> Result<(), String> {
    let mut way = match declared {
        true => Way::Declared(Understanding::new(topics.clone().into())),
        false => Way::Guessing(HashMap::new()),
    };
    let connected = Listener::connect(&broker, &topics).await;
    let mut listener = connected.map_err(|trouble| as_called(&trouble.to_string()))?;
    let name = called(&broker);
    if tell.send(Heard::Open(name.clone())).await.is_err() {
        return Ok(());
    }
    loop {
        let lost = tokio::select! {
            lost = hear(&mut listener, &mut way, &tell) => lost,
            () = tell.closed() => return Ok(()),
        };
        let Err(why) = lost else {
            return Ok(());
        };
        if tell.send(Heard::Trouble(why)).await.is_err() {
            return Ok(());
        }
        listener = loop {
            sleep(AGAIN_AFTER).await;
            match Listener::connect(&broker, &topics).await {
                Ok(listener) => break listener,
                Err(_) if tell.is_closed() => return Ok(()),
                Err(_) => {}
            }
        };
        if tell.send(Heard::Open(name.clone())).await.is_err() {
            return Ok(());
        }
    }
}

/// The broker, in words.
pub(crate) fn called(broker: &Broker) -> String {
    format!("the MQTT broker at {}:{}", broker.host, broker.port)
}

/// A sentence of the daemon's, for somebody who has no shop file yet.
fn as_called(sentence: &str) -> String {
    sentence.replace(" in the shop file", "")
}

/// Hears until the broker is lost, and why it is; or until nobody listens.
async fn hear(listener: &mut Listener, way: &mut Way, tell: &Sender<Heard>) -> Result<(), String> {
    loop {
        let overheard = listener.next().await;
        let heard = match overheard.map_err(|trouble| as_called(&trouble.to_string()))? {
            Overheard::Subscribed { refused } if refused.is_empty() => continue,
            Overheard::Subscribed { refused } => Heard::Trouble(format!(
                "the broker refuses the topics {}; give the user rights to read them there, or name others",
                refused.join(", ")
            )),
            Overheard::TooLarge => Heard::Trouble(
                "a message of more than 64 KiB came; no source reads such, so name narrower topics"
                    .to_owned(),
            ),
            Overheard::Message {
                topic,
                payload,
                retained,
            } => way.message(topic, payload, retained),
        };
        if tell.send(heard).await.is_err() {
            return Ok(());
        }
    }
}

impl Way {
    fn message(&mut self, topic: Vec<u8>, payload: Vec<u8>, retained: bool) -> Heard {
        let taken = match self {
            Way::Declared(understanding) => taken(understanding, &topic, &payload, retained),
            Way::Guessing(known) => {
                let held = known.len();
                if !known.contains_key(&topic) && held < REMEMBERED {
                    let name = String::from_utf8_lossy(&topic);
                    let declared = guess::declarations(&name, &payload);
                    if !declared.is_empty() {
                        known.insert(topic.clone(), Understanding::new(declared.into()));
                    }
                }
                match known.get_mut(&topic) {
                    // What was kept is shown for what it is.
                    Some(understanding) => taken(understanding, &topic, &payload, false),
                    None => Err("there is no number in it".to_owned()),
                }
            }
        };
        Heard::Message {
            topic,
            payload,
            retained,
            taken,
        }
    }
}

/// What the daemon would take a message for.
fn taken(
    understanding: &mut Understanding,
    topic: &[u8],
    payload: &[u8],
    retained: bool,
) -> Result<Vec<Reading>, String> {
    let (mut readings, mut why) = (Vec::new(), None);
    understanding.of(topic, payload, retained, |taken| match taken {
        Taken::Said(said) => readings.push(Reading::of(said, None)),
        Taken::Old(_) => {
            why.get_or_insert_with(|| "the broker had kept it, and it tells no time".to_owned());
        }
        Taken::Unclear(_, unfit) => {
            why.get_or_insert_with(|| unfit.to_string());
        }
    });
    match (readings.is_empty(), why) {
        (true, None) => Err("no channel is declared for its topic".to_owned()),
        (true, Some(why)) => Err(why),
        (false, _) => Ok(readings),
    }
}
