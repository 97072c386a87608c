//! An MQTT broker, as sources and sinks reach it.

use std::path::PathBuf;

use super::secret::{Secret, read_secret};
use crate::problem::quoted;
use crate::reading::{Node, TableReader};

/// The versions of MQTT that are spoken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MqttVersion {
    /// 3.1.1.
    V3,
    /// 5.
    V5,
}

/// Whose certificates are trusted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TlsRoots {
    /// Those that the system trusts.
    System,
    /// Those in a file, PEM.
    File(PathBuf),
}

/// How a broker is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broker {
    /// Host name or address.
    pub host: String,
    /// Port: 1883 where none is given, 8883 with TLS.
    pub port: u16,
    /// Version; 5 where none is given.
    pub version: MqttVersion,
    /// Whom to trust, where TLS is spoken; `None`: no TLS.
    pub tls: Option<TlsRoots>,
    /// User name.
    pub user: Option<String>,
    /// Where the password is kept.
    pub password: Option<Secret>,
}

const VERSIONS: [(&str, MqttVersion); 2] = [("3.1.1", MqttVersion::V3), ("5", MqttVersion::V5)];

impl Broker {
    pub(super) fn read(table: &TableReader<'_>) -> Option<Broker> {
        let host = table
            .required("host", "\"127.0.0.1\"")
            .and_then(|node| read_host(&node));
        let tls = read_tls(table);
        let usual = if tls.is_some() { 8883 } else { 1883 };
        let port = table
            .optional("port")
            .map_or(Some(usual), |node| node.whole(1..=65_535));
        let version = table
            .optional("version")
            .map_or(Some(MqttVersion::V5), |node| node.choice(&VERSIONS));
        let user = table.optional("user").and_then(|node| node.words());
        let password = read_secret(table, "password", "password_file", "password_env");
        if user.is_none() && password.is_some() {
            table.report(
                "user",
                "is missing beside the password",
                "add user = \"inkdwell\"",
            );
        }
        Some(Broker {
            host: host?,
            port: port? as u16,
            version: version?,
            tls,
            user,
            password,
        })
    }
}

/// A host's name or address, with neither scheme nor port.
pub(super) fn read_host(node: &Node<'_>) -> Option<String> {
    let host = node.words()?;
    let address = host.parse::<std::net::IpAddr>().is_ok();
    let letter = |letter: char| letter.is_alphanumeric() || "-._".contains(letter);
    if !address && (host.len() > 253 || !host.chars().all(letter)) {
        node.report(
            format!("{} is no host", quoted(&host)),
            "write a name or an address alone, and the port as port = 1883",
        );
        return None;
    }
    Some(host)
}

/// `tls = true` trusts the system's roots, `tls_roots = "FILE"` those of a file.
fn read_tls(table: &TableReader<'_>) -> Option<TlsRoots> {
    let wanted = table.optional("tls").and_then(|node| node.truth());
    let roots = table.optional("tls_roots");
    if let (Some(false), Some(node)) = (wanted, &roots) {
        node.report("is given, but tls is false", "remove one of them");
        return None;
    }
    let roots = roots.and_then(|node| node.words()).map(PathBuf::from);
    match (wanted, roots) {
        (_, Some(roots)) => Some(TlsRoots::File(roots)),
        (Some(true), None) => Some(TlsRoots::System),
        _ => None,
    }
}
