//! Sinks: where verdicts and alarms go.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::ink::read_id;
use crate::problem::quoted;
use crate::quantity::Seconds;
use crate::reading::{Node, TableReader};
use crate::shop::broker::Broker;
use crate::shop::secret::{Secret, read_secret};

/// How much an alarm matters (IEC 62682: few levels, each with a meaning).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    /// Look when you can.
    Low,
    /// Act soon.
    Medium,
    /// Act now.
    High,
}

impl Priority {
    /// The word that files and screens use.
    pub fn name(self) -> &'static str {
        match self {
            Priority::Low => "low",
            Priority::Medium => "medium",
            Priority::High => "high",
        }
    }
}

/// A way out.
#[derive(Debug, Clone, PartialEq)]
pub enum SinkKind {
    /// Publishes to an MQTT broker.
    Mqtt(Broker),
    /// Writes to a server that speaks the InfluxDB 2 write interface.
    Influxdb {
        /// Its address.
        url: String,
        /// The organisation.
        org: String,
        /// The bucket.
        bucket: String,
        /// Where the token is kept.
        token: Option<Secret>,
    },
    /// Posts JSON to an address.
    Webhook {
        /// The address.
        url: String,
        /// Where the signing key is kept.
        secret: Option<Secret>,
    },
    /// Runs a program of the shop's own, JSON on its standard input.
    Command {
        /// The program.
        program: PathBuf,
        /// Its arguments; no shell is involved.
        arguments: Vec<String>,
        /// How long it may run; `None`: the default of 10 s.
        timeout: Option<Seconds>,
        /// How many may run at once.
        most_at_once: u64,
    },
}

/// A way out with what goes through it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sink {
    /// The name by which files and commands call it.
    pub id: String,
    /// Alarms of this priority and above are sent; all of them where nothing is given.
    pub alarms_from: Priority,
    /// Only alarms that nobody acknowledged for so long are sent: the way to whoever is called next.
    /// `None`: at once.
    pub alarms_after: Option<Seconds>,
    /// What it is.
    pub kind: SinkKind,
}

#[derive(Clone, Copy)]
enum Kind {
    Mqtt,
    Influxdb,
    Webhook,
    Command,
}

impl Sink {
    pub(crate) fn read(table: &TableReader<'_>) -> Option<Sink> {
        let id = table
            .required("id", "\"office\"")
            .and_then(|node| read_id(&node));
        let priorities = [
            ("low", Priority::Low),
            ("medium", Priority::Medium),
            ("high", Priority::High),
        ];
        let alarms_from = table
            .optional("alarms_from")
            .and_then(|node| node.choice(&priorities));
        let alarms_after = table
            .optional("alarms_after")
            .and_then(|node| node.quantity());
        let kinds = [
            ("mqtt", Kind::Mqtt),
            ("influxdb", Kind::Influxdb),
            ("webhook", Kind::Webhook),
            ("command", Kind::Command),
        ];
        let kind = table
            .required("kind", "\"mqtt\"")
            .and_then(|node| node.choice(&kinds))?;
        let kind = match kind {
            Kind::Mqtt => Broker::read(table).map(SinkKind::Mqtt),
            Kind::Influxdb => read_influxdb(table),
            Kind::Webhook => read_webhook(table),
            Kind::Command => read_command(table),
        };
        table.finish();
        Some(Sink {
            id: id?,
            alarms_from: alarms_from.unwrap_or(Priority::Low),
            alarms_after,
            kind: kind?,
        })
    }
}

fn read_influxdb(table: &TableReader<'_>) -> Option<SinkKind> {
    let url = table
        .required("url", "\"http://127.0.0.1:8086\"")
        .and_then(|node| read_url(&node));
    let org = table
        .required("org", "\"shop\"")
        .and_then(|node| node.words());
    let bucket = table
        .required("bucket", "\"dryer\"")
        .and_then(|node| node.words());
    let token = read_secret(table, "token", "token_file", "token_env");
    Some(SinkKind::Influxdb {
        url: url?,
        org: org?,
        bucket: bucket?,
        token,
    })
}

fn read_webhook(table: &TableReader<'_>) -> Option<SinkKind> {
    let url = table
        .required("url", "\"https://example.org/hook\"")
        .and_then(|node| read_url(&node));
    let secret = read_secret(table, "secret", "secret_file", "secret_env");
    Some(SinkKind::Webhook { url: url?, secret })
}

fn read_command(table: &TableReader<'_>) -> Option<SinkKind> {
    let program = table
        .required("program", "\"/usr/local/bin/ring-bell\"")
        .and_then(|node| node.words());
    let arguments = table.optional("arguments").map(|node| node.texts());
    let timeout = table.optional("timeout").and_then(|node| node.above_zero());
    let most_at_once = table
        .optional("most_at_once")
        .and_then(|node| node.whole(1..=64));
    Some(SinkKind::Command {
        program: PathBuf::from(program?),
        arguments: arguments.unwrap_or_default(),
        timeout,
        most_at_once: most_at_once.unwrap_or(1),
    })
}

