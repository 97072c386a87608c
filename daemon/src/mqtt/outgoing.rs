//! What we say to a broker.

use bytes::Bytes;
use inkdwell_config::shop::MqttVersion;
use rumqttc::mqttbytes::QoS as QosV3;
use rumqttc::mqttbytes::v4;
use rumqttc::v5::mqttbytes::QoS as QosV5;
use rumqttc::v5::mqttbytes::v5;

use super::{LARGEST_PACKET, Lost, Wire};
use crate::broker::Login;

/// So many messages may be on their way to the journal. At 10 000 a second and a commit every 50 ms there
/// are 500.
const RECEIVE_MAXIMUM: u16 = 4096;
/// So many seconds a broker of version 5 keeps the session while we are away: 30 days. (One of version 3.1.1
/// decides by itself.)
const SESSION_EXPIRY_S: u32 = 30 * 24 * 60 * 60;
/// The identifier of our own only packet that has one and is no publication.
const SUBSCRIBE_PACKET: u16 = 1;

/// What a broker knows of us from before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Session {
    /// It keeps for us what comes while we are away.
    Kept,
    /// Nothing, and it is not to.
    Fresh,
}

/// By which we ask to be let in.
#[derive(Debug)]
pub(crate) struct Hello<'a> {
    pub(crate) client_id: &'a str,
    /// The broker hears from us within so many seconds.
    pub(crate) keep_alive: u16,
    pub(crate) login: Option<&'a Login>,
    pub(crate) session: Session,
    /// What the broker is to say if we go without a farewell.
    pub(crate) will: Option<&'a Publication>,
}

/// Something to be published at QoS 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Publication {
    pub(crate) topic: String,
    pub(crate) payload: Bytes,
    pub(crate) retained: bool,
}

/// Topics that are asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Wish {
    pub(crate) filter: String,
    /// Also what the broker had kept from before, where the subscription is a new one. (One of version 3.1.1
    /// sends it always.)
    pub(crate) retained: bool,
}

impl Publication {
    /// Its bytes as a packet, or a few more: heads and lengths take no more than sixteen.
    pub(crate) fn size(&self) -> usize {
        self.topic.len() + self.payload.len() + 16
    }
}

impl Wire {
    /// Asks to be let in.
    pub(crate) fn put_connect(&mut self, hello: &Hello) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::Connect(connect_v3(hello))),
            MqttVersion::V5 => {
                let will = hello.will.map(|will| {
                    let payload = will.payload.to_vec();
                    let qos = QosV5::AtLeastOnce;
                    v5::LastWill::new(&will.topic, payload, qos, will.retained, None)
                });
                let login = hello.login;
                let login = login.map(|login| v5::Login::new(&login.user, &login.password));
                self.put_v5(v5::Packet::Connect(connect_v5(hello), will, login))
            }
        }
    }

    /// Asks for topics, each at QoS 1.
    pub(crate) fn put_subscribe(&mut self, wishes: &[Wish]) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => {
                let filters = wishes.iter();
                let filters = filters
                    .map(|wish| v4::SubscribeFilter::new(wish.filter.clone(), QosV3::AtLeastOnce));
                let mut subscribe = v4::Subscribe::new_many(filters);
                subscribe.pkid = SUBSCRIBE_PACKET;
                self.put_v3(v4::Packet::Subscribe(subscribe))
            }
            MqttVersion::V5 => {
                let filters = wishes.iter().map(|wish| v5::Filter {
                    path: wish.filter.clone(),
                    qos: QosV5::AtLeastOnce,
                    retain_forward_rule: match wish.retained {
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

    /// Publishes at QoS 1.
    pub(crate) fn put_publication(&mut self, packet: u16, what: &Publication) -> Result<(), Lost> {
        let (topic, payload) = (&what.topic, what.payload.clone());
        match self.version {
            MqttVersion::V3 => {
                let mut publish = v4::Publish::from_bytes(topic, QosV3::AtLeastOnce, payload);
                publish.pkid = packet;
                publish.retain = what.retained;
                self.put_v3(v4::Packet::Publish(publish))
            }
            MqttVersion::V5 => {
                let mut publish = v5::Publish::new(topic, QosV5::AtLeastOnce, payload, None);
                publish.pkid = packet;
                publish.retain = what.retained;
                self.put_v5(v5::Packet::Publish(publish))
            }
        }
    }

    /// Acknowledges a message.
    pub(crate) fn put_acknowledgement(&mut self, packet: u16) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::PubAck(v4::PubAck::new(packet))),
            MqttVersion::V5 => self.put_v5(v5::Packet::PubAck(v5::PubAck::new(packet, None))),
        }
    }

    /// Says that we live.
    pub(crate) fn put_ping(&mut self) -> Result<(), Lost> {
        match self.version {
            MqttVersion::V3 => self.put_v3(v4::Packet::PingReq),
            MqttVersion::V5 => self.put_v5(v5::Packet::PingReq(v5::PingReq)),
        }
    }

    /// Says good-bye: a session that is kept stays, a last will is not published.
    pub(crate) fn put_farewell(&mut self) -> Result<(), Lost> {
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
}

fn connect_v3(hello: &Hello) -> v4::Connect {
    let mut connect = v4::Connect::new(hello.client_id);
    connect.keep_alive = hello.keep_alive;
    connect.clean_session = hello.session == Session::Fresh;
    connect.login = hello
        .login
        .map(|login| v4::Login::new(&login.user, &login.password));
    connect.last_will = hello.will.map(|will| {
        let payload = will.payload.to_vec();
        v4::LastWill::new(&will.topic, payload, QosV3::AtLeastOnce, will.retained)
    });
    connect
}

fn connect_v5(hello: &Hello) -> v5::Connect {
    let mut asked = v5::ConnectProperties::new();
    asked.max_packet_size = Some(LARGEST_PACKET as u32);
    if hello.session == Session::Kept {
        asked.session_expiry_interval = Some(SESSION_EXPIRY_S);
        asked.receive_maximum = Some(RECEIVE_MAXIMUM);
    }
    v5::Connect {
        keep_alive: hello.keep_alive,
        client_id: hello.client_id.to_owned(),
        clean_start: hello.session == Session::Fresh,
        properties: Some(asked),
    }
}
