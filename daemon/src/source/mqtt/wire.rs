//! MQTT on one connection: packets in and out, of version 3.1.1 or 5 alike.
//!
//! Packets are read and written by the library's codec, but when to read and when to write is decided here:
//! while the daemon can take nothing, nothing is read, and the broker is still told that we live; and
//! acknowledgements of one commit leave together. Nothing is kept from one connection to the next.

use std::time::Duration;

use bytes::{Buf, BytesMut};
use inkdwell_config::shop::MqttVersion;
use rumqttc::mqttbytes::QoS as QosV3;
use rumqttc::mqttbytes::v4;
use rumqttc::v5::mqttbytes::QoS as QosV5;
use rumqttc::v5::mqttbytes::v5;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

use super::topic::Subscription;
use crate::broker::{Login, Stream};

/// A larger packet is passed over.
pub(super) const LARGEST_PACKET: usize = 64 * 1024;
/// So many bytes are read at once.
const READ_AT_ONCE: usize = 64 * 1024;
/// So many messages may be on their way to the journal. At 10 000 a second and a commit every 50 ms there
/// are 500.
const RECEIVE_MAXIMUM: u16 = 4096;
/// So many seconds a broker of version 5 keeps the session while we are away: 30 days. (One of version 3.1.1
/// decides by itself.)
const SESSION_EXPIRY_S: u32 = 30 * 24 * 60 * 60;
/// A broker that takes nothing for so long is gone.
const WRITE_WITHIN: Duration = Duration::from_secs(15);
/// The identifier of our own only packet that has one.
const SUBSCRIBE_PACKET: u16 = 1;

/// What came.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Incoming {
    /// The broker has let us in.
    Accepted {
        session_present: bool,
        /// The seconds within which the broker wants to hear from us, where it has its own mind.
        keep_alive: Option<u16>,
    },
    /// It has not, by a code of 3.1.1.
    RefusedV3(v4::ConnectReturnCode),
    /// It has not, by a code of 5.
    RefusedV5(v5::ConnectReturnCode),
    /// What became of each subscription, in order.
    Subscribed(Vec<Grant>),
    /// A message.
    Message(Message),
    /// A message larger than [`LARGEST_PACKET`], and its packet identifier if it has one.
    TooLarge(Option<u16>),
    /// The answer to a ping.
    Pong,
    /// The broker hangs up; another client has taken our name.
    TakenOver,
    /// The broker hangs up and says why.
    Farewell(String),
}

/// What became of a subscription.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Grant {
    /// It is as it was asked for.
    Full,
    /// Only at QoS 0: messages are lost where a connection is.
    Lossy,
    /// Refused.
    Refused,
}

/// A message.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Message {
    /// Its topic, as bytes.
    pub topic: bytes::Bytes,
    /// What it says.
    pub payload: bytes::Bytes,
    /// Its packet identifier; `None` with QoS 0.
    pub packet: Option<u16>,
    /// Whether the broker has sent it before.
    pub again: bool,
    /// Whether the broker had kept it from before we subscribed.
    pub retained: bool,
}

/// Why a connection ended.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(super) enum Lost {
    #[error("the broker has closed the connection")]
    Closed,
    #[error(
        "the broker closes the connection without letting us in; see host and port, user and password in the shop file, and the broker's log"
    )]
    Unheard,
    #[error("the connection to the broker broke ({0})")]
    Broken(String),
    #[error("the broker does not answer any more")]
    Silent,
    #[error("what the broker sends is no MQTT ({0}); see whether host and port are a broker's")]
    NoMqtt(String),
}

/// A packet that is too large, while it passes by.
#[derive(Debug, Clone, Copy)]
struct Passing {
    left: usize,
    packet: Option<u16>,
}

/// A connection.
pub(super) struct Wire {
    stream: Stream,
    version: MqttVersion,
    incoming: BytesMut,
    outgoing: BytesMut,
    passing: Option<Passing>,
}

impl Wire {
    pub(super) fn new(stream: Stream, version: MqttVersion) -> Wire {
        Wire {
            stream,
            version,
            incoming: BytesMut::new(),
            outgoing: BytesMut::new(),
            passing: None,
        }
    }

    /// Waits until bytes came. It may be dropped at any moment; no byte is lost.
    pub(super) async fn read(&mut self) -> Result<(), Lost> {
        self.incoming.reserve(READ_AT_ONCE);
        match self.stream.read_buf(&mut self.incoming).await {
            Ok(0) => Err(Lost::Closed),
            Ok(_) => Ok(()),
            Err(error) => Err(Lost::Broken(error.to_string())),
        }
    }

