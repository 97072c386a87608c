//! Wires for tests: a serial device behind a pseudo-terminal, a broker, a Modbus device, and a terminal with somebody at
//! its keys.

#[path = "../../daemon/tests/loopback/free_port.rs"]
mod free_port;
pub mod terminal;

use std::collections::HashMap;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use std::thread::JoinHandle;
use std::time::Duration;

use inkdwell_tests::daemon::until;
use portable_pty::{MasterPty, PtySize, SlavePty, native_pty_system};
use rumqttd::{Broker, Config, ConnectionSettings, RouterConfig, ServerSettings};

use self::free_port::free_port;

/// What says the same over and over, until it is dropped.
struct Talker {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Talker {
    /// Speaks twenty times a second.
    fn start(mut speak: impl FnMut() -> std::io::Result<()> + Send + 'static) -> Talker {
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            while !told.load(Ordering::Relaxed) && speak().is_ok() {
                std::thread::sleep(Duration::from_millis(50));
            }
        });
        Talker {
            stop,
            thread: Some(thread),
        }
    }
}

impl Drop for Talker {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A speaker whose listener has gone has ended by itself.
            let _ = thread.join();
        }
    }
}

/// A device on a serial line, which says the same over and over.
pub struct Device {
    pub path: PathBuf,
    _talker: Talker,
    /// Held open, so that the line does not hang up between one listener and the next.
    _line: (Box<dyn MasterPty + Send>, Box<dyn SlavePty + Send>),
}

impl Device {
    pub fn saying(bytes: &'static [u8]) -> Device {
        let pair = native_pty_system().openpty(PtySize::default()).unwrap();
        let path = pair.master.tty_name().unwrap();
        let mut writer = pair.master.take_writer().unwrap();
        let mut reader = pair.master.try_clone_reader().unwrap();
        // Until a listener has set the line, it echoes; nobody wants that.
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(1..) = reader.read(&mut bytes) {}
        });
        Device {
            path,
            _talker: Talker::start(move || writer.write_all(bytes)),
            _line: (pair.master, pair.slave),
        }
    }
}

/// A device that answers Modbus over TCP, until the process ends: register R of device 1 is 1902 + R, whichever table;
/// other devices are silent.
pub fn modbus() -> u16 {
    static PORT: OnceLock<u16> = OnceLock::new();
    *PORT.get_or_init(|| {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                std::thread::spawn(move || answer(stream.unwrap()));
            }
        });
        port
    })
}

/// Frames as in MODBUS Messaging on TCP/IP V1.0b, section 3.1.3, and MODBUS Application Protocol V1.1b3, sections 6.3 and
/// 6.4: identifier, protocol 0, length, unit; function, address, count.
fn answer(mut stream: TcpStream) {
    let mut question = [0; 12];
    while stream.read_exact(&mut question).is_ok() {
        let pair = |at: usize| u16::from_be_bytes([question[at], question[at + 1]]);
        let (unit, function, address, count) = (question[6], question[7], pair(8), pair(10));
        if unit != 1 {
            continue;
        }
        let bytes = 2 * count as u8;
        let mut answer = question[..4].to_vec();
        answer.extend([0, bytes + 3, unit, function, bytes]);
        for register in address..address + count {
            answer.extend((1902 + register).to_be_bytes());
        }
        if stream.write_all(&answer).is_err() {
            return;
        }
    }
}

/// The ports of a broker in this process, which lives until it ends: for version 3.1.1 and for 5.
pub fn broker() -> (u16, u16) {
    static PORTS: OnceLock<(u16, u16)> = OnceLock::new();
    *PORTS.get_or_init(|| {
        let ports = (free_port(), free_port());
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
                    auth: None,
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
            v4: server("three", ports.0),
            v5: server("five", ports.1),
            ..Config::default()
        };
        std::thread::spawn(move || Broker::new(config).start().unwrap());
        for port in [ports.0, ports.1] {
            until("the broker", || {
                TcpStream::connect(("127.0.0.1", port)).ok()
            });
        }
        ports
    })
}

/// Somebody who publishes the same messages over and over, until it is dropped.
pub struct Publisher {
    _talker: Talker,
}

impl Publisher {
    /// Packets as in MQTT 3.1.1, sections 3.1 (CONNECT, a clean session) and 3.3 (PUBLISH, QoS 0).
    pub fn of(messages: &'static [(&'static str, &'static [u8])]) -> Publisher {
        static NAMES: std::sync::atomic::AtomicU8 = std::sync::atomic::AtomicU8::new(b'a');
        let mut stream = TcpStream::connect(("127.0.0.1", broker().0)).unwrap();
        let name = NAMES.fetch_add(1, Ordering::Relaxed);
        let connect = [
            &b"\x10\x0d\x00\x04MQTT\x04\x02\x00\x3c\x00\x01"[..],
            &[name],
        ]
        .concat();
        stream.write_all(&connect).unwrap();
        let mut accepted = [0; 4];
        stream.read_exact(&mut accepted).unwrap();
        assert_eq!(accepted, [0x20, 0x02, 0x00, 0x00]);
        let speak = move || {
            for (topic, payload) in messages {
                let length = 2 + topic.len() + payload.len();
                assert!(length < 128, "a longer packet has a longer head");
                let mut packet = vec![0x30, length as u8];
                packet.extend((topic.len() as u16).to_be_bytes());
                packet.extend(topic.as_bytes());
                packet.extend(*payload);
                stream.write_all(&packet)?;
            }
            Ok(())
        };
        Publisher {
            _talker: Talker::start(speak),
        }
    }
}
