//! The broker's end of a connection, which does what a test says.

use bytes::BytesMut;
use inkdwell_config::shop::MqttVersion;
use rumqttc::mqttbytes::v4;
use rumqttc::v5::mqttbytes::v5;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream};

use super::*;

/// The broker's end of a connection.
pub(super) struct Peer {
    pub(super) stream: DuplexStream,
    pub(super) version: MqttVersion,
    pub(super) read: BytesMut,
}

/// What a client sends.
#[derive(Debug, PartialEq)]
pub(super) enum Sent {
    Connect { clean: bool },
    Subscribe(Vec<String>),
    Acknowledged(u16),
    Ping,
    Farewell,
}

#[derive(Default, Clone, Copy)]
pub(super) struct Flags {
    pub(super) again: bool,
    pub(super) retained: bool,
}

pub(super) const AGAIN: Flags = Flags {
    again: true,
    retained: false,
};

impl Peer {
    pub(super) async fn next(&mut self) -> Sent {
        loop {
            if let Some(sent) = self.decoded() {
                return sent;
            }
            let count = self.stream.read_buf(&mut self.read).await.unwrap();
            assert!(
                count > 0,
                "the client hung up; {:02x?} is left",
                &self.read[..]
            );
        }
    }

    pub(super) fn decoded(&mut self) -> Option<Sent> {
        // The same bytes in both versions (section 3.14), of which the codec reads one only.
        if self.read[..] == [0xe0, 0] {
            self.read.clear();
            return Some(Sent::Farewell);
        }
        match self.version {
            MqttVersion::V3 => Some(match v4::Packet::read(&mut self.read, 1 << 20).ok()? {
                v4::Packet::Connect(connect) => Sent::Connect {
                    clean: connect.clean_session,
                },
                v4::Packet::Subscribe(asked) => {
                    Sent::Subscribe(asked.filters.into_iter().map(|asked| asked.path).collect())
                }
                v4::Packet::PubAck(ack) => Sent::Acknowledged(ack.pkid),
                v4::Packet::PingReq => Sent::Ping,
                other => panic!("{other:?}"),
            }),
            MqttVersion::V5 => Some(match v5::Packet::read(&mut self.read, None).ok()? {
                v5::Packet::Connect(connect, ..) => Sent::Connect {
                    clean: connect.clean_start,
                },
                v5::Packet::Subscribe(asked) => {
                    Sent::Subscribe(asked.filters.into_iter().map(|asked| asked.path).collect())
                }
                v5::Packet::PubAck(ack) => Sent::Acknowledged(ack.pkid),
                v5::Packet::PingReq(_) => Sent::Ping,
                other => panic!("{other:?}"),
            }),
        }
    }

    pub(super) async fn send(&mut self, v3: v4::Packet, v5: v5::Packet) {
        let mut bytes = BytesMut::new();
        match self.version {
            MqttVersion::V3 => v3.write(&mut bytes, usize::MAX).unwrap(),
            MqttVersion::V5 => v5.write(&mut bytes, None).unwrap(),
        };
        self.stream.write_all(&bytes).await.unwrap();
    }

    pub(super) async fn let_in(&mut self, session_present: bool) {
        assert_eq!(self.next().await, Sent::Connect { clean: false });
        let v3 = v4::ConnAck::new(v4::ConnectReturnCode::Success, session_present);
        let v5 = v5::ConnAck {
            session_present,
            code: v5::ConnectReturnCode::Success,
            properties: None,
        };
        self.send(v4::Packet::ConnAck(v3), v5::Packet::ConnAck(v5))
            .await;
    }

    pub(super) async fn grant(&mut self) {
        assert!(matches!(self.next().await, Sent::Subscribe(_)));
        self.answer_subscription(true).await;
    }

    pub(super) async fn answer_subscription(&mut self, granted: bool) {
        let v3 = match granted {
            true => v4::SubscribeReasonCode::Success(rumqttc::QoS::AtLeastOnce),
            false => v4::SubscribeReasonCode::Failure,
        };
        let v5 = match granted {
            true => v5::SubscribeReasonCode::Success(rumqttc::v5::mqttbytes::QoS::AtLeastOnce),
            false => v5::SubscribeReasonCode::NotAuthorized,
        };
        let v3 = v4::SubAck::new(1, vec![v3]);
        let v5 = v5::SubAck {
            pkid: 1,
            return_codes: vec![v5],
            properties: None,
        };
        self.send(v4::Packet::SubAck(v3), v5::Packet::SubAck(v5))
            .await;
    }

    pub(super) fn message(
        &self,
        packet: u16,
        topic: &str,
        payload: &[u8],
        flags: Flags,
    ) -> BytesMut {
        let mut bytes = BytesMut::new();
        match self.version {
            MqttVersion::V3 => {
                let mut message = v4::Publish::new(topic, rumqttc::QoS::AtLeastOnce, payload);
                message.pkid = packet;
                (message.dup, message.retain) = (flags.again, flags.retained);
                message.write(&mut bytes).unwrap();
            }
            MqttVersion::V5 => {
                let qos = rumqttc::v5::mqttbytes::QoS::AtLeastOnce;
                let mut message = v5::Publish::new(topic, qos, payload.to_vec(), None);
                message.pkid = packet;
                (message.dup, message.retain) = (flags.again, flags.retained);
                message.write(&mut bytes).unwrap();
            }
        }
        bytes
    }

    pub(super) async fn publish(&mut self, packet: u16, payload: &str, flags: Flags) {
        let bytes = self.message(packet, "t/film", payload.as_bytes(), flags);
        self.stream.write_all(&bytes).await.unwrap();
    }

    pub(super) async fn acknowledged(&mut self) -> u16 {
        loop {
            match self.next().await {
                Sent::Acknowledged(packet) => return packet,
                Sent::Ping => {
                    self.send(v4::Packet::PingResp, v5::Packet::PingResp(v5::PingResp))
                        .await
                }
                other => panic!("{other:?}"),
            }
        }
    }

    /// The next thing that the client sends within a virtual second; pings apart.
    pub(super) async fn soon(&mut self) -> Option<Sent> {
        tokio::time::timeout(Duration::from_secs(1), self.next())
            .await
            .ok()
    }
}
