//! What can be in the way of a broker, in sentences.

use std::io;

use inkdwell_config::shop::{Broker, TlsRoots};
use rumqttc::mqttbytes::v4::ConnectReturnCode as RefusalV3;
use rumqttc::v5::mqttbytes::v5::ConnectReturnCode as RefusalV5;
use rustls::CertificateError;

use super::roots_named;

/// What is in the way, as a sentence for people, without secrets.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{sentence}")]
pub struct Trouble {
    sentence: String,
    /// Whether it will hardly pass by itself: it is tried again slowly, lest a broker lock the user out.
    pub slow: bool,
}

impl Trouble {
    /// What may pass by itself at any moment.
    pub fn passing(sentence: String) -> Trouble {
        Trouble {
            sentence,
            slow: false,
        }
    }

    /// What somebody has to mend.
    pub fn slow(sentence: String) -> Trouble {
        Trouble {
            sentence,
            slow: true,
        }
    }

    pub(super) fn silent(broker: &Broker) -> Trouble {
        Trouble::passing(format!(
            "{} does not answer; see whether the broker runs and the network reaches it",
            place(broker)
        ))
    }

    pub(super) fn unknown_host(broker: &Broker, error: &io::Error) -> Trouble {
        Trouble::passing(format!(
            "the host {} is not known here ({error}); correct host in the shop file, or mend the network's names",
            broker.host
        ))
    }

    pub(super) fn no_address(broker: &Broker) -> Trouble {
        Trouble::passing(format!(
            "the host {} has no address; correct host in the shop file",
            broker.host
        ))
    }

    pub(super) fn unreachable(broker: &Broker, error: &io::Error) -> Trouble {
        let place = place(broker);
        Trouble::passing(match error.kind() {
            io::ErrorKind::ConnectionRefused => format!(
                "nothing listens at {place}; start the broker, or correct host and port in the shop file"
            ),
            _ => format!(
                "{place} cannot be reached ({error}); see whether the broker runs and the network reaches it"
            ),
        })
    }

    pub(super) fn unfit_for_tls(host: &str) -> Trouble {
        Trouble::slow(format!(
            "{host} is no name that a certificate can be made out for; write the broker's full name as host"
        ))
    }

    pub(super) fn of_handshake(broker: &Broker, roots: &TlsRoots, error: &io::Error) -> Trouble {
        let place = place(broker);
        let inner = error.get_ref().and_then(|inner| inner.downcast_ref());
        Trouble::slow(match inner {
            Some(rustls::Error::InvalidCertificate(fault)) => {
                return Trouble::slow(of_certificate(broker, roots, fault));
            }
            Some(rustls::Error::InvalidMessage(_)) => format!(
                "{place} speaks no TLS; correct port in the shop file, or leave tls out if the way to the broker is safe"
            ),
            Some(fault) => format!(
                "TLS with {place} fails ({fault}); see the broker's settings for its certificate and TLS versions"
            ),
            // The broker hung up, as it does when it speaks no TLS, or while it starts.
            None => {
                return Trouble::passing(format!(
                    "TLS with {place} breaks off ({error}); see whether the broker speaks TLS at this port"
                ));
            }
        })
    }

    /// Why a broker of version 3.1.1 refused.
    pub fn refused_v3(broker: &Broker, code: RefusalV3) -> Trouble {
        match code {
            RefusalV3::BadUserNamePassword => Trouble::login(broker),
            RefusalV3::NotAuthorized => Trouble::unauthorised(broker),
            RefusalV3::RefusedProtocolVersion => Trouble::version(broker),
            RefusalV3::BadClientId => {
                Trouble::refused(broker, "it does not take the client's name")
            }
            RefusalV3::ServiceUnavailable | RefusalV3::Success => {
                Trouble::unavailable(broker, "it is not available")
            }
        }
    }

    /// Why a broker of version 5 refused.
    pub fn refused_v5(broker: &Broker, code: RefusalV5) -> Trouble {
        use RefusalV5 as Code;
        match code {
            Code::BadUserNamePassword => Trouble::login(broker),
            Code::NotAuthorized => Trouble::unauthorised(broker),
            Code::UnsupportedProtocolVersion | Code::RefusedProtocolVersion => {
                Trouble::version(broker)
            }
            Code::ServerUnavailable | Code::ServiceUnavailable => {
                Trouble::unavailable(broker, "it is not available")
            }
            Code::ServerBusy => Trouble::unavailable(broker, "it is busy"),
            Code::ConnectionRateExceeded => {
                Trouble::unavailable(broker, "too many connections are made at once")
            }
            Code::Banned => Trouble::refused(broker, "this client is banned there"),
            Code::QuotaExceeded => Trouble::refused(broker, "a quota is exceeded"),
            Code::UseAnotherServer | Code::ServerMoved => {
                Trouble::refused(broker, "it has moved; correct host in the shop file")
            }
            code => Trouble::refused(broker, &format!("its reason is {code:?}")),
        }
    }

    fn login(broker: &Broker) -> Trouble {
        let user = match &broker.user {
            None => "without a user".to_owned(),
            Some(user) => format!("the user {user:?} with this password"),
        };
        Trouble::slow(format!(
            "the broker at {} refuses {user}; correct user, and password_file or password_env, in the shop file, or the user's entry at the broker",
            place(broker)
        ))
    }

    /// Many a broker says so of a wrong password too.
    fn unauthorised(broker: &Broker) -> Trouble {
        let user = match &broker.user {
            None => "a client without a user; name one in the shop file".to_owned(),
            Some(user) => format!(
                "the user {user:?}; correct the password, or give that user rights at the broker"
            ),
        };
        Trouble::slow(format!(
            "the broker at {} does not let in {user}",
            place(broker)
        ))
    }

    fn version(broker: &Broker) -> Trouble {
        let other = match broker.version {
            inkdwell_config::shop::MqttVersion::V3 => "5",
            inkdwell_config::shop::MqttVersion::V5 => "3.1.1",
        };
        Trouble::slow(format!(
            "the broker at {} does not speak this version of MQTT; write version = \"{other}\" in the shop file",
            place(broker)
        ))
    }

    fn refused(broker: &Broker, why: &str) -> Trouble {
        Trouble::slow(format!(
            "the broker at {} refuses the connection: {why}",
            place(broker)
        ))
    }

    fn unavailable(broker: &Broker, why: &str) -> Trouble {
        Trouble::passing(format!(
            "the broker at {} refuses the connection for now: {why}",
            place(broker)
        ))
    }
}

fn of_certificate(broker: &Broker, roots: &TlsRoots, fault: &CertificateError) -> String {
    let place = place(broker);
    match fault {
        CertificateError::UnknownIssuer | CertificateError::BadSignature => format!(
            "the certificate of {place} is signed by none of {}; name the file with the certificate that signed it as tls_roots",
            roots_named(roots)
        ),
        CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. } => {
            format!(
                "the certificate of {place} is not made out for {:?}; write the name that it is made out for as host",
                broker.host
            )
        }
        CertificateError::Expired | CertificateError::ExpiredContext { .. } => {
            format!("the certificate of {place} has expired; renew it, or set this machine's clock")
        }
        CertificateError::NotValidYet | CertificateError::NotValidYetContext { .. } => {
            format!("the certificate of {place} is not valid yet; set this machine's clock")
        }
        fault => format!("the certificate of {place} is not accepted ({fault})"),
    }
}

fn place(broker: &Broker) -> String {
    match broker.host.contains(':') {
        true => format!("[{}]:{}", broker.host, broker.port),
        false => format!("{}:{}", broker.host, broker.port),
    }
}
