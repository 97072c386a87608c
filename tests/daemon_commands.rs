//! The commands that ask a running daemon: what they print, what they refuse, and how they find it.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use inkdwell_tests::{inkdwell, inkdwelld};
use serde_json::Value;
use tempfile::TempDir;

/// A daemon of its own, ended with the test.
struct Daemon {
    process: Child,
    folder: TempDir,
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Three rides, played a hundred times as fast as they happened: to 172, 140 and 170 °C.
fn trace() -> String {
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

fn shop(trace: &Path, board: &str) -> String {
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
    fn start(board: impl FnOnce(&Path) -> String) -> Daemon {
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
    fn local() -> Daemon {
        Daemon::start(|_| "listen = \"127.0.0.1:0\"".to_owned())
    }

    /// Calls `inkdwell` in the folder of the test, with the daemon's data folder in the environment.
    fn call(&self, arguments: &[&str]) -> (i32, String, String) {
        said(
            inkdwell_in(self.folder.path())
                .env("INKDWELL_DATA", "data")
                .args(arguments)
                .output(),
        )
    }

    /// The same where all has to be well.
    fn good(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, err.as_str()), (0, ""), "{arguments:?}\n{out}");
        out
    }

    /// What has to be refused: the sentence.
    fn refused(&self, arguments: &[&str]) -> String {
        let (code, out, err) = self.call(arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}\n{err}");
        let sentence = err.strip_prefix("inkdwell: ").unwrap_or(&err);
        sentence.trim_end().to_owned()
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let mut arguments = arguments.to_vec();
        arguments.push("--json");
        serde_json::from_str(&self.good(&arguments)).unwrap()
    }

    /// Waits until all three rides are there and the probes show what the trace ends with: a ride is over
    /// while its film still cools.
    fn played(&self) {
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

    /// Opens the usual batch and gives the three rides to it.
    fn with_batch(&self) {
        self.played();
        self.good(&OPEN);
        self.good(&["batch", "assign", "1", "1", "2", "3"]);
    }
}

const OPEN: [&str; 14] = [
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

fn inkdwell_in(folder: &Path) -> Command {
    let mut command = Command::new(inkdwell());
    command
        .current_dir(folder)
        .stdin(Stdio::null())
        .env_remove("INKDWELL_DATA")
        .env("USER", "mara");
    command
}

fn said(output: std::io::Result<Output>) -> (i32, String, String) {
    let output = output.unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let deadline = Instant::now() + Duration::from_secs(60);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < deadline, "{what} did not come");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn assert_fits(text: &str) {
    for line in text.lines() {
        assert!(
            line.chars().count() <= 80,
            "{line:?} is wider than 80 columns"
        );
    }
}

fn assert_holds(text: &str, words: &[&str]) {
    for words in words {
        assert!(text.contains(words), "{words}\n{text}");
    }
}

#[test]
fn a_batch_from_open_to_close() {
    let daemon = Daemon::local();
    daemon.played();
    let unassigned = daemon.good(&["batch", "unassigned"]);
    assert_holds(
        &unassigned,
        &[
            "pass  station  in",
            "\n1     belt-1",
            "inkdwell batch assign BATCH PASS",
        ],
    );
    let listed = daemon.good(&["batch", "list"]);
    assert_holds(
        &listed,
        &["There is no such batch.", "Without a batch: 3 prints"],
    );

    assert_eq!(daemon.good(&OPEN), "Batch 1 is open at belt-1.\n");
    let assigned = daemon.good(&["batch", "assign", "1", "1", "2", "3", "--by", "Jonas"]);
    assert_fits(&assigned);
    assert_holds(
        &assigned,
        &[
            "under-cured",
            "under-cured: 0.0 s above 160 °C",
            "Advice only",
        ],
    );
    let twice = daemon.refused(&["batch", "assign", "1", "2"]);
    assert_eq!(twice, "pass 2 belongs to batch 1 already");
    assert_eq!(
        daemon.good(&["batch", "unassigned"]),
        "Every print has a batch.\n"
    );

    assert_eq!(
        daemon.good(&["batch", "note", "1", "Edge of the belt"]),
        "Noted to batch 1.\n"
    );
    let shown = daemon.good(&["batch", "show", "1"]);
    assert_fits(&shown);
    assert_holds(
        &shown,
        &[
            "Batch 1: Harbour run",
            "plastisol-standard on cotton-jersey",
            "prints        3 of 3: 2 cured, 1 under-cured",
            "a blank       6.50",
            " by mara\n",
            "Edge of the belt",
            "Hold 1: 1 print of batch 1, Harbour run, at belt-1: under-cured",
            "Advice only",
        ],
    );
    let closed = daemon.good(&["batch", "close", "1"]);
    assert_eq!(
        closed,
        "Batch 1 is closed; its prints: 2 cured, 1 under-cured.\n"
    );
    let listed = daemon.good(&["batch", "list"]);
    assert_fits(&listed);
    assert_holds(&listed, &["Harbour run: 2 cured, 1 under-cured"]);
    assert_eq!(
        daemon.good(&["batch", "list", "--open"]),
        "There is no such batch.\n"
    );
    let json = daemon.json(&["batch", "show", "1"]);
    assert_eq!(
        (&json["batch"], &json["closed"]["by"]),
        (&Value::from(1), &Value::from("mara"))
    );
}

#[test]
fn holds_are_a_finding_until_they_are_settled() {
    let daemon = Daemon::local();
    assert_eq!(daemon.good(&["holds"]), "No hold is open.\n");
    daemon.with_batch();
    let (code, holds, err) = daemon.call(&["holds"]);
    assert_eq!((code, err.as_str()), (1, ""));
    assert_fits(&holds);
    assert_holds(
        &holds,
        &[
            "Hold 1: 1 print of batch 1, Harbour run, at belt-1: under-cured",
            "pull        print 2, out at ",
            "why         under-cured: 0.0 s above 160 °C where 3.0 s are needed",
            "blanks      they cost 6.50",
            "They can go through the heat once more",
            "inkdwell holds settle 1 OUTCOME --why WORDS",
            "Advice only",
        ],
    );
    let settle = [
        "holds",
        "settle",
        "1",
        "re-run",
        "--why",
        "sent through at 2.2 m/min",
    ];
    assert_eq!(daemon.good(&settle), "Hold 1 is settled: re-run.\n");
    let sentence = "hold 1 is not open: it was settled before, or there is none of that number";
    assert_eq!(daemon.refused(&settle), sentence);
    assert_eq!(daemon.good(&["holds"]), "No hold is open.\n");
    let all = daemon.good(&["holds", "--all"]);
    assert_holds(
        &all,
        &[
            "settled     re-run 20",
            " by mara: sent through at 2.2 m/min",
        ],
    );
    assert_eq!(
        daemon.refused(&["holds", "settle", "9", "scrapped", "--why", "torn"]),
        "there is no hold 9"
    );
    let nobody = [
        "holds", "settle", "9", "scrapped", "--why", "torn", "--by", " ",
    ];
    assert_eq!(
        daemon.refused(&nobody),
        "nobody is named; say who you are with --by NAME"
    );
}

#[test]
fn a_recipe_from_lock_to_retirement() {
    let daemon = Daemon::local();
    daemon.with_batch();
    let none = daemon.good(&["recipe", "list"]);
    assert_eq!(
        none,
        "No recipe is in force; inkdwell recipe lock PASS locks one.\n"
    );
    let lock = [
        "recipe",
        "lock",
        "1",
        "--ride-every",
        "4 h",
        "--belt-drift",
        "3 %",
    ];
    let locked = daemon.good(&lock);
    assert_fits(&locked);
    assert_holds(
        &locked,
        &[
            "Recipe 1",
            "plastisol-standard on cotton-jersey at belt-1",
            "2.60 m/min, may be 3.0 % off",
            "air shows 190 °C, may be 8 °C off",
            "another is due every 4.0 h",
            "Advice only",
        ],
    );
    for (wrong, sentence) in [
        (
            vec!["recipe", "lock", "2"],
            "pass 2 is under-cured; lock a recipe from a ride that is proved good",
        ),
        (vec!["recipe", "lock", "7"], "there is no pass 7"),
        (
            vec!["recipe", "lock", "1", "--zone-drift", "8"],
            "--zone-drift: 8 has no unit; write \"8 C\" or \"8 F\"",
        ),
        (vec!["recipe", "show", "7"], "there is no recipe 7"),
        (
            vec!["recipe", "lock", "1", "--belt-drift", "0 %"],
            "the belt's drift cannot be 0; give a number above zero",
        ),
    ] {
        assert_eq!(daemon.refused(&wrong), sentence);
    }
    let listed = daemon.good(&["recipe", "list"]);
    assert_fits(&listed);
    assert_holds(
        &listed,
        &["1       belt-1   2.60 m/min  plastisol-standard on cotton-jersey"],
    );
    let retired = daemon.good(&["recipe", "retire", "1", "--why", "the belt was changed"]);
    assert_eq!(retired, "Recipe 1 is retired.\n");
    let shown = daemon.good(&["recipe", "show", "1"]);
    assert_holds(&shown, &["by mara: the belt was changed"]);
}

#[test]
fn probes_are_listed_and_calibrated() {
    let daemon = Daemon::local();
    daemon.played();
    let listed = daemon.good(&["probe", "list"]);
    assert_fits(&listed);
    assert_holds(
        &listed,
        &[
            "probe  place  station  shows   since",
            "film   ride   belt-1",
            "1.5 °C",
            "never calibrated",
            // Type K, class 2: 2 × 2.5/√3 °C (IEC 60584-1; rectangular as in JCGM 100, 4.3.7).
            "2.9 °C*",
            "class 2 of its thermocouple type",
        ],
    );
    let calibrate = |point: &'static str, due: &'static str| {
        [
            "probe",
            "calibrate",
            "film",
            "--point",
            point,
            "--point",
            "320 F=161.8 C",
            "--uncertainty",
            "0.8 C",
            "--date",
            "2026-02-02",
            "--due",
            due,
        ]
    };
    let calibrated = daemon.good(&calibrate("100 C=101.2 C", "2026-02-03"));
    assert_holds(
        &calibrated,
        &[
            "100 °C is shown where 101.2 °C is true",
            "160 °C is shown where 161.8 °C is true",
            // √(1.5² + 0.8²) = 1.7
            "1.7 °C at 160 °C, with the next batch",
            "OVERDUE since 2026-02-03",
        ],
    );
    assert_holds(
        &daemon.good(&["probe", "list"]),
        &["OVERDUE since 2026-02-03"],
    );
    for (wrong, sentence) in [
        (
            calibrate("100", "2027-02-02").to_vec(),
            "--point: \"100\" is none; write what was shown",
        ),
        (
            calibrate("100=101.2 C", "2027-02-02").to_vec(),
            "--point: 100 has no unit; write",
        ),
        (
            calibrate("170 C=171 C", "2027-02-02").to_vec(),
            "points_c: what was true has to rise",
        ),
        (
            calibrate("100 C=101.2 C", "2026-02-02").to_vec(),
            "due: 2026-02-02 is not after 2026-02-02",
        ),
    ] {
        let refused = daemon.refused(&wrong);
        assert!(refused.starts_with(sentence), "{refused}");
    }
    let unknown = [
        "probe",
        "calibrate",
        "flim",
        "--point",
        "100 C=101 C",
        "--date",
        "2026-02-02",
    ];
    let sentence = "the shop file declares no probe \"flim\"; did you mean \"film\"?";
    assert_eq!(daemon.refused(&unknown), sentence);
}

#[test]
fn what_is_typed_wrong_is_told_in_a_sentence() {
    let daemon = Daemon::local();
    let open = |change: usize, to: &'static str| {
        let mut open = OPEN;
        open[change] = to;
        daemon.refused(&open)
    };
    assert_eq!(
        open(3, "belt-2"),
        "the shop file declares no station \"belt-2\"; did you mean \"belt-1\"?"
    );
    assert_eq!(
        open(7, "plastisol-standart"),
        "ink \"plastisol-standart\" is unknown; did you mean \"plastisol-standard\"?"
    );
    assert_eq!(open(5, " "), "the job is empty; say its name");
    let mut mixed = OPEN.to_vec();
    mixed.extend(["--ink-mixed", "this morning"]);
    assert_eq!(
        daemon.refused(&mixed),
        "ink_mixed: \"this morning\" is no time; write it as 2026-01-31T08:30:00+01:00"
    );
    let last = mixed.len() - 1;
    mixed[last] = "00:00";
    daemon.good(&mixed);
    let mixed = daemon.json(&["batch", "show", "1"])["ink_mixed"]["at"].clone();
    assert!(
        mixed.as_str().unwrap().contains("T00:00:00.000+0"),
        "{mixed}"
    );
    assert_eq!(
        daemon.refused(&["batch", "show", "9"]),
        "there is no batch 9"
    );
    assert_eq!(
        daemon.refused(&["batch", "assign", "1", "9"]),
        "there is no pass 9"
    );
    assert_eq!(
        daemon.refused(&["batch", "note", "1", " "]),
        "the note is empty; say what is worth knowing"
    );
}

#[test]
fn a_daemon_is_found_or_it_is_said_how_to_start_one() {
    let folder = tempfile::tempdir().unwrap();
    let call = |arguments: &[&str]| {
        let (code, out, err) = said(inkdwell_in(folder.path()).args(arguments).output());
        assert_eq!((code, out.as_str()), (2, ""));
        err.strip_prefix("inkdwell: ")
            .unwrap()
            .trim_end()
            .to_owned()
    };
    assert_eq!(
        call(&["holds"]),
        "no daemon is named; give its data folder with --data DIR or in INKDWELL_DATA, or its address with --address \
         URL"
    );
    let start = "start one: inkdwelld --shop SHOP.toml --data data";
    let absent = format!("data: there is no such data folder; {start}");
    assert_eq!(call(&["holds", "--data", "data"]), absent);
    fs::create_dir(folder.path().join("data")).unwrap();
    let idle = format!("data: no daemon runs with this data folder; {start}");
    assert_eq!(call(&["batch", "--data", "data", "list"]), idle);
    assert_eq!(call(&["batch", "list", "--data", "data"]), idle);
    assert_eq!(
        call(&["holds", "--address", "dryer"]),
        "--address: \"dryer\" is no address; write it as https://HOST:PORT"
    );

    // One that is killed leaves its address behind, and is gone all the same.
    let mut daemon = Daemon::local();
    daemon.good(&["holds"]);
    daemon.process.kill().unwrap();
    daemon.process.wait().unwrap();
    let gone = daemon.refused(&["holds"]);
    assert!(
        gone.starts_with("data: the daemon of this data folder does not answer at http://127"),
        "{gone}"
    );
    assert!(gone.ends_with(start), "{gone}");
    // One that is told to stop takes it along.
    let mut daemon = Daemon::local();
    let process = daemon.process.id().to_string();
    let told = Command::new("kill")
        .args(["-TERM", &process])
        .status()
        .unwrap();
    assert!(told.success());
    assert!(daemon.process.wait().unwrap().success());
    assert_eq!(daemon.refused(&["holds"]), idle);
}

#[test]
fn another_machine_shows_the_token_to_change_something() {
    let daemon = Daemon::local();
    let data = daemon.folder.path().join("data");
    let url = fs::read_to_string(data.join("api.address")).unwrap();
    let url = url.trim();
    let elsewhere = |arguments: &[&str]| {
        let mut command = inkdwell_in(daemon.folder.path());
        said(command.args(arguments).args(["--address", url]).output())
    };
    let mut open = OPEN.to_vec();
    let (code, _, err) = elsewhere(&["holds"]);
    assert_eq!(
        (code, err.as_str()),
        (0, ""),
        "reading is open on the same machine"
    );
    open.insert(1, "--address");
    open.insert(2, url);
    let refused = daemon.refused_without_data(&open);
    assert!(
        refused.ends_with("name the copy with --token-file"),
        "{refused}"
    );
    fs::write(daemon.folder.path().join("wrong"), "0".repeat(64)).unwrap();
    open.insert(1, "--token-file");
    open.insert(2, "wrong");
    let refused = daemon.refused_without_data(&open);
    assert!(refused.contains("does not know this token"), "{refused}");
    open[2] = "absent";
    let refused = daemon.refused_without_data(&open);
    assert!(
        refused.starts_with("absent: the token cannot be read"),
        "{refused}"
    );
    open[2] = "data/api.token";
    let (code, out, err) = said(inkdwell_in(daemon.folder.path()).args(&open).output());
    assert_eq!((code, err.as_str()), (0, ""));
    assert_eq!(out, "Batch 1 is open at belt-1.\n");
}

impl Daemon {
    fn refused_without_data(&self, arguments: &[&str]) -> String {
        let (code, out, err) = said(inkdwell_in(self.folder.path()).args(arguments).output());
        assert_eq!((code, out.as_str()), (2, ""), "{err}");
        err.strip_prefix("inkdwell: ")
            .unwrap()
            .trim_end()
            .to_owned()
    }
}

/// A certificate that no authority has signed is trusted by whoever may read the data folder, and by nobody else.
#[test]
fn a_daemon_behind_tls_is_asked_like_any_other() {
    let daemon = Daemon::start(|folder| {
        let made = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
        let (certificate, key) = (folder.join("board.pem"), folder.join("board.key"));
        fs::write(&certificate, made.cert.pem()).unwrap();
        fs::write(&key, made.signing_key.serialize_pem()).unwrap();
        format!(
            "listen = \"127.0.0.1:0\"\nhosts = [\"localhost\"]\ncertificate = {certificate:?}\nkey = {key:?}"
        )
    });
    assert_eq!(daemon.good(&OPEN), "Batch 1 is open at belt-1.\n");
    let url = fs::read_to_string(daemon.folder.path().join("data/api.address")).unwrap();
    let url = url.lines().next().unwrap();
    assert!(url.starts_with("https://localhost:"), "{url}");
    let stranger = ["holds", "--address", url, "--token-file", "data/api.token"];
    let refused = daemon.refused_without_data(&stranger);
    assert!(refused.contains("does not answer"), "{refused}");
    let mut friend = stranger.to_vec();
    friend.extend(["--certificate", "board.pem"]);
    let (code, out, _) = said(inkdwell_in(daemon.folder.path()).args(&friend).output());
    assert_eq!((code, out.as_str()), (0, "No hold is open.\n"));
    friend[6] = "board.key";
    let refused = daemon.refused_without_data(&friend);
    assert!(
        refused.starts_with("board.key: no certificate can be read from it"),
        "{refused}"
    );
}

#[test]
fn alarms_are_listed_acknowledged_shelved_and_drilled() {
    let daemon = Daemon::local();
    daemon.played();
    // Three prints have passed, and nobody has said what was printed.
    let none_open = "no-batch-open@belt-1";
    let (code, listed, _) = daemon.call(&["alarms"]);
    assert_eq!(code, 1, "{listed}");
    assert_fits(&listed);
    assert_holds(
        &listed,
        &[
            "no-batch-open@belt-1: prints pass with no batch open",
            "not acknowledged, medium priority",
            "Open the batch: inkdwell batch open.",
            "no safety device",
        ],
    );
    let acked = daemon.good(&[
        "alarms",
        "ack",
        none_open,
        "--why",
        "opening one",
        "--by",
        "Mara",
    ]);
    assert_eq!(acked, "no-batch-open@belt-1 is acknowledged.\n");
    let listed = daemon.good(&["alarms", "list"]);
    assert_holds(&listed, &["Mara: opening one"]);
    daemon.good(&OPEN);
    assert_eq!(daemon.good(&["alarms"]), "No alarm stands.\n");

    daemon.good(&["alarms", "drill", "--why", "new phone"]);
    let (code, listed, _) = daemon.call(&["alarms", "--json"]);
    let json: Value = serde_json::from_str(&listed).unwrap();
    assert_eq!((code, &json["alarms"][0]["drill"]), (1, &Value::Bool(true)));
    daemon.good(&["alarms", "ack", "drill"]);

    let noisy = "probe-noisy@air";
    let shelved = daemon.good(&[
        "alarms",
        "shelve",
        noisy,
        "--for",
        "2 h",
        "--why",
        "shield comes",
    ]);
    assert!(
        shelved.starts_with("probe-noisy@air is shelved until 2"),
        "{shelved}"
    );
    daemon.good(&["alarms", "unshelve", noisy, "--why", "shield came"]);
    daemon.good(&[
        "alarms",
        "take-out",
        noisy,
        "--why",
        "probe is being changed",
    ]);
    assert_holds(
        &daemon.good(&["alarms"]),
        &["out of service", "mara: probe is being changed"],
    );
    daemon.good(&["alarms", "put-back", noisy, "--why", "probe is new"]);

    let history = daemon.good(&["alarms", "history"]);
    assert_fits(&history);
    assert_holds(
        &history,
        &[
            "no-batch-open@belt-1 raised. A print has passed",
            "no-batch-open@belt-1 acknowledged by Mara: opening one",
            "drill (drill) raised. This is a drill, by mara: new phone",
            "probe-noisy@air shelved by mara: shield comes",
            "probe-noisy@air put-back by mara: probe is new",
        ],
    );
    let own = daemon.good(&["alarms", "history", noisy]);
    assert_eq!(own.lines().count(), 4, "{own}");
    for (typed, expected) in [
        (
            vec!["alarms", "ack", "no-batch-opn@belt-1"],
            "there is no alarm called \"no-batch-opn@belt-1\"; did you mean \"no-batch-open\"?",
        ),
        (
            vec!["alarms", "shelve", noisy, "--for", "2", "--why", "x"],
            "--for: 2 has no unit; write \"2 s\" or \"2 min\"",
        ),
        (
            vec!["alarms", "shelve", noisy, "--for", "9 h", "--why", "x"],
            "probe-noisy@air: an alarm is shelved for 8.0 h at most, and for longer than no time; take it out of \
             service if it is to rest for longer",
        ),
        (
            vec!["alarms", "explain", "belt-stoped-hot"],
            "there is no alarm \"belt-stoped-hot\"; did you mean \"belt-stopped-hot\"?",
        ),
    ] {
        assert_eq!(daemon.refused(&typed), expected);
    }
}

/// The catalogue needs no daemon.
#[test]
fn an_alarm_is_explained() {
    let folder = tempfile::tempdir().unwrap();
    let explain = |name: &[&str]| {
        let call = inkdwell_in(folder.path())
            .args(["alarms", "explain"])
            .args(name)
            .output();
        let (code, out, err) = said(call);
        assert_eq!((code, err.as_str()), (0, ""));
        assert_fits(&out);
        out
    };
    let all = explain(&[]);
    assert_holds(&all, &["belt-stopped-hot", "ride-overdue"]);
    let one = explain(&["belt-stopped-hot@belt-1"]);
    assert_holds(
        &one,
        &[
            "  cause",
            "  consequence",
            "  first",
            "  then",
            "  time",
            "  caution",
            "no safety interlock",
            "cooled_below",
        ],
    );
}
