//! `inkdwell watch` in a real pseudo-terminal: at three sizes, with colour and without, through a restart of the
//! daemon, and for scripts.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use inkdwell_tests::daemon::{inkdwell_in, until};
use inkdwell_tests::{inkdwell, inkdwelld};
use portable_pty::{CommandBuilder, MasterPty, PtySize, native_pty_system};
use serde_json::Value;
use tempfile::TempDir;

/// Three rides, played a hundred times as fast as they happened: to 172, 140 and 170 °C. A standard plastisol
/// asks for 160 °C (common practice, no source), so that the second is under-cured.
fn trace() -> String {
    let mut text = String::from("time_s,film_c,air_c\n");
    for half in 0..900 {
        let t = f64::from(half) * 0.5;
        let (ride, phase) = ((t / 140.0) as usize, t % 140.0);
        let peak = [172.0, 140.0, 170.0, 20.0][ride.min(3)];
        let film = (25.0 + 4.0 * phase)
            .min(peak)
            .min(25.0 + 2.5 * (110.0 - phase))
            .max(25.0);
        text += &format!("{t},{film:.2},189\n");
    }
    text
}

/// A shop with a belt dryer that a trace is played through, and its daemon.
struct House {
    folder: TempDir,
    daemon: Option<Child>,
}

impl Drop for House {
    fn drop(&mut self) {
        self.kill();
    }
}

impl House {
    /// Three rides are through, given to batch 1, and print 2 is held.
    fn new() -> House {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("trace.csv");
        fs::write(&file, trace()).unwrap();
        let shop = format!(
            "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
             [[source]]\nid = \"played\"\nkind = \"replay\"\nfile = {file:?}\nfaster = 100\n\
             [[station]]\nid = \"belt-1\"\nname = \"Long dryer\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\n\
             belt = \"2.6 m/min\"\nzones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n\
             [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\nsource = \"played\"\n\
             uncertainty = \"1.5 C\"\n\
             [[probe]]\nid = \"air\"\nstation = \"belt-1\"\nplace = \"zone\"\nzone = 1\nsource = \"played\"\n\
             [board]\nlisten = \"127.0.0.1:0\"\n"
        );
        fs::write(folder.path().join("shop.toml"), shop).unwrap();
        let mut house = House {
            folder,
            daemon: None,
        };
        house.start();
        until("three rides", || {
            let batches = house.json(&["batch", "list"]);
            (batches["unassigned"] == 3).then_some(())
        });
        house.good(&[
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
            "--quantity",
            "60",
        ]);
        house.good(&["batch", "assign", "1", "1", "2", "3"]);
        house
    }

    fn start(&mut self) {
        let address = self.folder.path().join("data/api.address");
        // One that was killed has not removed it.
        let _ = fs::remove_file(&address);
        let daemon = Command::new(inkdwelld())
            .args(["--shop", "shop.toml", "--data", "data"])
            .current_dir(self.folder.path())
            .stdin(Stdio::null())
            .spawn();
        self.daemon = Some(daemon.unwrap());
        until("the daemon's address", || address.exists().then_some(()));
    }

