//! What messages say, apart from the wire that they come through.

use std::sync::Arc;

use inkdwell_config::shop::MqttTopic;

use super::payload::{Payload, Unfit};
use super::topic::{Feed, Router};
use crate::intake::Said;

/// What a message says of one channel.
#[derive(Debug, Clone, PartialEq)]
pub enum Taken {
    /// A reading.
    Said(Said),
    /// A value that the broker had kept and that does not tell its own time: it was read at some time before.
    Old(Arc<str>),
    /// It is not understood, and why.
    Unclear(Arc<str>, Unfit),
}

/// Says what messages under declared topics mean.
#[derive(Debug)]
pub struct Understanding {
    topics: Arc<[MqttTopic]>,
    router: Router,
}

impl Understanding {
    /// By these declarations.
    pub fn new(topics: Arc<[MqttTopic]>) -> Understanding {
        Understanding {
            router: Router::new(Arc::clone(&topics)),
            topics,
        }
    }

    /// Hands out what a message says of each channel that its topic feeds: none where no declaration has the topic, or
    /// where it is no text.
    pub fn of(
        &mut self,
        topic: &[u8],
        payload: &[u8],
        retained: bool,
        mut take: impl FnMut(Taken),
    ) {
        let Ok(topic) = std::str::from_utf8(topic) else {
            return;
        };
        let mut payload = Payload::new(payload);
        for Feed { declared, channel } in self.router.feeds(topic).iter() {
            let topic = &self.topics[*declared];
            let channel = Arc::clone(channel);
            // What the broker had kept was read at some time before. Only its own time can tell when.
            if retained && topic.time.is_none() {
                take(Taken::Old(channel));
                continue;
            }
            take(match payload.says(topic) {
                Err(why) => Taken::Unclear(channel, why),
                Ok(statement) => Taken::Said(Said {
                    channel,
                    value: statement.value,
                    device_time: statement.device_time,
                    sequence: statement.sequence,
                }),
            });
        }
    }
}
