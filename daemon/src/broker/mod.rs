//! How an MQTT broker is reached: by TCP or TLS, with a user and a password. Sources and sinks share it.
//!
//! Whatever goes wrong is a [`Trouble`]: a sentence that says what to do, and in which no secret stands.

mod login;
mod tls;
mod trouble;

use std::time::Duration;

use inkdwell_config::shop::{Broker, TlsRoots};
use rumqttc::tokio_rustls::TlsConnector;
use rustls::pki_types::ServerName;
use sha2::{Digest, Sha256};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time::timeout;

pub use login::{Login, login};
pub use tls::client_config;
pub use trouble::Trouble;

/// A connection, and TLS on it, is made within this time or given up.
const CONNECT_WITHIN: Duration = Duration::from_secs(10);

/// A stream of bytes to and from a broker.
pub trait Duplex: AsyncRead + AsyncWrite + Send + Unpin {}

impl<T: AsyncRead + AsyncWrite + Send + Unpin> Duplex for T {}

/// A connection to a broker, with or without TLS.
pub type Stream = Box<dyn Duplex>;

/// Connects.
///
/// # Errors
/// What is in the way.
pub async fn connect(broker: &Broker) -> Result<Stream, Trouble> {
    let plain = timeout(CONNECT_WITHIN, connect_plain(broker))
        .await
        .map_err(|_| Trouble::silent(broker))??;
    let Some(roots) = &broker.tls else {
        return Ok(Box::new(plain));
    };
    let config = client_config(roots)?;
    let name = ServerName::try_from(broker.host.clone())
        .map_err(|_| Trouble::unfit_for_tls(&broker.host))?;
    let handshake = TlsConnector::from(config).connect(name, plain);
    match timeout(CONNECT_WITHIN, handshake).await {
        Err(_) => Err(Trouble::silent(broker)),
        Ok(Err(error)) => Err(Trouble::of_handshake(broker, roots, &error)),
        Ok(Ok(stream)) => Ok(Box::new(stream)),
    }
}

async fn connect_plain(broker: &Broker) -> Result<TcpStream, Trouble> {
    let addresses = tokio::net::lookup_host((broker.host.as_str(), broker.port)).await;
    let addresses = addresses.map_err(|error| Trouble::unknown_host(broker, &error))?;
    let mut refusal = None;
    for address in addresses {
        match TcpStream::connect(address).await {
            Ok(stream) => {
                // Small packets are put together before they are written; none waits for another.
                stream
                    .set_nodelay(true)
                    .map_err(|error| Trouble::unreachable(broker, &error))?;
                return Ok(stream);
            }
            Err(error) => refusal = Some(Trouble::unreachable(broker, &error)),
        }
    }
    Err(refusal.unwrap_or_else(|| Trouble::no_address(broker)))
}

/// For a client that connects by itself: the way to the broker.
///
/// # Errors
/// Roots that cannot be read.
pub fn transport(broker: &Broker) -> Result<rumqttc::Transport, Trouble> {
    Ok(match &broker.tls {
        None => rumqttc::Transport::Tcp,
        Some(roots) => {
            let config = rumqttc::TlsConfiguration::Rustls(client_config(roots)?);
            rumqttc::Transport::Tls(config)
        }
    })
}

/// A client's name at the broker: the same at every start, and another for every shop, use (`source` or
/// `sink`) and id. It has 23 letters and digits, which every broker takes (MQTT 3.1.1, section 3.1.3.1).
pub fn client_id(shop: &str, usage: &str, id: &str) -> String {
    let mut hash = Sha256::new();
    for part in [shop, usage, id] {
        // With their lengths, no two triples are the same bytes.
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    let mut name = String::from("inkdwell");
    for byte in hash.finalize().iter().take(15) {
        let digit = char::from_digit(u32::from(byte % 36), 36);
        name.extend(digit);
    }
    name
}

/// What the roots are called in a sentence.
fn roots_named(roots: &TlsRoots) -> String {
    match roots {
        TlsRoots::System => "the roots that this system trusts".to_owned(),
        TlsRoots::File(file) => format!("the roots in {}", file.display()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MQTT 3.1.1, section 3.1.3.1: 1 to 23 of 0-9, a-z and A-Z.
    #[test]
    fn a_client_s_name_is_stable_its_own_and_taken_by_every_broker() {
        let name = client_id("Lantern Yard Print", "source", "broker");
        assert_eq!(name, client_id("Lantern Yard Print", "source", "broker"));
        assert_eq!(name.len(), 23);
        assert!(name.bytes().all(|byte| byte.is_ascii_alphanumeric()));
        for (shop, usage, id) in [
            ("Lantern Yard", "source", "broker"),
            ("Lantern Yard Print", "sink", "broker"),
            ("Lantern Yard Print", "source", "broker2"),
            ("Lantern Yard Prints", "ource", "broker"),
        ] {
            assert_ne!(name, client_id(shop, usage, id), "{shop} {usage} {id}");
        }
    }
}
