//! Mosquitto, for what is measured through a broker.

use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A broker that ends with this.
pub struct Mosquitto(Child);

impl Drop for Mosquitto {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A port of this machine that is free.
pub fn free_port() -> u16 {
    let free = TcpListener::bind("127.0.0.1:0").expect("a port");
    free.local_addr().expect("an address").port()
}

impl Mosquitto {
    /// Starts it with room for what is on its way, as the README asks for; `None` where it is not installed.
    pub fn start(port: u16, folder: &Path) -> Option<Mosquitto> {
        let file = folder.join("mosquitto.conf");
        let settings = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\nset_tcp_nodelay true\nmax_inflight_messages 2000\n\
             max_queued_messages 100000\n"
        );
        fs::write(&file, settings).expect("a file");
        let found = ["mosquitto", "/usr/sbin/mosquitto"]
            .into_iter()
            .find_map(|name| {
                let mut command = Command::new(name);
                let command = command.arg("-c").arg(&file).stdin(Stdio::null());
                command
                    .stdout(Stdio::null())
                    .stderr(Stdio::null())
                    .spawn()
                    .ok()
            });
        let running = Mosquitto(found?);
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(begun.elapsed().as_secs() < 30, "Mosquitto does not start");
            std::thread::sleep(Duration::from_millis(10));
        }
        Some(running)
    }
}
