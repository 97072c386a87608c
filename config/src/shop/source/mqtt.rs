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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, problems, sound};
    use crate::shop::{MqttVersion, Secret, SourceKind, TlsRoots};

    const BROKER: &str = r#"
[[source]]
id = "broker"
kind = "mqtt"
host = "broker.example"
version = "3.1.1"
tls = true
user = "inkdwell"
password_env = "INKDWELL_MQTT_PASSWORD"

[[source.topic]]
filter = "yard/+/probe/+"
channel = "{2}"
value = "/readings/0/value"
time = "/at"
sequence = "/n"
"#;

    fn mqtt(text: &str) -> Mqtt {
        match &sound(text).sources[0].kind {
            SourceKind::Mqtt(mqtt) => mqtt.clone(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_broker_is_read_with_all_its_keys() {
        let mqtt = mqtt(BROKER);
        assert_eq!(
            mqtt.broker,
            Broker {
                host: "broker.example".to_owned(),
                // The registered port of MQTT over TLS (IANA).
                port: 8883,
                version: MqttVersion::V3,
                tls: Some(TlsRoots::System),
                user: Some("inkdwell".to_owned()),
                password: Some(Secret::Environment("INKDWELL_MQTT_PASSWORD".to_owned())),
            }
        );
        assert_eq!(mqtt.topics[0].value.as_deref(), Some("/readings/0/value"));
        assert_eq!(mqtt.channels(), None);
    }

    #[test]
    fn certificates_of_its_own_are_named_by_their_file() {
        let own = mqtt(&BROKER.replace("tls = true", "tls_roots = \"/etc/inkdwell/ca.pem\""));
        let expected = Some(TlsRoots::File("/etc/inkdwell/ca.pem".into()));
        assert_eq!((own.broker.tls, own.broker.port), (expected, 8883));
        let plain = mqtt(&BROKER.replace("tls = true", ""));
        assert_eq!((plain.broker.tls, plain.broker.port), (None, 1883));
    }

    /// Filters: examples of MQTT 5.0, sections 4.7.1.2 and 4.7.1.3. Pointers: RFC 6901, sections 3 and 5.
    #[test]
    fn filters_and_pointers_follow_their_standards() {
        let with = |filter: &str, value: &str| {
            let text = BROKER.replace("yard/+/probe/+", filter);
            let text = text.replace("{2}", "film");
            problems(&text.replace("/readings/0/value", value))
        };
        for filter in [
            "sport/tennis/player1/#",
            "sport/#",
            "#",
            "+",
            "+/tennis/#",
            "sport/+/player1",
            "/+",
        ] {
            assert_eq!(with(filter, ""), Vec::<String>::new(), "{filter}");
        }
        for filter in ["sport/tennis#", "sport/tennis/#/ranking", "sport+", ""] {
            let found = with(filter, "");
            assert!(
                found.len() == 1 && found[0].contains("is no topic filter"),
                "{filter} {found:?}"
            );
        }
        for pointer in ["", "/foo", "/foo/0", "/", "/a~1b", "/c%d", "/m~0n", "/ "] {
            assert_eq!(with("#", pointer), Vec::<String>::new(), "{pointer}");
        }
        for pointer in ["foo", "/a~b", "/a~", "#/foo"] {
            let found = with("#", pointer);
            assert!(
                found.len() == 1 && found[0].contains("is no JSON pointer"),
                "{pointer} {found:?}"
            );
        }
    }

    #[test]
    fn what_cannot_be_is_named() {
        let secret = "password_env = \"INKDWELL_MQTT_PASSWORD\"";
        each_is_named(
            BROKER,
            &[
                (
                    "broker.example",
                    "mqtt://broker.example",
                    "source[0].host: \"mqtt://broker.example\" is no host",
                ),
                (
                    "\"3.1.1\"",
                    "\"3.1\"",
                    "source[0].version: \"3.1\" is unknown here; did you mean \"3.1.1\"?",
                ),
                (
                    "\"3.1.1\"",
                    "5",
                    "source[0].version: 5 is a bare number; write a text in quotes",
                ),
                (
                    "tls = true",
                    "tls = false\ntls_roots = \"ca.pem\"",
                    "source[0].tls_roots: is given, but tls is false",
                ),
                (
                    "user = \"inkdwell\"",
                    "",
                    "source[0].user: is missing beside the password",
                ),
                (
                    secret,
                    "password = \"hunter2\"",
                    "source[0].password: a shop file is no place for secrets; keep it in a file and name that as password_file",
                ),
                (
                    secret,
                    &format!("{secret}\npassword_file = \"p\""),
                    "source[0].password_env: stands beside password_file",
                ),
                (
                    "{2}",
                    "{3}",
                    "source[0].topic[0].channel: \"{3}\" asks for a level that the filter's 2 + do not meet",
                ),
                ("{2}", "{0}", "source[0].topic[0].channel: \"{0}\" asks"),
                (
                    "{2}",
                    "film-{",
                    "source[0].topic[0].channel: \"film-{\" asks",
                ),
                (
                    "sequence = \"/n\"",
                    "count = \"/n\"",
                    "source[0].topic[0].count: is unknown here",
                ),
            ],
        );
    }
}