    /// The next whole packet of what has been read.
    pub(super) fn next(&mut self) -> Result<Option<Incoming>, Lost> {
        loop {
            if let Some(passing) = &mut self.passing {
                let passed = passing.left.min(self.incoming.len());
                self.incoming.advance(passed);
                passing.left -= passed;
                if passing.left > 0 {
                    return Ok(None);
                }
                let packet = passing.packet;
                self.passing = None;
                return Ok(Some(Incoming::TooLarge(packet)));
            }
            let Some(head) = Head::of(&self.incoming)? else {
                return Ok(None);
            };
            if head.remaining > LARGEST_PACKET {
                self.passing = head.passing(&self.incoming)?;
                if self.passing.is_none() {
                    return Ok(None);
                }
                continue;
            }
            if self.incoming.len() < head.whole() {
                return Ok(None);
            }
            let frame = self.incoming.split_to(head.whole());
            return match self.version {
                MqttVersion::V3 => incoming_v3(frame),
                MqttVersion::V5 => incoming_v5(frame, head),
            }
            .map(Some);
        }
    }
    /// Asks to be let in, to the session that is there.
    pub(super) fn put_connect(
        &mut self,
        client_id: &str,
        keep_alive: u16,
        login: Option<&Login>,
    ) -> Result<(), Lost> {
        self.put_connect_for(client_id, keep_alive, login, true)
    }

    /// Asks to be let in, to a session that ends with the connection.
    pub(super) fn put_fleeting_connect(
        &mut self,
        client_id: &str,
        keep_alive: u16,
        login: Option<&Login>,
    ) -> Result<(), Lost> {
        self.put_connect_for(client_id, keep_alive, login, false)
    }

    fn put_connect_for(
        &mut self,
        client_id: &str,
        keep_alive: u16,
        login: Option<&Login>,
        lasting: bool,
    ) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => {
                let mut connect = v4::Connect::new(client_id);
                connect.keep_alive = keep_alive;
                connect.clean_session = !lasting;
                connect.login = login.map(|login| v4::Login::new(&login.user, &login.password));
                self.put_v3(v4::Packet::Connect(connect))
            }
            MqttVersion::V5 => {
                let mut asked = v5::ConnectProperties::new();
                asked.session_expiry_interval = Some(if lasting { SESSION_EXPIRY_S } else { 0 });
                asked.receive_maximum = Some(RECEIVE_MAXIMUM);
                asked.max_packet_size = Some(LARGEST_PACKET as u32);
                let connect = v5::Connect {
                    keep_alive,
                    client_id: client_id.to_owned(),
                    clean_start: !lasting,
                    properties: Some(asked),
                };
                let login = login.map(|login| v5::Login::new(&login.user, &login.password));
                self.put_v5(v5::Packet::Connect(connect, None, login))
            }
        }
    }

    /// Asks for topics, each at QoS 1. A broker of version 5 is asked not to send what it had kept from
    /// before, unless that tells its own time; then it is sent to a new subscription.
    pub(super) fn put_subscribe(&mut self, wanted: &[Subscription]) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => {
                let filters = wanted.iter();
                let filters = filters.map(|wanted| {
                    v4::SubscribeFilter::new(wanted.filter.clone(), QosV3::AtLeastOnce)
                });
                let mut subscribe = v4::Subscribe::new_many(filters);
                subscribe.pkid = SUBSCRIBE_PACKET;
                self.put_v3(v4::Packet::Subscribe(subscribe))
            }
            MqttVersion::V5 => {
                let filters = wanted.iter().map(|wanted| v5::Filter {
                    path: wanted.filter.clone(),
                    qos: QosV5::AtLeastOnce,
                    retain_forward_rule: match wanted.timed && !wanted.filter.starts_with("$share")
                    {
                        true => v5::RetainForwardRule::OnNewSubscribe,
                        false => v5::RetainForwardRule::Never,
                    },
                    ..v5::Filter::default()
                });
                let mut subscribe = v5::Subscribe::new_many(filters, None);
                subscribe.pkid = SUBSCRIBE_PACKET;
                self.put_v5(v5::Packet::Subscribe(subscribe))
            }
        }
    }

    /// Acknowledges a message.
    pub(super) fn put_acknowledgement(&mut self, packet: u16) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::PubAck(v4::PubAck::new(packet))),
            MqttVersion::V5 => self.put_v5(v5::Packet::PubAck(v5::PubAck::new(packet, None))),
        }
    }

    /// Says that we live.
    pub(super) fn put_ping(&mut self) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::PingReq),
            MqttVersion::V5 => self.put_v5(v5::Packet::PingReq(v5::PingReq)),
        }
    }

    /// Says good-bye; the session stays.
    pub(super) fn put_farewell(&mut self) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::Disconnect),
            MqttVersion::V5 => {
                let reason = v5::DisconnectReasonCode::NormalDisconnection;
                self.put_v5(v5::Packet::Disconnect(v5::Disconnect::new(reason)))
            }
        }
    }

    fn put_v3(&mut self, packet: v4::Packet) -> Result<(), Lost> {
        let written = packet.write(&mut self.outgoing, usize::MAX);
        written
            .map(drop)
            .map_err(|error| Lost::Broken(error.to_string()))
    }

    fn put_v5(&mut self, packet: v5::Packet) -> Result<(), Lost> {
        let written = packet.write(&mut self.outgoing, None);
        written
            .map(drop)
            .map_err(|error| Lost::Broken(error.to_string()))
    }

    /// Sends what was put. (Not to be dropped before it ends: half a packet would have left.)
    pub(super) async fn flush(&mut self) -> Result<(), Lost> {
        if self.outgoing.is_empty() {
            return Ok(());
        }
        let sending = async {
            self.stream.write_all_buf(&mut self.outgoing).await?;
            self.stream.flush().await
        };
        match timeout(WRITE_WITHIN, sending).await {
            Err(_) => Err(Lost::Silent),
            Ok(Err(error)) => Err(Lost::Broken(error.to_string())),
            Ok(Ok(())) => Ok(()),
        }
    }
}