    fn kill(&mut self) {
        if let Some(mut daemon) = self.daemon.take() {
            // It may have ended already.
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = inkdwell_in(self.folder.path());
        command.args(arguments).env("INKDWELL_DATA", "data");
        command
    }

    fn good(&self, arguments: &[&str]) -> String {
        let output = self.command(arguments).output().unwrap();
        let words = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(words, "", "{arguments:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let mut arguments = arguments.to_vec();
        arguments.push("--json");
        serde_json::from_str(&self.good(&arguments)).unwrap()
    }

    /// `inkdwell watch` in a terminal of this size.
    fn watch(&self, columns: u16, rows: u16, arguments: &[&str], colour: bool) -> Watched {
        Watched::start(self.folder.path(), columns, rows, arguments, colour)
    }
}

fn size_of(cells: u16) -> NonZero<u16> {
    NonZero::new(cells).unwrap()
}

/// The program in its terminal, and what stands on its screen.
struct Watched {
    child: Box<dyn portable_pty::Child + Send + Sync>,
    master: Box<dyn MasterPty + Send>,
    keys: Box<dyn Write + Send>,
    screen: Arc<Mutex<vt100::Parser>>,
}

impl Drop for Watched {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Watched {
    fn start(folder: &Path, columns: u16, rows: u16, arguments: &[&str], colour: bool) -> Watched {
        let size = PtySize {
            rows,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(inkdwell());
        command.arg("watch");
        command.args(arguments);
        command.cwd(folder);
        command.env("INKDWELL_DATA", "data");
        command.env("USER", "mara");
        command.env("TERM", "xterm-256color");
        match colour {
            true => command.env_remove("NO_COLOR"),
            false => command.env("NO_COLOR", "1"),
        }
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let screen = Arc::new(Mutex::new(vt100::Parser::new(
            size_of(rows),
            size_of(columns),
            0,
        )));
        let mut reader = pair.master.try_clone_reader().unwrap();
        let written = Arc::clone(&screen);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                written.lock().unwrap().process(&bytes[..count]);
            }
        });
        Watched {
            child,
            keys: pair.master.take_writer().unwrap(),
            master: pair.master,
            screen,
        }
    }

    fn text(&self) -> String {
        self.screen.lock().unwrap().screen().contents()
    }

    /// Waits until all these words stand on the screen.
    fn shows(&self, words: &[&str]) -> String {
        let deadline = Instant::now() + Duration::from_secs(60);
        loop {
            let text = self.text();
            let missing = words.iter().find(|word| !text.contains(**word));
            let Some(missing) = missing else {
                return text;
            };
            assert!(
                Instant::now() < deadline,
                "{missing:?} does not come on\n{text}"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    fn resize(&self, columns: u16, rows: u16) {
        self.screen
            .lock()
            .unwrap()
            .screen_mut()
            .set_size(size_of(rows), size_of(columns));
        let size = PtySize {
            rows,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        self.master.resize(size).unwrap();
    }

    fn coloured_cells(&self) -> usize {
        let screen = self.screen.lock().unwrap();
        let (rows, columns) = screen.screen().size();
        let (rows, columns) = (rows.get(), columns.get());
        let cells = (0..rows).flat_map(|row| (0..columns).map(move |column| (row, column)));
        let cells = cells.filter_map(|(row, column)| screen.screen().cell(row, column).cloned());
        cells
            .filter(|cell| cell.fgcolor() != vt100::Color::Default)
            .count()
    }

    fn ended(&mut self) -> u32 {
        until("the end of the program", || self.child.try_wait().unwrap()).exit_code()
    }
}

#[test]
fn one_look_at_three_sizes_with_colour_and_without() {
    let house = House::new();
    for (columns, rows) in [(80, 24), (120, 40), (200, 60)] {
        for colour in [true, false] {
            let mut watched = house.watch(columns, rows, &[], colour);
            let words = [
                "Lantern Yard Print",
                "Pull print 2",
                "● ▽ ●",
                "3 of 60 done",
                "? keys",
            ];
            let text = watched.shows(&words);
            // Nothing is drawn beyond the edge, and the last line is the keys'.
            let lines: Vec<&str> = text.lines().collect();
            assert_eq!(lines.len(), usize::from(rows), "{text}");
            assert!(lines[lines.len() - 1].contains("? keys"), "{text}");
            assert_eq!(watched.coloured_cells() > 0, colour, "{}", watched.text());
            watched.press("?");
            watched.shows(&["Keys and marks", "under-cured"]);
            watched.press("\u{1b}");
            until("the keys to go", || {
                (!watched.text().contains("Keys and marks")).then_some(())
            });
            watched.press("q");
            assert_eq!(watched.ended(), 0);
            // The terminal is given back as it was.
            let screen = watched.screen.lock().unwrap();
            assert!(!screen.screen().alternate_screen() && !screen.screen().hide_cursor());
        }
    }
}

#[test]
fn what_is_to_be_done_is_done_by_keys() {
    let house = House::new();
    let mut watched = house.watch(80, 24, &["--by", "Jonas"], true);
    watched.shows(&["Pull print 2"]);
    watched.press("h");
    watched.shows(&["Settle a hold", "hold 1"]);
    watched.press("r");
    watched.shows(&["Sent through the heat once more. Why?"]);
    watched.press("slower, then cured\r");
    watched.shows(&["Hold 1 is settled."]);
    until("nothing to pull", || {
        (!watched.text().contains("Pull print 2")).then_some(())
    });
    let holds = house.json(&["holds", "--all"]);
    let settled = &holds["holds"][0]["settled"];
    assert_eq!(
        (&settled["outcome"], &settled["by"], &settled["why"]),
        (
            &"re-run".into(),
            &"Jonas".into(),
            &"slower, then cured".into()
        )
    );
    watched.press("b");
    watched.shows(&["Batch 1, Harbour run, is open."]);
    watched.press("\r");
    watched.shows(&["Batch 1 is closed."]);
    // A test alarm is put aside for as long as is said.
    house.good(&["alarms", "drill", "--why", "a new horn"]);
    watched.shows(&["test alarm"]);
    watched.press("z");
    watched.shows(&["Put an alarm aside", "480 at most"]);
    until("the test alarm", || {
        let is_chosen = watched.text().contains("▶ drill");
        if !is_chosen {
            watched.press("\u{1b}[B");
        }
        is_chosen.then_some(())
    });
    watched.press("999\rit works\r");
    watched.shows(&["1 to 480 minutes"]);
    watched.press("\t\u{7f}\u{7f}\u{7f}45\r\r");
    watched.shows(&["drill is shelved until"]);
    let alarms = house.json(&["alarms"]);
    let mut alarms = alarms["alarms"].as_array().unwrap().iter();
    let alarm = alarms.find(|own| own["alarm"] == "drill");
    let alarm = alarm.unwrap();
    assert_eq!(
        (&alarm["state"], &alarm["said"]["why"]),
        (&"shelved".into(), &"it works".into())
    );
    let seconds = |moment: &Value| moment["steady_s"].as_f64().unwrap();
    let aside = seconds(&alarm["shelved_until"]) - seconds(&alarm["since"]);
    assert!((aside - 2700.0).abs() < 30.0, "{alarm}");

    watched.press("b");
    watched.shows(&["Batch at belt-1"]);
    // An ink that there is not is refused by the daemon, and what was typed stays.
    watched.press("Quay caps\rplastisol-standart\rcotton-jersey\r12\r\r");
    watched.shows(&["Not done:", "plastisol-standard", "Quay caps"]);
    // It is corrected, and opened.
    watched.press("\u{1b}[Z\u{1b}[Z\u{1b}[Z\u{7f}d\t\t\t\r");
    watched.shows(&["Batch 2 is open."]);
    let batches = house.json(&["batch", "list"]);
    let batches = batches["batches"].as_array().unwrap();
    let batch = batches.iter().find(|own| own["job"] == "Quay caps");
    let batch = batch.unwrap();
    assert_eq!(
        (&batch["job"], &batch["ink"], &batch["quantity"]),
        (
            &"Quay caps".into(),
            &"plastisol-standard".into(),
            &12.into()
        )
    );
    watched.press("q");
    assert_eq!(watched.ended(), 0);
}

#[test]
fn it_survives_the_daemon_and_another_size() {
    let mut house = House::new();
    let mut watched = house.watch(80, 24, &[], true);
    watched.shows(&["Pull print 2"]);
    house.kill();
    watched.shows(&["has not answered", "what stands here is old", "Harbour run"]);
    watched.resize(50, 16);
    watched.shows(&["✕ No contact"]);
    house.start();
    watched.resize(100, 30);
    watched.shows(&["The daemon is back", "Pull print 2"]);
    watched.press("\u{3}");
    assert_eq!(watched.ended(), 0);
}

#[test]
fn scripts_have_a_snapshot_and_a_stream() {
    let house = House::new();
    let once = house.command(&["watch", "--once"]).output().unwrap();
    let text = String::from_utf8(once.stdout).unwrap();
    assert_eq!(
        (once.status.code(), once.stderr.as_slice()),
        (Some(1), &b""[..])
    );
    for words in ["Long dryer", "Pull print 2", "3 of 60 done", "Advice only"] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(!text.contains('\u{1b}'));
    let unknown = house
        .command(&["watch", "--once", "--station", "belt-9"])
        .output()
        .unwrap();
    assert_eq!(unknown.status.code(), Some(2));
    let words = String::from_utf8(unknown.stderr).unwrap();
    assert!(
        words.contains("no station \"belt-9\"; it has belt-1"),
        "{words}"
    );
    let piped = house.command(&["watch"]).output().unwrap();
    assert_eq!(piped.status.code(), Some(2));
    let words = String::from_utf8(piped.stderr).unwrap();
    assert!(words.contains("this is no terminal"), "{words}");

    let mut stream = house
        .command(&["watch", "--json"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = lines(stream.stdout.take().unwrap());
    // A note is news; it is written until it is heard, since the stream may not be there yet. Other news may come
    // before it.
    let heard = until("a note in the stream", || {
        house.good(&["batch", "note", "1", "The mesh was washed."]);
        let line = lines.recv_timeout(Duration::from_secs(1)).ok()?;
        let news: Value = serde_json::from_str(&line).unwrap();
        (news["kind"] == "batch-noted").then_some(news)
    });
    stream.kill().unwrap();
    stream.wait().unwrap();
    assert!(
        heard["record"].is_u64() && heard["at"]["at"].is_string(),
        "{heard}"
    );
}

fn lines(from: impl Read + Send + 'static) -> Receiver<String> {
    let (send, receive) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            if send.send(line).is_err() {
                return;
            }
        }
    });
    receive
}
