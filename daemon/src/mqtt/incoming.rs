//! What a broker says to us.

use bytes::{Bytes, BytesMut};
use inkdwell_config::shop::MqttVersion;
use rumqttc::mqttbytes::QoS as QosV3;
use rumqttc::mqttbytes::v4;
use rumqttc::v5::mqttbytes::QoS as QosV5;
use rumqttc::v5::mqttbytes::v5;

use super::head::Head;
use super::{LARGEST_PACKET, Lost};

/// What came.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Incoming {
    /// The broker has let us in.
    Accepted(Accepted),
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
    /// A publication of ours is taken.
    Taken(u16),
    /// It is refused, by this reason.
    Declined(u16, v5::PubAckReason),
    /// The answer to a ping.
    Pong,
    /// The broker hangs up; another client has taken our name.
    TakenOver,
    /// The broker hangs up and says why.
    Farewell(String),
}

/// On which terms we are let in. One of version 3.1.1 has none of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Accepted {
    /// Whether the broker knows our session.
    pub(crate) session_present: bool,
    /// The seconds within which the broker wants to hear from us, where it has its own mind.
    pub(crate) keep_alive: Option<u16>,
    /// How many publications it takes at a time.
    pub(crate) at_once: u16,
    /// The largest packet that it takes, in bytes.
    pub(crate) largest: Option<u32>,
}

/// What became of a subscription.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grant {
    /// It is as it was asked for.
    Full,
    /// Only at QoS 0: messages are lost where a connection is.
    Lossy,
    /// Refused.
    Refused,
}

/// A message.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Message {
    /// Its topic, as bytes.
    pub(crate) topic: Bytes,
    /// What it says.
    pub(crate) payload: Bytes,
    /// Its packet identifier; `None` with QoS 0.
    pub(crate) packet: Option<u16>,
    /// Whether the broker has sent it before.
    pub(crate) again: bool,
    /// Whether the broker had kept it from before we subscribed.
    pub(crate) retained: bool,
}

impl Incoming {
    /// Reads a whole packet.
    pub(super) fn of(version: MqttVersion, frame: BytesMut, head: Head) -> Result<Incoming, Lost> {
        match version {
            MqttVersion::V3 => of_v3(frame),
            MqttVersion::V5 => of_v5(frame, head),
        }
    }
}

fn of_v3(mut frame: BytesMut) -> Result<Incoming, Lost> {
    use v4::Packet;
    let packet = Packet::read(&mut frame, LARGEST_PACKET);
    Ok(
        match packet.map_err(|error| Lost::NoMqtt(error.to_string()))? {
            Packet::ConnAck(answer) if answer.code == v4::ConnectReturnCode::Success => {
                Incoming::Accepted(Accepted {
                    session_present: answer.session_present,
                    keep_alive: None,
                    at_once: u16::MAX,
                    largest: None,
                })
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
            Packet::PubAck(taken) => Incoming::Taken(taken.pkid),
            Packet::PingResp => Incoming::Pong,
            other => return Err(unexpected(&other)),
        },
    )
}

fn of_v5(mut frame: BytesMut, head: Head) -> Result<Incoming, Lost> {
    use v5::Packet;
    if let Some(own) = own_reading_v5(&frame, head) {
        return Ok(own);
    }
    let packet = Packet::read(&mut frame, Some(LARGEST_PACKET as u32));
    Ok(
        match packet.map_err(|error| Lost::NoMqtt(error.to_string()))? {
            Packet::ConnAck(answer) if answer.code == v5::ConnectReturnCode::Success => {
                let said = answer.properties.as_ref();
                Incoming::Accepted(Accepted {
                    session_present: answer.session_present,
                    keep_alive: said.and_then(|said| said.server_keep_alive),
                    at_once: said.and_then(|said| said.receive_max).unwrap_or(u16::MAX),
                    largest: said.and_then(|said| said.max_packet_size),
                })
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
            Packet::PubAck(answer) => match answer.reason {
                v5::PubAckReason::Success | v5::PubAckReason::NoMatchingSubscribers => {
                    Incoming::Taken(answer.pkid)
                }
                reason => Incoming::Declined(answer.pkid, reason),
            },
            Packet::PingResp(_) => Incoming::Pong,
            other => return Err(unexpected(&other)),
        },
    )
}

/// Packets that the library's codec does not read as they may come: a farewell without properties, or
/// without anything (MQTT 5.0, section 3.14.2), and the refusal of a broker that speaks 3.1.1 only, which is
/// two bytes long as it is there.
fn own_reading_v5(frame: &[u8], head: Head) -> Option<Incoming> {
    let body = frame.get(head.length..)?;
    match (head.kind(), body) {
        (2, [_, code @ 1..=5]) => Some(Incoming::RefusedV3(match code {
            1 => v4::ConnectReturnCode::RefusedProtocolVersion,
            2 => v4::ConnectReturnCode::BadClientId,
            3 => v4::ConnectReturnCode::ServiceUnavailable,
            4 => v4::ConnectReturnCode::BadUserNamePassword,
            _ => v4::ConnectReturnCode::NotAuthorized,
        })),
        (14, _) => {
            let code = body.first().copied().unwrap_or(0);
            let known = v5::DisconnectReasonCode::try_from(code);
            Some(match known {
                Ok(v5::DisconnectReasonCode::SessionTakenOver) => Incoming::TakenOver,
                Ok(known) => Incoming::Farewell(format!("{known:?}")),
                Err(_) => Incoming::Farewell(format!("code {code:#04x}")),
            })
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
