//! MQTT on one connection, as far as publishing needs it, of version 3.1.1 or 5 alike.
//!
//! Packets are read and written by the library's codec. Nothing is kept from one connection to the next: the
//! journal knows what was not acknowledged.

use std::time::Duration;

use bytes::{Bytes, BytesMut};
use inkdwell_config::shop::{Broker, MqttVersion};
use rumqttc::mqttbytes::QoS as QosV3;
use rumqttc::mqttbytes::{Error as ErrorV3, v4};
use rumqttc::v5::mqttbytes::QoS as QosV5;
use rumqttc::v5::mqttbytes::{Error as ErrorV5, v5};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

use crate::broker::{Login, Stream, Trouble};

/// No broker has reason to send us a larger packet.
const LARGEST_PACKET: usize = 64 * 1024;
/// A broker that takes nothing for so long is gone.
const WRITE_WITHIN: Duration = Duration::from_secs(15);

/// Something to be published at QoS 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Publication {
    pub(super) topic: String,
    pub(super) payload: Bytes,
    pub(super) retained: bool,
}

/// What came.
#[derive(Debug)]
pub(super) enum Incoming {
    /// The broker has let us in.
    Accepted {
        /// The seconds within which it wants to hear from us, where it has its own mind.
        keep_alive: Option<u16>,
        /// How many publications it takes at a time.
        at_once: u16,
        /// The largest packet that it takes, in bytes.
        largest: Option<u32>,
    },
    /// It has not.
    Refused(Trouble),
    /// A publication is taken.
    Taken(u16),
    /// It is refused, by this reason.
    Declined(u16, v5::PubAckReason),
    /// The answer to a ping.
    Pong,
    /// The broker hangs up.
    Farewell(String),
}

pub(super) struct Wire {
    stream: Stream,
    broker: Broker,
    incoming: BytesMut,
    outgoing: BytesMut,
}

impl Publication {
    /// Its bytes as a packet, or a few more: heads and lengths take no more than sixteen.
    pub(super) fn size(&self) -> usize {
        self.topic.len() + self.payload.len() + 16
    }
}

impl Wire {
    pub(super) fn new(stream: Stream, broker: Broker) -> Wire {
        Wire {
            stream,
            broker,
            incoming: BytesMut::new(),
            outgoing: BytesMut::new(),
        }
    }

    /// Asks to be let in, with a last will.
    pub(super) fn put_connect(
        &mut self,
        client_id: &str,
        keep_alive: u16,
        login: Option<&Login>,
        will: &Publication,
    ) -> Result<(), Trouble> {
        match self.broker.version {
            MqttVersion::V3 => {
                let mut connect = v4::Connect::new(client_id);
                connect.keep_alive = keep_alive;
                connect.clean_session = true;
                connect.login = login.map(|login| v4::Login::new(&login.user, &login.password));
                connect.last_will = Some(v4::LastWill::new(
                    &will.topic,
                    will.payload.to_vec(),
                    QosV3::AtLeastOnce,
                    will.retained,
                ));
                self.put_v3(v4::Packet::Connect(connect))
            }
            MqttVersion::V5 => {
                let mut asked = v5::ConnectProperties::new();
                asked.max_packet_size = Some(LARGEST_PACKET as u32);
                let connect = v5::Connect {
                    keep_alive,
                    client_id: client_id.to_owned(),
                    clean_start: true,
                    properties: Some(asked),
                };
                let will = v5::LastWill::new(
                    &will.topic,
                    will.payload.to_vec(),
                    QosV5::AtLeastOnce,
                    will.retained,
                    None,
                );
                let login = login.map(|login| v5::Login::new(&login.user, &login.password));
                self.put_v5(v5::Packet::Connect(connect, Some(will), login))
            }
        }
    }

    /// Publishes at QoS 1.
    pub(super) fn put(&mut self, packet: u16, what: &Publication) -> Result<(), Trouble> {
        match self.broker.version {
            MqttVersion::V3 => {
                let mut publish =
                    v4::Publish::from_bytes(&what.topic, QosV3::AtLeastOnce, what.payload.clone());
                publish.pkid = packet;
                publish.retain = what.retained;
                self.put_v3(v4::Packet::Publish(publish))
            }
            MqttVersion::V5 => {
                let mut publish =
                    v5::Publish::new(&what.topic, QosV5::AtLeastOnce, what.payload.clone(), None);
                publish.pkid = packet;
                publish.retain = what.retained;
                self.put_v5(v5::Packet::Publish(publish))
            }
        }
    }

