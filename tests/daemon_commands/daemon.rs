//! A daemon of its own for each test, and how it is asked.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use inkdwell_tests::{inkdwell, inkdwelld};
use serde_json::Value;
use tempfile::TempDir;

/// A daemon of its own, ended with the test.
pub(super) struct Daemon {
    pub(super) process: Child,
    pub(super) folder: TempDir,
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Three rides, played a hundred times as fast as they happened: to 172, 140 and 170 °C.
pub(super) fn trace() -> String {
    let mut text = String::from("time_s,film_c,cloth_c,air_c\n");
    for half in 0..900 {
        let t = f64::from(half) * 0.5;
        let (ride, phase) = ((t / 140.0) as usize, t % 140.0);
        let peak = [172.0, 140.0, 170.0, 20.0][ride.min(3)];
        let film = (25.0 + 4.0 * phase)
            .min(peak)
            .min(25.0 + 2.5 * (110.0 - phase))
            .max(25.0);
        text += &format!("{t},{film:.2},{:.2},190\n", film + 3.0);
    }
    text
}

pub(super) fn shop(trace: &Path, board: &str) -> String {
    format!(
        "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
         [[source]]\nid = \"played\"\nkind = \"replay\"\nfile = {trace:?}\nfaster = 100\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\n\
         zones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
         [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"cloth\"\nstation = \"belt-1\"\nplace = \"cloth\"\nsource = \"played\"\n\
         uncertainty = \"1.5 C\"\n\
         [[probe]]\nid = \"air\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"played\"\n\
         [board]\n{board}\n"
    )
}

impl Daemon {
    pub(super) fn start(board: impl FnOnce(&Path) -> String) -> Daemon {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("trace.csv");
        fs::write(&file, trace()).unwrap();
        let shop = shop(&file, &board(folder.path()));
        fs::write(folder.path().join("shop.toml"), shop).unwrap();
        let process = Command::new(inkdwelld())
            .args(["--shop", "shop.toml", "--data", "data"])
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .spawn()
            .unwrap();
        let daemon = Daemon { process, folder };
        let address = daemon.folder.path().join("data/api.address");
        until("the daemon's address", || address.exists().then_some(()));
        daemon
    }

    /// One that listens on loopback, where the system has room.
    pub(super) fn local() -> Daemon {
        Daemon::start(|_| "listen = \"127.0.0.1:0\"".to_owned())
    }

    /// Calls `inkdwell` in the folder of the test, with the daemon's data folder in the environment.
    pub(super) fn call(&self, arguments: &[&str]) -> (i32, String, String) {
        said(
            inkdwell_in(self.folder.path())
                .env("INKDWELL_DATA", "data")
                .args(arguments)
                .output(),
        )
    }

    /// The same where all has to be well.
    pub(super) fn good(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, err.as_str()), (0, ""), "{arguments:?}\n{out}");
        out
    }

    /// What has to be refused: the sentence.
    pub(super) fn refused(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}\n{err}");
        let sentence = err.strip_prefix("inkdwell: ").unwrap_or(&err);
        sentence.trim_end().to_owned()
    }

    pub(super) fn json(&self, arguments: &[&str]) -> Value {
        let mut arguments = arguments.to_vec();
        arguments.push("--json");
        serde_json::from_str(&self.good(&arguments)).unwrap()
    }

    /// Waits until all three rides are there and the probes show what the trace ends with: a ride is over
    /// while its film still cools.
    pub(super) fn played(&self) {
        until("three rides", || {
            let batches = self.json(&["batch", "list"]);
            (batches["unassigned"] == 3).then_some(())
        });
        until("the end of the trace", || {
            let probes = self.json(&["probe", "list"]);
            let shown = |number: usize| &probes["probes"][number]["reading"]["celsius"];
            (*shown(0) == 25.0 && *shown(1) == 28.0).then_some(())
        });
    }

    pub(super) fn refused_without_data(&self, arguments: &[&str]) -> String {
        let (code, out, err) = said(inkdwell_in(self.folder.path()).args(arguments).output());
        assert_eq!((code, out.as_str()), (2, ""), "{err}");
        err.strip_prefix("inkdwell: ")
            .unwrap()
            .trim_end()
            .to_owned()
    }

    /// Opens the usual batch and gives the three rides to it.
    pub(super) fn with_batch(&self) {
        self.played();
        self.good(&OPEN);
        self.good(&["batch", "assign", "1", "1", "2", "3"]);
    }
}

pub(super) const OPEN: [&str; 14] = [
    "batch",
    "open",
    "--station",
    "belt-1",
    "--job",
    "Harbour run",
    "--ink",
    "plastisol-standard",
    "--fabric",
    "cotton-jersey",
    "--blank-cost",
    "6.50",
    "--quantity",
    "3",
];

pub(super) fn inkdwell_in(folder: &Path) -> Command {
    let mut command = Command::new(inkdwell());
    command
        .current_dir(folder)
        .stdin(Stdio::null())
        .env_remove("INKDWELL_DATA")
        .env("USER", "mara");
    command
}

pub(super) fn said(output: std::io::Result<Output>) -> (i32, String, String) {
    let output = output.unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

pub(super) fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + Duration::from_secs(60);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        std::thread::sleep(Duration::from_millis(20));
    }
}

pub(super) fn assert_fits(text: &str) {
    for line in text.lines() {
        assert!(
            line.chars().count() <= 80,
            "{line:?} is wider than 80 columns"
        );
    }
}

pub(super) fn assert_holds(text: &str, words: &[&str]) {
    for words in words {
        assert!(text.contains(words), "{words}\n{text}");
    }
}
