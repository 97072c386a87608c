//! A device on a serial line: a pseudo-terminal behind a name, as the system has names for adapters.

use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use inkdwell_daemon::source::health::{Health, Line};
use serialport::{SerialPort, TTYPort};
use tokio::time::sleep;

use crate::common::{FASTER, until};

/// A device that is plugged in. Dropped, it is pulled out.
pub struct Device {
    master: TTYPort,
    /// Held open until the source has it, so that the line does not hang up before.
    slave: Option<TTYPort>,
}

/// The keys of a source that reads a device's lines.
pub fn keys(name: &Path) -> String {
    format!("kind = \"serial\"\nport = {name:?}\nformat = \"pairs\"\nseparator = \" \"")
}

impl Device {
    /// Plugs it in under a name, which leads elsewhere each time.
    pub fn plug(name: &Path) -> Device {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(Duration::from_secs(60)).unwrap();
        let path = PathBuf::from(slave.name().unwrap());
        let fresh = name.with_extension("new");
        symlink(path, &fresh).unwrap();
        std::fs::rename(fresh, name).unwrap();
        Device {
            master,
            slave: Some(slave),
        }
    }

    pub fn say(&mut self, bytes: &[u8]) {
        self.master.write_all(bytes).unwrap();
    }

    /// Says that it is there, until it is heard.
    pub async fn greet(&mut self, health: &Arc<Health>) {
        let before = health.counts().readings;
        while health.counts().readings == before || health.line() != Line::Up {
            self.say(b"here=1\n");
            sleep(Duration::from_millis(50)).await;
        }
        self.slave = None;
    }

    /// Says what a film is like, at the pace of the shop's time.
    pub async fn ride(&mut self, film: &[(f64, f64)]) {
        let Some((first, _)) = film.first() else {
            return;
        };
        let begun = Instant::now();
        for (time, celsius) in film {
            let due = begun + Duration::from_secs_f64((time - first) / FASTER);
            sleep(due.saturating_duration_since(Instant::now())).await;
            self.say(format!("film={celsius}\n").as_bytes());
        }
    }

    /// Waits until so many readings of the film are in the journal, and pulls it out.
    pub async fn pull(self, name: &Path, all_heard: impl Fn() -> bool) {
        until("what was said", || all_heard().then_some(())).await;
        std::fs::remove_file(name).unwrap();
        drop(self);
    }
}
