//! The daemon's own page and its interface for programs.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use crate::problem::quoted;
use crate::reading::TableReader;

/// Certificate and key for TLS.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tls {
    /// The certificate chain, PEM.
    pub certificate: PathBuf,
    /// Its private key, PEM.
    pub key: PathBuf,
}

/// Where the board listens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Board {
    /// The address; anything but loopback needs TLS.
    pub listen: SocketAddr,
    /// Names under which the page may be asked for, besides the address itself.
    pub hosts: Vec<String>,
    /// Certificate and key.
    pub tls: Option<Tls>,
}

impl Default for Board {
    fn default() -> Board {
        let listen = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 7878);
        Board {
            listen,
            hosts: Vec::new(),
            tls: None,
        }
    }
}

impl Board {
    pub(crate) fn read(top: &TableReader<'_>) -> Board {
        let mut board = Board::default();
        let Some(node) = top.optional("board") else {
            return board;
        };
        let Some(table) = node.table() else {
            return board;
        };
        if let Some(node) = table.optional("listen")
            && let Some(text) = node.text()
        {
            match text.parse() {
                Ok(listen) => board.listen = listen,
                Err(_) => node.report(
                    format!("{} is no address with a port", quoted(&text)),
                    "write for example \"127.0.0.1:7878\"",
                ),
            }
        }
        board.hosts = table
            .optional("hosts")
            .map(|node| node.texts())
            .unwrap_or_default();
        let path = |key| {
            table
                .optional(key)
                .and_then(|node| node.words())
                .map(PathBuf::from)
        };
        let (certificate, key) = (path("certificate"), path("key"));
        board.tls = match (certificate, key) {
            (Some(certificate), Some(key)) => Some(Tls { certificate, key }),
            (None, None) => None,
            (Some(_), None) => {
                table.report(
                    "key",
                    "is missing beside certificate",
                    "name the private key's file",
                );
                None
            }
            (None, Some(_)) => {
                table.report(
                    "certificate",
                    "is missing beside key",
                    "name the certificate's file",
                );
                None
            }
        };
        let tls_tried = table.has("certificate") || table.has("key");
        if !board.listen.ip().is_loopback() && !tls_tried {
            node.report(
                format!(
                    "listening on {} without TLS would show the shop to the network",
                    board.listen
                ),
                "listen on 127.0.0.1, or name certificate and key",
            );
        }
        table.finish();
        board
    }
}
