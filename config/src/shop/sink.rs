//! Sinks: where verdicts and alarms go.

use std::path::PathBuf;

use crate::ink::read_id;
use crate::quantity::Seconds;
use crate::reading::{Node, TableReader};
use crate::shop::source::{Secret, read_secret, read_tls_roots};

/// How much an alarm matters (IEC 62682: few levels, each with a meaning).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Priority {
    /// Look when you can.
    Low,
    /// Act soon.
    Medium,
    /// Act now.
    High,
}

/// A way out.
#[derive(Debug, Clone, PartialEq)]
pub enum SinkKind {
    /// Publishes to an MQTT broker.
    Mqtt {
        /// Host name or address of the broker.
        host: String,
        /// Its port.
        port: u16,
        /// Whether to speak TLS, and the roots to trust; an empty path means the system's.
        tls: Option<PathBuf>,
        /// User name.
        user: Option<String>,
        /// Where the password is kept.
        password: Option<Secret>,
    },
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
        /// How long it may run.
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
    /// Alarms of this priority and above are sent.
    pub alarms_from: Priority,
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
            Kind::Mqtt => read_mqtt(table),
            Kind::Influxdb => read_influxdb(table),
            Kind::Webhook => read_webhook(table),
            Kind::Command => read_command(table),
        };
        table.finish();
        Some(Sink {
            id: id?,
            alarms_from: alarms_from.unwrap_or(Priority::Low),
            kind: kind?,
        })
    }
}

fn read_mqtt(table: &TableReader<'_>) -> Option<SinkKind> {
    let host = table
        .required("host", "\"127.0.0.1\"")
        .and_then(|node| node.text());
    let port = table
        .optional("port")
        .and_then(|node| node.whole(1..=65_535));
    let tls = read_tls_roots(table);
    let user = table.optional("user").and_then(|node| node.text());
    let password = read_secret(table, "password_file", "password_env");
    let port = port.unwrap_or(if tls.is_some() { 8883 } else { 1883 }) as u16;
    Some(SinkKind::Mqtt {
        host: host?,
        port,
        tls,
        user,
        password,
    })
}

fn read_influxdb(table: &TableReader<'_>) -> Option<SinkKind> {
    let url = table
        .required("url", "\"http://127.0.0.1:8086\"")
        .and_then(|node| read_url(&node));
    let org = table
        .required("org", "\"shop\"")
        .and_then(|node| node.text());
    let bucket = table
        .required("bucket", "\"dryer\"")
        .and_then(|node| node.text());
    let token = read_secret(table, "token_file", "token_env");
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
    let secret = read_secret(table, "secret_file", "secret_env");
    Some(SinkKind::Webhook { url: url?, secret })
}

fn read_command(table: &TableReader<'_>) -> Option<SinkKind> {
    let program = table
        .required("program", "\"/usr/local/bin/ring-bell\"")
        .and_then(|node| node.text());
    let arguments = table.optional("arguments").and_then(|node| node.elements());
    let arguments = arguments
        .into_iter()
        .flatten()
        .filter_map(|node| node.text())
        .collect();
    let timeout = table.optional("timeout").and_then(|node| node.quantity());
    let most_at_once = table
        .optional("most_at_once")
        .and_then(|node| node.whole(1..=64));
    Some(SinkKind::Command {
        program: PathBuf::from(program?),
        arguments,
        timeout,
        most_at_once: most_at_once.unwrap_or(1),
    })
}

fn read_url(node: &Node<'_>) -> Option<String> {
    let url = node.text()?;
    let sound = ["http://", "https://"].iter().any(|scheme| {
        url.strip_prefix(scheme)
            .is_some_and(|rest| !rest.is_empty() && !rest.starts_with('/'))
    });
    if !sound || url.chars().any(char::is_whitespace) {
        node.report(
            format!("{url:?} is no address"),
            "begin with http:// or https:// and a host",
        );
        return None;
    }
    if url.split('/').nth(2).is_some_and(|host| host.contains('@')) {
        node.report(
            "an address must not hold a password",
            "keep it in a file or the environment",
        );
        return None;
    }
    Some(url)
}
