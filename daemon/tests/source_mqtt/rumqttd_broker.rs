//! rumqttd in the test's own process.

use std::collections::HashMap;
use std::net::TcpStream;

use rumqttd::{Broker, Config, ConnectionSettings, RouterConfig, ServerSettings};

use crate::free_port::free_port;

/// The ports of a broker, which lives until the process ends.
#[derive(Debug, Clone, Copy)]
pub struct Ports {
    pub v3: u16,
    pub v5: u16,
}

pub fn start(auth: Option<HashMap<String, String>>) -> Ports {
    let ports = Ports {
        v3: free_port(),
        v5: free_port(),
    };
    let server = |name: &str, port: u16| {
        let settings = ServerSettings {
            name: name.to_owned(),
            listen: ([127, 0, 0, 1], port).into(),
            tls: None,
            next_connection_delay_ms: 1,
            connections: ConnectionSettings {
                connection_timeout_ms: 5000,
                max_payload_size: 1 << 20,
                max_inflight_count: 500,
                auth: auth.clone(),
                external_auth: None,
                dynamic_filters: true,
            },
        };
        Some(HashMap::from([(name.to_owned(), settings)]))
    };
    let config = Config {
        router: RouterConfig {
            max_connections: 100,
            max_outgoing_packet_count: 200,
            max_segment_size: 10 << 20,
            max_segment_count: 10,
            ..RouterConfig::default()
        },
        v4: server("three", ports.v3),
        v5: server("five", ports.v5),
        ..Config::default()
    };
    std::thread::spawn(move || Broker::new(config).start().unwrap());
    for port in [ports.v3, ports.v5] {
        let begun = std::time::Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(begun.elapsed().as_secs() < 30, "rumqttd does not start");
            std::thread::yield_now();
        }
    }
    ports
}

impl Ports {
    pub fn of(self, version: inkdwell_config::shop::MqttVersion) -> u16 {
        match version {
            inkdwell_config::shop::MqttVersion::V3 => self.v3,
            inkdwell_config::shop::MqttVersion::V5 => self.v5,
        }
    }
}