    /// Says that we live.
    pub(super) fn put_ping(&mut self) -> Result<(), Trouble> {
        match self.broker.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::PingReq),
            MqttVersion::V5 => self.put_v5(v5::Packet::PingReq(v5::PingReq)),
        }
    }

    /// Says good-bye: the last will is not published.
    pub(super) fn put_farewell(&mut self) -> Result<(), Trouble> {
        match self.broker.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::Disconnect),
            MqttVersion::V5 => {
                let reason = v5::DisconnectReasonCode::NormalDisconnection;
                self.put_v5(v5::Packet::Disconnect(v5::Disconnect::new(reason)))
            }
        }
    }

    fn put_v3(&mut self, packet: v4::Packet) -> Result<(), Trouble> {
        let written = packet.write(&mut self.outgoing, usize::MAX);
        written
            .map(drop)
            .map_err(|error| broken(&error.to_string()))
    }

    fn put_v5(&mut self, packet: v5::Packet) -> Result<(), Trouble> {
        let written = packet.write(&mut self.outgoing, None);
        written
            .map(drop)
            .map_err(|error| broken(&error.to_string()))
    }

    /// Sends what was put. (Not to be dropped before it ends: half a packet would have left.)
    pub(super) async fn flush(&mut self) -> Result<(), Trouble> {
        let sending = async {
            self.stream.write_all_buf(&mut self.outgoing).await?;
            self.stream.flush().await
        };
        match timeout(WRITE_WITHIN, sending).await {
            Err(_) => Err(silent()),
            Ok(Err(error)) => Err(broken(&error.to_string())),
            Ok(Ok(())) => Ok(()),
        }
    }

    /// Waits until bytes came. It may be dropped at any moment; no byte is lost.
    pub(super) async fn read(&mut self) -> Result<(), Trouble> {
        self.incoming.reserve(4096);
        match self.stream.read_buf(&mut self.incoming).await {
            Ok(0) => Err(Trouble::passing(
                "the broker has closed the connection; see its log, and whether another client has taken our name".to_owned(),
            )),
            Ok(_) => Ok(()),
            Err(error) => Err(broken(&error.to_string())),
        }
    }

    /// The next whole packet of what has been read.
    pub(super) fn next(&mut self) -> Result<Option<Incoming>, Trouble> {
        match self.broker.version {
            MqttVersion::V3 => match v4::Packet::read(&mut self.incoming, LARGEST_PACKET) {
                Ok(packet) => self.of_v3(packet).map(Some),
                Err(ErrorV3::InsufficientBytes(_)) => Ok(None),
                Err(error) => Err(no_mqtt(&error.to_string())),
            },
            MqttVersion::V5 => {
                // The codec knows no farewell without a reason (MQTT 5.0, section 3.14.2).
                if self.incoming.first().is_some_and(|first| first >> 4 == 14) {
                    return Ok(Some(Incoming::Farewell(farewell(&self.incoming))));
                }
                match v5::Packet::read(&mut self.incoming, Some(LARGEST_PACKET as u32)) {
                    Ok(packet) => self.of_v5(packet).map(Some),
                    Err(ErrorV5::InsufficientBytes(_)) => Ok(None),
                    Err(error) => Err(no_mqtt(&error.to_string())),
                }
            }
        }
    }

    fn of_v3(&self, packet: v4::Packet) -> Result<Incoming, Trouble> {
        Ok(match packet {
            v4::Packet::ConnAck(answer) if answer.code == v4::ConnectReturnCode::Success => {
                Incoming::Accepted {
                    keep_alive: None,
                    at_once: u16::MAX,
                    largest: None,
                }
            }
            v4::Packet::ConnAck(answer) => {
                Incoming::Refused(Trouble::refused_v3(&self.broker, answer.code))
            }
            v4::Packet::PubAck(taken) => Incoming::Taken(taken.pkid),
            v4::Packet::PingResp => Incoming::Pong,
            _ => return Err(no_mqtt("a packet that was not asked for")),
        })
    }

    fn of_v5(&self, packet: v5::Packet) -> Result<Incoming, Trouble> {
        Ok(match packet {
            v5::Packet::ConnAck(answer) if answer.code == v5::ConnectReturnCode::Success => {
                let said = answer.properties.as_ref();
                Incoming::Accepted {
                    keep_alive: said.and_then(|said| said.server_keep_alive),
                    at_once: said.and_then(|said| said.receive_max).unwrap_or(u16::MAX),
                    largest: said.and_then(|said| said.max_packet_size),
                }
            }
            v5::Packet::ConnAck(answer) => {
                Incoming::Refused(Trouble::refused_v5(&self.broker, answer.code))
            }
            v5::Packet::PubAck(answer) => match answer.reason {
                v5::PubAckReason::Success | v5::PubAckReason::NoMatchingSubscribers => {
                    Incoming::Taken(answer.pkid)
                }
                reason => Incoming::Declined(answer.pkid, reason),
            },
            v5::Packet::PingResp(_) => Incoming::Pong,
            _ => return Err(no_mqtt("a packet that was not asked for")),
        })
    }
}

fn farewell(bytes: &[u8]) -> String {
    let code = match bytes {
        [_, length, code, ..] if *length > 0 => *code,
        _ => 0,
    };
    match v5::DisconnectReasonCode::try_from(code) {
        Ok(known) => format!("{known:?}"),
        Err(_) => format!("code {code:#04x}"),
    }
}

fn broken(why: &str) -> Trouble {
    Trouble::passing(format!("the connection to the broker broke ({why})"))
}

pub(super) fn silent() -> Trouble {
    Trouble::passing("the broker does not answer any more; see whether it is overloaded".to_owned())
}

fn no_mqtt(why: &str) -> Trouble {
    Trouble::slow(format!(
        "what the broker sends is no MQTT ({why}); see whether host and port are a broker's"
    ))
}
