//! `inkdwelld` as a process of its own, and what it costs.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Nothing here takes longer.
const PATIENCE: Duration = Duration::from_secs(60);

/// A running daemon, ended with this.
pub struct Daemon {
    process: Child,
    data: PathBuf,
    /// From its start to when it could be asked.
    pub started_after: Duration,
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Daemon {
    /// Starts it, and waits until it answers.
    pub fn start(shop: &Path, data: &Path) -> Daemon {
        let address = data.join("api.address");
        // One of a daemon that was killed.
        let _ = fs::remove_file(&address);
        let begun = Instant::now();
        let process = Command::new(env!("CARGO_BIN_EXE_inkdwelld"))
            .arg("--shop")
            .arg(shop)
            .arg("--data")
            .arg(data)
            .stdin(Stdio::null())
            .spawn()
            .expect("inkdwelld starts");
        let mut daemon = Daemon {
            process,
            data: data.to_owned(),
            started_after: Duration::ZERO,
        };
        while daemon.try_get("/api/status").is_none() {
            assert!(begun.elapsed() < PATIENCE, "inkdwelld does not answer");
            std::thread::sleep(Duration::from_millis(2));
        }
        daemon.started_after = begun.elapsed();
        daemon
    }

    /// Stops it as a service manager does, and waits until it has gone.
    pub fn stop(&mut self) {
        let id = self.process.id().to_string();
        let told = Command::new("kill").args(["-TERM", &id]).status();
        assert!(
            told.is_ok_and(|status| status.success()),
            "it can be told to stop"
        );
        assert!(
            self.process.wait().is_ok_and(|status| status.success()),
            "it stops well"
        );
    }

    fn address(&self) -> Option<String> {
        let text = fs::read_to_string(self.data.join("api.address")).ok()?;
        Some(
            text.lines()
                .next()?
                .trim_start_matches("http://")
                .to_owned(),
        )
    }

    fn send(&self, request: &str, body: &str) -> Option<TcpStream> {
        let address = self.address()?;
        let mut stream = TcpStream::connect(&address).ok()?;
        let length = body.len();
        let head = format!("{request} HTTP/1.1\r\nHost: {address}\r\nContent-Length: {length}\r\n");
        let token = fs::read_to_string(self.data.join("api.token")).unwrap_or_default();
        let token = token.trim();
        let rest = format!(
            "Authorization: Bearer {token}\r\nContent-Type: application/json\r\nConnection: close\r\n\r\n{body}"
        );
        stream.write_all((head + &rest).as_bytes()).ok()?;
        Some(stream)
    }

    fn try_get(&self, path: &str) -> Option<String> {
        let mut answer = String::new();
        let mut stream = self.send(&format!("GET {path}"), "")?;
        stream.read_to_string(&mut answer).ok()?;
        answer.starts_with("HTTP/1.1 200").then_some(answer)
    }

    /// Has something done.
    pub fn post(&self, path: &str, body: &str) {
        loop {
            let mut answer = String::new();
            let mut stream = self
                .send(&format!("POST {path}"), body)
                .expect("a connection");
            stream.read_to_string(&mut answer).expect("an answer");
            // It takes only so many requests a second.
            if answer.starts_with("HTTP/1.1 429") {
                std::thread::sleep(Duration::from_millis(200));
                continue;
            }
            assert!(answer.starts_with("HTTP/1.1 20"), "{answer}");
            return;
        }
    }

    /// What it answers at a path, as it comes.
    pub fn open(&self, path: &str) -> TcpStream {
        self.send(&format!("GET {path}"), "").expect("a connection")
    }

    /// The lines of its news.
    pub fn news(&self) -> impl Iterator<Item = String> + use<> {
        BufReader::new(self.open("/api/stream"))
            .lines()
            .map_while(Result::ok)
    }

    /// Seconds on the processor so far; `None` where the system does not tell.
    pub fn processor(&self) -> Option<f64> {
        let text = fs::read_to_string(format!("/proc/{}/stat", self.process.id())).ok()?;
        // After the name in brackets: state is field 3, utime and stime are 14 and 15 (proc(5)), in ticks
        // of which Linux counts 100 a second.
        let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
        let ticks = |field: usize| fields.get(field - 3)?.parse::<f64>().ok();
        Some((ticks(14)? + ticks(15)?) / 100.0)
    }

    /// The most memory that it has held, in megabytes.
    pub fn memory(&self) -> Option<f64> {
        let text = fs::read_to_string(format!("/proc/{}/status", self.process.id())).ok()?;
        let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
        let kilobytes: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
        Some(kilobytes * 1024.0 / 1e6)
    }
}
