//! The program in a terminal of its own, with somebody at its keys.

use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::sync::{Arc, Mutex};

use inkdwell_tests::daemon::until;
use inkdwell_tests::inkdwell;
use portable_pty::{CommandBuilder, MasterPty, PtySize, native_pty_system};

/// Everything that was written to the terminal, and what stands on it now.
struct Screen {
    written: Vec<u8>,
    parser: vt100::Parser,
}

/// 80 columns and 24 rows.
pub struct Terminal {
    child: Box<dyn portable_pty::Child + Send + Sync>,
    _master: Box<dyn MasterPty + Send>,
    keys: Box<dyn Write + Send>,
    screen: Arc<Mutex<Screen>>,
    /// Up to where what was written has been looked at.
    looked: usize,
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Terminal {
    pub fn start(folder: &Path, arguments: &[&str]) -> Terminal {
        let size = PtySize {
            rows: 24,
            cols: 80,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(inkdwell());
        command.args(arguments);
        command.cwd(folder);
        command.env("TERM", "xterm-256color");
        command.env("TZ", "UTC");
        for name in ["INKDWELL_SHOP", "INKDWELL_DATA", "INKDWELL_LOG"] {
            command.env_remove(name);
        }
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let size = |cells| NonZero::new(cells).unwrap();
        let screen = Arc::new(Mutex::new(Screen {
            written: Vec::new(),
            parser: vt100::Parser::new(size(24), size(80), 0),
        }));
        let mut reader = pair.master.try_clone_reader().unwrap();
        let told = Arc::clone(&screen);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                let mut screen = told.lock().unwrap();
                screen.written.extend(&bytes[..count]);
                screen.parser.process(&bytes[..count]);
            }
        });
        Terminal {
            child,
            keys: pair.master.take_writer().unwrap(),
            _master: pair.master,
            screen,
            looked: 0,
        }
    }

    /// Everything that was written, with lines that were wrapped put together again.
    pub fn told(&self) -> String {
        told(&self.screen.lock().unwrap().written)
    }

    /// Every byte that was written.
    pub fn bytes(&self) -> Vec<u8> {
        self.screen.lock().unwrap().written.clone()
    }

    /// Waits until this is said, after what was waited for before.
    pub fn says(&mut self, words: &str) {
        let (screen, looked) = (Arc::clone(&self.screen), self.looked);
        let mut last = String::new();
        let deadline = std::time::Instant::now() + std::time::Duration::from_secs(60);
        let at = loop {
            let all = told(&screen.lock().unwrap().written);
            let rest = all.get(looked..).unwrap_or_default();
            if let Some(at) = rest.find(words) {
                break looked + at + words.len();
            }
            assert!(
                std::time::Instant::now() < deadline,
                "{words:?} is not said; since {:?}:\n{rest}",
                last
            );
            last = words.to_owned();
            std::thread::sleep(std::time::Duration::from_millis(20));
        };
        self.looked = at;
    }

    /// Waits until all these words stand on the screen.
    pub fn shows(&self, words: &[&str]) -> String {
        until(&format!("{words:?}"), || {
            let text = self.screen.lock().unwrap().parser.screen().contents();
            words.iter().all(|word| text.contains(word)).then_some(text)
        })
    }

    /// Presses keys.
    pub fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    /// Waits until this is asked, and answers it.
    pub fn answer(&mut self, asked: &str, answer: &str) {
        self.says(asked);
        self.says("> ");
        self.press(&format!("{answer}\r"));
    }

    pub fn ended(&mut self) -> u32 {
        until("the end of the program", || self.child.try_wait().unwrap()).exit_code()
    }
}

/// Text without its styles, and with one space where a line was wrapped.
fn told(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let mut plain = String::new();
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        if letter == '\u{1b}' {
            // A control sequence ends with its first letter (ECMA-48, section 5.4).
            letters.by_ref().find(|end| end.is_ascii_alphabetic());
        } else {
            plain.push(letter);
        }
    }
    let words: Vec<&str> = plain.split_whitespace().collect();
    // What is asked ends with a sign and waits.
    words.join(" ") + " "
}