/// An http address. Whoever sends to it parses it in full; what is refused here is what people mistake.
fn read_url(node: &Node<'_>) -> Option<String> {
    let url = node.text()?;
    let rest = ["http://", "https://"]
        .iter()
        .find_map(|scheme| url.strip_prefix(scheme));
    let authority = rest.and_then(|rest| rest.split(['/', '?', '#']).next());
    let odd = |letter: char| letter.is_whitespace() || letter.is_control();
    if authority.is_none_or(str::is_empty) || url.chars().any(odd) {
        node.report(
            format!("{} is no address", quoted(&url)),
            "begin with http:// or https:// and a host",
        );
        return None;
    }
    if authority.is_some_and(|authority| authority.contains('@')) {
        node.report(
            "an address must not hold a password",
            "keep it in a file or the environment",
        );
        return None;
    }
    Some(url)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};
    use crate::shop::{MqttVersion, TlsRoots};

    const SINKS: &str = r#"
[[sink]]
id = "office"
kind = "mqtt"
host = "::1"
port = 8884
tls = true

[[sink]]
id = "history"
kind = "influxdb"
url = "http://127.0.0.1:8086"
org = "yard"
bucket = "dryer"
token_file = "/etc/inkdwell/token"

[[sink]]
id = "phone"
kind = "webhook"
url = "https://example.org/hook?to=owner"
secret_env = "INKDWELL_HOOK_SECRET"
alarms_from = "high"
alarms_after = "3 min"

[[sink]]
id = "bell"
kind = "command"
program = "/usr/local/bin/ring-bell"
arguments = ["--loud", "{}"]
timeout = "5 s"
most_at_once = 2
"#;

    #[test]
    fn sinks_are_read_with_all_their_keys() {
        let [office, history, phone, bell] = sound(SINKS).sinks.try_into().unwrap();
        let broker = Broker {
            host: "::1".to_owned(),
            port: 8884,
            version: MqttVersion::V5,
            tls: Some(TlsRoots::System),
            user: None,
            password: None,
        };
        assert_eq!(office.kind, SinkKind::Mqtt(broker));
        assert_eq!(
            (office.alarms_from, office.alarms_after),
            (Priority::Low, None)
        );
        let influxdb = SinkKind::Influxdb {
            url: "http://127.0.0.1:8086".to_owned(),
            org: "yard".to_owned(),
            bucket: "dryer".to_owned(),
            token: Some(Secret::File("/etc/inkdwell/token".into())),
        };
        assert_eq!(history.kind, influxdb);
        let webhook = SinkKind::Webhook {
            url: "https://example.org/hook?to=owner".to_owned(),
            secret: Some(Secret::Environment("INKDWELL_HOOK_SECRET".to_owned())),
        };
        assert_eq!(phone.kind, webhook);
        assert_eq!(
            (phone.alarms_from, phone.alarms_after),
            (Priority::High, Some(Seconds(180.0)))
        );
        let command = SinkKind::Command {
            program: "/usr/local/bin/ring-bell".into(),
            arguments: ["--loud", "{}"].map(str::to_owned).to_vec(),
            timeout: Some(Seconds(5.0)),
            most_at_once: 2,
        };
        assert_eq!(bell.kind, command);
    }

    #[test]
    fn what_cannot_be_is_named() {
        let url = "http://127.0.0.1:8086";
        each_is_named(
            SINKS,
            &[
                (
                    url,
                    "127.0.0.1:8086",
                    "sink[1].url: \"127.0.0.1:8086\" is no address",
                ),
                (
                    url,
                    "http:///write",
                    "sink[1].url: \"http:///write\" is no address",
                ),
                (
                    url,
                    "http://?db=x",
                    "sink[1].url: \"http://?db=x\" is no address",
                ),
                (
                    url,
                    "https://me:pw@example.org",
                    "sink[1].url: an address must not hold a password",
                ),
                (
                    "token_file = \"/etc/inkdwell/token\"",
                    "token = \"abc\"",
                    "sink[1].token: a shop file is no place for secrets",
                ),
                (
                    "secret_env = \"INKDWELL_HOOK_SECRET\"",
                    "secret = \"abc\"",
                    "sink[2].secret: a shop file is no place for secrets",
                ),
                ("bucket = \"dryer\"", "", "sink[1].bucket: is missing"),
                (
                    "\"high\"",
                    "\"highest\"",
                    "sink[2].alarms_from: \"highest\" is unknown here; did you mean \"high\"?",
                ),
                ("\"3 min\"", "3", "sink[2].alarms_after: 3 has no unit"),
                (
                    "[\"--loud\", \"{}\"]",
                    "[\"--loud\", 3]",
                    "sink[3].arguments[1]: 3 is a bare number",
                ),
                (
                    "[\"--loud\", \"{}\"]",
                    "\"--loud\"",
                    "sink[3].arguments: \"--loud\" is a text; write a list",
                ),
                (
                    "\"5 s\"",
                    "\"0 s\"",
                    "sink[3].timeout: \"0 s\" is not above zero",
                ),
                (
                    "most_at_once = 2",
                    "most_at_once = 0",
                    "sink[3].most_at_once: 0 is not",
                ),
                ("port = 8884", "port = 70000", "sink[0].port: 70000 is not"),
                (
                    "\"webhook\"",
                    "\"webhok\"",
                    "sink[2].kind: \"webhok\" is unknown here; did you mean \"webhook\"?",
                ),
            ],
        );
    }
}
