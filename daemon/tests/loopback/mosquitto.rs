//! Mosquitto as a process of its own, where it is installed.

use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use crate::free_port::free_port;

/// A broker; it ends with the test.
pub struct Mosquitto {
    pub port: u16,
    /// What it runs as, while it runs.
    pub process: Option<Child>,
    program: PathBuf,
    folder: tempfile::TempDir,
}

/// Where the program is; if nowhere, says so, loudly.
fn program() -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let mut folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    folders.push("/usr/sbin".into());
    let mut programs = folders.iter().map(|folder| folder.join("mosquitto"));
    let found = programs.find(|program| program.is_file());
    if found.is_none() {
        eprintln!("SKIPPED: a test against Mosquitto, which is not installed (package mosquitto)");
    }
    found
}

impl Mosquitto {
    /// Starts it with these lines in its configuration. `None` where it is not installed.
    pub fn start(settings: &str) -> Option<Mosquitto> {
        let program = program()?;
        let folder = tempfile::tempdir().unwrap();
        let port = free_port();
        let place = folder.path().display();
        let text = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\nuser root\npersistence_location {place}/\n\
             max_queued_messages 0\nmax_inflight_messages 50\n{settings}\n"
        );
        std::fs::write(folder.path().join("mosquitto.conf"), text).unwrap();
        let mut broker = Mosquitto {
            port,
            process: None,
            program,
            folder,
        };
        broker.run();
        Some(broker)
    }

    /// Starts its process, on its port and with what it has saved, and returns once it listens.
    pub fn run(&mut self) {
        let process = Command::new(&self.program)
            .arg("-c")
            .arg(self.folder.path().join("mosquitto.conf"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        self.process = Some(process.unwrap());
        let begun = std::time::Instant::now();
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(begun.elapsed().as_secs() < 30, "mosquitto does not start");
            std::thread::yield_now();
        }
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().unwrap();
            process.wait().unwrap();
        }
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.kill();
    }
}
