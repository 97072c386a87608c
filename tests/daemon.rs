//! A daemon of its own for each test, and how it is asked.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

use crate::{inkdwell, inkdwelld};

/// `inkdwelld` at work on `shop.toml` in a folder of its own, where `data` is its data folder. Dropped, both are gone.
pub struct Daemon {
    /// Its process.
    pub process: Child,
    /// Its folder.
    pub folder: TempDir,
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Daemon {
    /// Starts it in a new folder that holds these files, and waits until it can be asked.
    ///
    /// # Panics
    /// When it does not start within three minutes.
    pub fn with(files: &[(&str, &str)]) -> Daemon {
        let folder = tempfile::tempdir().expect("a folder");
        for (name, text) in files {
            fs::write(folder.path().join(name), text).expect("a file");
        }
        Daemon::start(folder)
    }

    /// The same in a folder that holds all it needs.
    ///
    /// # Panics
    /// When it does not start within three minutes.
    pub fn start(folder: TempDir) -> Daemon {
        let process = Command::new(inkdwelld())
            .args(["--shop", "shop.toml", "--data", "data"])
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .spawn()
            .expect("inkdwelld starts");
        let daemon = Daemon { process, folder };
        let address = daemon.folder.path().join("data/api.address");
        until("the daemon's address", || address.exists().then_some(()));
        daemon
    }

    /// Sends it a signal, `-TERM` or another that `kill` knows.
    ///
    /// # Panics
    /// When it has ended.
    pub fn signal(&self, name: &str) {
        let process = self.process.id().to_string();
        let sent = Command::new("kill").args([name, &process]).status();
        assert!(sent.is_ok_and(|sent| sent.success()), "kill {name}");
    }

    /// Calls `inkdwell` in its folder, with its data folder in the environment: exit code, output, errors.
    ///
    /// # Panics
    /// When `inkdwell` does not start.
    pub fn call(&self, arguments: &[&str]) -> (i32, String, String) {
        let mut command = inkdwell_in(self.folder.path());
        said(command.env("INKDWELL_DATA", "data").args(arguments))
    }

    /// The same where all has to be well: the output.
    ///
    /// # Panics
    /// When it is not.
    pub fn good(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, err.as_str()), (0, ""), "{arguments:?}\n{out}");
        out
    }

    /// The same as JSON.
    ///
    /// # Panics
    /// When all is not well, or no JSON comes.
    pub fn json(&self, arguments: &[&str]) -> Value {
        let call = [arguments, &["--json"]].concat();
        serde_json::from_str(&self.good(&call)).expect("JSON")
    }

    /// What has to be refused with exit code 2: the sentence, in one line.
    ///
    /// # Panics
    /// When it is not refused.
    pub fn refused(&self, arguments: &[&str]) -> String {
        sentence(self.call(arguments))
    }
}

/// `inkdwell`, to be called by one Mara in `folder`. It knows of no data folder.
pub fn inkdwell_in(folder: &Path) -> Command {
    let mut command = Command::new(inkdwell());
    command
        .current_dir(folder)
        .stdin(Stdio::null())
        .env_remove("INKDWELL_DATA")
        .env("USER", "mara");
    command
}

/// Runs a command: exit code, output, errors.
///
/// # Panics
/// When it does not start, or says what is no UTF-8.
pub fn said(command: &mut Command) -> (i32, String, String) {
    let Output {
        status,
        stdout,
        stderr,
    } = command.output().expect("it starts");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (
        status.code().expect("an exit code"),
        text(stdout),
        text(stderr),
    )
}

/// The sentence, in one line, of what was refused with exit code 2.
///
/// # Panics
/// When it was not refused, or something was put out.
pub fn sentence((code, out, err): (i32, String, String)) -> String {
    assert_eq!((code, out.as_str()), (2, ""), "{err}");
    let words = err.strip_prefix("inkdwell: ").unwrap_or(&err);
    // It is wrapped where the terminal ends.
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Waits for something that is sure to come.
///
/// # Panics
/// When it has not come after three minutes.
pub fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + Duration::from_secs(180);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        std::thread::sleep(Duration::from_millis(20));
    }
}
