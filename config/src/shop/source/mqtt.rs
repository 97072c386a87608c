//! MQTT topics as a source.

use crate::problem::quoted;
use crate::reading::{Node, TableReader};
use crate::shop::broker::Broker;

/// A topic filter and the channel that it feeds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MqttTopic {
    /// The filter, with `+` and `#` as MQTT has them.
    pub filter: String,
    /// The channel; `{1}`, `{2}`, ... stand for what the filter's first, second, ... `+` met.
    pub channel: String,
    /// JSON pointer (RFC 6901) to the value; `None`: the payload is a bare number.
    pub value: Option<String>,
    /// JSON pointer to the device's own time.
    pub time: Option<String>,
    /// JSON pointer to the device's sequence number.
    pub sequence: Option<String>,
}

/// A broker and what is read from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Mqtt {
    /// How the broker is reached.
    pub broker: Broker,
    /// Topics.
    pub topics: Vec<MqttTopic>,
}

impl Mqtt {
    pub(super) fn read(table: &TableReader<'_>) -> Option<Mqtt> {
        let broker = Broker::read(table);
        let tables = table.tables("topic");
        if tables.is_empty() && !table.has("topic") {
            table.report("topic", "is missing", "add at least one [[source.topic]]");
        }
        let topics = tables.iter();
        let topics = topics
            .filter_map(|(_, topic)| MqttTopic::read(topic))
            .collect();
        Some(Mqtt {
            broker: broker?,
            topics,
        })
    }

    /// The channels, where no topic leaves their names to what it meets.
    pub(super) fn channels(&self) -> Option<Vec<String>> {
        let open = |topic: &MqttTopic| topic.channel.contains('{');
        let names = self.topics.iter().map(|topic| topic.channel.clone());
        (!self.topics.iter().any(open)).then(|| names.collect())
    }
}

impl MqttTopic {
    fn read(table: &TableReader<'_>) -> Option<MqttTopic> {
        let filter = table
            .required("filter", "\"shop/dryer/+\"")
            .and_then(|node| read_filter(&node));
        let channel = table
            .required("channel", "\"{1}\"")
            .and_then(|node| read_channel(&node, filter.as_deref()));
        let pointer = |key| table.optional(key).and_then(|node| read_pointer(&node));
        let (value, time, sequence) = (pointer("value"), pointer("time"), pointer("sequence"));
        table.finish();
        Some(MqttTopic {
            filter: filter?,
            channel: channel?,
            value,
            time,
            sequence,
        })
    }
}

/// A topic filter as MQTT 5.0, section 4.7.1, has it.
fn read_filter(node: &Node<'_>) -> Option<String> {
    let filter = node.text()?;
    let levels: Vec<&str> = filter.split('/').collect();
    let misplaced = levels.iter().enumerate().any(|(number, level)| {
        let hash = level.contains('#') && (*level != "#" || number + 1 != levels.len());
        hash || (level.contains('+') && *level != "+")
    });
    if filter.is_empty() || filter.len() > 65_535 || filter.contains('\0') || misplaced {
        node.report(
            format!("{} is no topic filter", quoted(&filter)),
            "let + stand alone in its level and # alone in the last",
        );
        return None;
    }
    Some(filter)
}

/// A channel's name; what stands in braces must be met by the filter.
fn read_channel(node: &Node<'_>, filter: Option<&str>) -> Option<String> {
    let channel = node.words()?;
    let Some(filter) = filter else {
        return Some(channel);
    };
    let plus = filter.split('/').filter(|level| *level == "+").count();
    for part in channel.split('{').skip(1) {
        let number = part.split_once('}').map(|(number, _)| number);
        let number = number.and_then(|number| number.parse::<usize>().ok());
        if !number.is_some_and(|number| (1..=plus).contains(&number)) {
            node.report(
                format!(
                    "{} asks for a level that the filter's {plus} + do not meet",
                    quoted(&channel)
                ),
                "write {1} for what the first + met, {2} for the second",
            );
            return None;
        }
    }
    Some(channel)
}

/// A JSON pointer, RFC 6901: empty, or each part after a slash, with ~ only as ~0 or ~1.
fn read_pointer(node: &Node<'_>) -> Option<String> {
    let pointer = node.text()?;
    if !pointer.is_empty() && !pointer.starts_with('/') {
        node.report(
            format!("{} is no JSON pointer", quoted(&pointer)),
            format!("begin with a slash: {}", quoted(&format!("/{pointer}"))),
        );
        return None;
    }
    let escaped = |rest: &str| rest.starts_with(['0', '1']);
    if !pointer.split('~').skip(1).all(escaped) {
        node.report(
            format!("{} is no JSON pointer", quoted(&pointer)),
            "write ~0 for ~ and ~1 for / inside a name",
        );
        return None;
    }
    Some(pointer)
}
