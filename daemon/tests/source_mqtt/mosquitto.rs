//! Mosquitto as a process of its own, where it is installed.

use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use crate::free_port::free_port;

/// A broker; it ends with the test.
pub struct Mosquitto {
    pub port: u16,
    folder: tempfile::TempDir,
    program: PathBuf,
    child: Child,
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
        let child = spawn(&program, &folder);
        let broker = Mosquitto {
            port,
            folder,
            program,
            child,
        };
        broker.answers();
        Some(broker)
    }

    fn answers(&self) {
        let begun = std::time::Instant::now();
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(begun.elapsed().as_secs() < 30, "mosquitto does not start");
            std::thread::yield_now();
        }
    }

    /// Ends it as its init system would; it saves what it keeps.
    pub fn end(&mut self) {
        self.signal("TERM");
        self.child.wait().unwrap();
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Starts it again, on the same port and with what it has saved.
    pub fn again(&mut self) {
        self.child = spawn(&self.program, &self.folder);
        self.answers();
    }

    fn signal(&self, signal: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("kill").args(["-s", signal, &id]).status();
        assert!(sent.unwrap().success());
    }
}

fn spawn(program: &PathBuf, folder: &tempfile::TempDir) -> Child {
    Command::new(program)
        .arg("-c")
        .arg(folder.path().join("mosquitto.conf"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
