//! How Mosquitto ends well.

use std::process::Command;

use crate::mosquitto::Mosquitto;

impl Mosquitto {
    /// Ends it as its init system would; it saves what it keeps.
    pub fn end(&mut self) {
        let mut process = self.process.take().unwrap();
        let id = process.id().to_string();
        let sent = Command::new("kill").args(["-s", "TERM", &id]).status();
        assert!(sent.unwrap().success());
        process.wait().unwrap();
    }
}
