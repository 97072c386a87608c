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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::testing::{each_is_named, sound};

    const BOARD: &str = r#"
[board]
listen = "0.0.0.0:8443"
hosts = ["dryer.example"]
certificate = "/etc/inkdwell/board.pem"
key = "/etc/inkdwell/board.key"
"#;

    #[test]
    fn a_board_is_read_with_all_its_keys() {
        let board = sound(BOARD).board;
        assert_eq!(board.listen, "0.0.0.0:8443".parse().unwrap());
        assert_eq!(board.hosts, ["dryer.example"]);
        let tls = Tls {
            certificate: "/etc/inkdwell/board.pem".into(),
            key: "/etc/inkdwell/board.key".into(),
        };
        assert_eq!(board.tls, Some(tls));
        assert!(sound("").board.listen.ip().is_loopback());
        assert!(
            sound("[board]\nlisten = \"[::1]:80\"\n")
                .board
                .listen
                .is_ipv6()
        );
    }

    #[test]
    fn nothing_is_shown_to_the_network_in_the_clear() {
        let certificate = "certificate = \"/etc/inkdwell/board.pem\"";
        let key = "key = \"/etc/inkdwell/board.key\"";
        let both = format!("{certificate}\n{key}");
        each_is_named(
            BOARD,
            &[
                (&both, "", "board: listening on 0.0.0.0:8443 without TLS"),
                (key, "", "board.key: is missing beside certificate"),
                (certificate, "", "board.certificate: is missing beside key"),
                (
                    "0.0.0.0:8443",
                    "localhost",
                    "board.listen: \"localhost\" is no address with a port",
                ),
                (
                    "hosts",
                    "host",
                    "board.host: is unknown here; did you mean \"hosts\"?",
                ),
                (
                    "[\"dryer.example\"]",
                    "[1]",
                    "board.hosts[0]: 1 is a bare number",
                ),
            ],
        );
    }
}