/// A whole packet of version 3.1.1.
fn incoming_v3(mut frame: BytesMut) -> Result<Incoming, Lost> {
    use v4::Packet;
    let packet = Packet::read(&mut frame, LARGEST_PACKET);
    Ok(
        match packet.map_err(|error| Lost::NoMqtt(error.to_string()))? {
            Packet::ConnAck(answer) if answer.code == v4::ConnectReturnCode::Success => {
                Incoming::Accepted {
                    session_present: answer.session_present,
                    keep_alive: None,
                }
            }
            Packet::ConnAck(answer) => Incoming::RefusedV3(answer.code),
            Packet::SubAck(answer) => {
                let granted = |code: &v4::SubscribeReasonCode| match code {
                    v4::SubscribeReasonCode::Success(QosV3::AtMostOnce) => Grant::Lossy,
                    v4::SubscribeReasonCode::Success(_) => Grant::Full,
                    v4::SubscribeReasonCode::Failure => Grant::Refused,
                };
                Incoming::Subscribed(answer.return_codes.iter().map(granted).collect())
            }
            Packet::Publish(message) => Incoming::Message(Message {
                packet: packet_of(message.qos as u8, message.pkid)?,
                topic: message.topic.into(),
                payload: message.payload,
                again: message.dup,
                retained: message.retain,
            }),
            Packet::PingResp => Incoming::Pong,
            other => return Err(unexpected(&other)),
        },
    )
}

/// A whole packet of version 5.
fn incoming_v5(mut frame: BytesMut, head: Head) -> Result<Incoming, Lost> {
    use v5::Packet;
    if let Some(own) = own_reading_v5(&frame, head) {
        return own;
    }
    let packet = Packet::read(&mut frame, Some(LARGEST_PACKET as u32));
    Ok(
        match packet.map_err(|error| Lost::NoMqtt(error.to_string()))? {
            Packet::ConnAck(answer) if answer.code == v5::ConnectReturnCode::Success => {
                let said = answer.properties.as_ref();
                Incoming::Accepted {
                    session_present: answer.session_present,
                    keep_alive: said.and_then(|said| said.server_keep_alive),
                }
            }
            Packet::ConnAck(answer) => Incoming::RefusedV5(answer.code),
            Packet::SubAck(answer) => {
                let granted = |code: &v5::SubscribeReasonCode| match code {
                    v5::SubscribeReasonCode::Success(QosV5::AtMostOnce) => Grant::Lossy,
                    v5::SubscribeReasonCode::Success(_) => Grant::Full,
                    _ => Grant::Refused,
                };
                Incoming::Subscribed(answer.return_codes.iter().map(granted).collect())
            }
            Packet::Publish(message) => Incoming::Message(Message {
                packet: packet_of(message.qos as u8, message.pkid)?,
                topic: message.topic,
                payload: message.payload,
                again: message.dup,
                retained: message.retain,
            }),
            Packet::PingResp(_) => Incoming::Pong,
            other => return Err(unexpected(&other)),
        },
    )
}

