//! A publisher that costs little: MQTT 3.1.1 by hand, QoS 1, whose acknowledgements are read and forgotten.

use std::io::{Read, Write};
use std::net::TcpStream;

/// A connection to a broker.
pub struct Publisher {
    stream: TcpStream,
    packet: u16,
    waiting: Vec<u8>,
}

impl Publisher {
    /// Connects (MQTT 3.1.1, section 3.1: protocol name and level, clean session, keep-alive, client id).
    pub fn connect(port: u16) -> Publisher {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("a broker");
        stream.set_nodelay(true).expect("a socket");
        let id = b"bench";
        let mut connect = vec![0x10, 10 + 2 + id.len() as u8];
        connect.extend([0, 4]);
        connect.extend(b"MQTT");
        connect.extend([4, 2, 0, 0, 0, id.len() as u8]);
        connect.extend(id);
        stream.write_all(&connect).expect("a connection");
        let mut answer = [0; 4];
        stream.read_exact(&mut answer).expect("an answer");
        assert_eq!(answer, [0x20, 2, 0, 0], "the broker accepts");
        let mut acknowledgements = stream.try_clone().expect("a socket");
        std::thread::spawn(move || {
            let mut forgotten = [0; 4096];
            while acknowledgements
                .read(&mut forgotten)
                .is_ok_and(|count| count > 0)
            {}
        });
        Publisher {
            stream,
            packet: 0,
            waiting: Vec::new(),
        }
    }

    /// Adds a message (section 3.3) to those that are sent next.
    pub fn add(&mut self, topic: &str, payload: &str) {
        self.packet = self.packet % u16::MAX + 1;
        let length = 2 + topic.len() + 2 + payload.len();
        assert!(length < 128, "one byte tells the length");
        self.waiting
            .extend([0x32, length as u8, 0, topic.len() as u8]);
        self.waiting.extend(topic.bytes());
        self.waiting.extend(self.packet.to_be_bytes());
        self.waiting.extend(payload.bytes());
    }

    /// Sends what was added.
    pub fn send(&mut self) {
        self.stream
            .write_all(&self.waiting)
            .expect("the broker listens");
        self.waiting.clear();
    }
}
