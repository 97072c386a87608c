//! Modbus devices by pymodbus, in a process of its own.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

/// Devices; they end with the test.
pub struct Devices {
    child: Child,
    /// Where they listen, over TCP.
    pub port: u16,
    /// The units that have been asked, in order.
    asked: Arc<Mutex<Vec<u8>>>,
}

/// The Python that has pymodbus; if there is none, says so, loudly.
fn program() -> Option<PathBuf> {
    let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/pymodbus/bin/python");
    if !program.is_file() {
        eprintln!(
            "SKIPPED: a test against pymodbus, which tests/run installs (PyPI package pymodbus)"
        );
        return None;
    }
    Some(program)
}

impl Devices {
    pub fn on(path: &Path) -> Option<Devices> {
        Devices::start(&["rtu", &path.display().to_string()])
    }

    pub fn at(port: u16) -> Option<Devices> {
        Devices::start(&["tcp", &port.to_string()])
    }

    fn start(arguments: &[&str]) -> Option<Devices> {
        let script = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/source_modbus/devices.py"
        );
        let mut child = Command::new(program()?)
            .arg(script)
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let ready = lines.next().expect("the devices do not start").unwrap();
        let port = ready.strip_prefix("ready").unwrap().trim();
        let asked: Arc<Mutex<Vec<u8>>> = Arc::default();
        let log = Arc::clone(&asked);
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let unit = line
                    .strip_prefix("asked ")
                    .and_then(|unit| unit.parse::<u8>().ok());
                log.lock().unwrap().extend(unit);
            }
        });
        Some(Devices {
            child,
            port: port.parse().unwrap_or_default(),
            asked,
        })
    }

    pub fn asked(&self, unit: u8) -> usize {
        let asked = self.asked.lock().unwrap();
        asked.iter().filter(|asked| **asked == unit).count()
    }
}

impl Drop for Devices {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