/// Packets that the library's codec does not read as they may come: a farewell without properties, or
/// without anything (MQTT 5.0, section 3.14.2), and the refusal of a broker that speaks 3.1.1 only, which is
/// two bytes long as it is there.
fn own_reading_v5(frame: &[u8], head: Head) -> Option<Result<Incoming, Lost>> {
    let body = frame.get(head.length..)?;
    match (head.kind(), body) {
        (2, [_, code @ 1..=5]) => Some(Ok(Incoming::RefusedV3(match code {
            1 => v4::ConnectReturnCode::RefusedProtocolVersion,
            2 => v4::ConnectReturnCode::BadClientId,
            3 => v4::ConnectReturnCode::ServiceUnavailable,
            4 => v4::ConnectReturnCode::BadUserNamePassword,
            _ => v4::ConnectReturnCode::NotAuthorized,
        }))),
        (14, _) => {
            let code = body.first().copied().unwrap_or(0);
            let known = v5::DisconnectReasonCode::try_from(code);
            Some(Ok(match known {
                Ok(v5::DisconnectReasonCode::SessionTakenOver) => Incoming::TakenOver,
                Ok(known) => Incoming::Farewell(format!("{known:?}")),
                Err(_) => Incoming::Farewell(format!("code {code:#04x}")),
            }))
        }
        _ => None,
    }
}

/// The packet identifier of a message. We ask for QoS 1, and no broker may give more.
fn packet_of(qos: u8, packet: u16) -> Result<Option<u16>, Lost> {
    match qos {
        0 => Ok(None),
        1 => Ok(Some(packet)),
        _ => Err(Lost::NoMqtt(
            "a message of a QoS that was not asked for".to_owned(),
        )),
    }
}

fn unexpected(packet: &impl std::fmt::Debug) -> Lost {
    let text = format!("{packet:?}");
    let name = text.split(['(', ' ']).next().unwrap_or_default();
    Lost::NoMqtt(format!("an unexpected {name}"))
}

/// The fixed header of a packet (MQTT 5.0, section 2.1; the same in 3.1.1).
#[derive(Debug, Clone, Copy)]
struct Head {
    first: u8,
    /// Its own length in bytes.
    length: usize,
    /// How many bytes follow it.
    remaining: usize,
}

impl Head {
    /// Reads it, if it is all there.
    fn of(bytes: &[u8]) -> Result<Option<Head>, Lost> {
        let Some((first, rest)) = bytes.split_first() else {
            return Ok(None);
        };
        let mut remaining = 0;
        for (digit, byte) in rest.iter().take(4).enumerate() {
            remaining |= usize::from(byte & 0x7f) << (7 * digit);
            if byte & 0x80 == 0 {
                return Ok(Some(Head {
                    first: *first,
                    length: digit + 2,
                    remaining,
                }));
            }
        }
        match rest.len() {
            0..4 => Ok(None),
            _ => Err(Lost::NoMqtt("a packet without a proper length".to_owned())),
        }
    }

    fn kind(self) -> u8 {
        self.first >> 4
    }

    fn whole(self) -> usize {
        self.length + self.remaining
    }

    /// For a message too large to be taken: how it passes by, once its beginning is there (section 3.3: a
    /// topic's length, the topic, the identifier).
    fn passing(self, bytes: &[u8]) -> Result<Option<Passing>, Lost> {
        if self.kind() != 3 {
            return Err(Lost::NoMqtt("a packet of a size that none has".to_owned()));
        }
        let body = &bytes[self.length..];
        let pair = |at: usize| Some(u16::from_be_bytes([*body.get(at)?, *body.get(at + 1)?]));
        let packet = pair(0).and_then(|topic| pair(2 + usize::from(topic)));
        Ok(packet.map(|packet| Passing {
            left: self.whole(),
            packet: (self.first & 0b0110 != 0).then_some(packet),
        }))
    }
}
