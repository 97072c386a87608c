//! What is typed wrong, and how a daemon is found.

use std::fs;

use inkdwell_tests::daemon::{Daemon, inkdwell_in, said, sentence};

use super::daemon::{OPEN, local, start};

/// What has to be refused where no data folder is named.
fn refused_without_data(daemon: &Daemon, arguments: &[&str]) -> String {
    sentence(said(inkdwell_in(daemon.folder.path()).args(arguments)))
}

#[test]
fn what_is_typed_wrong_is_told_in_a_sentence() {
    let daemon = local();
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
        "when the ink was mixed: \"this morning\" is no time; write it as 2026-01-31T08:30:00+01:00"
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
        "there is no batch 9; inkdwell batch list shows the newest"
    );
    assert_eq!(
        daemon.refused(&["batch", "assign", "1", "9"]),
        "there is no pass 9; inkdwell batch show N shows those of batch N, inkdwell batch unassigned those of none"
    );
    assert_eq!(
        daemon.refused(&["batch", "note", "1", " "]),
        "the note is empty; say what is worth knowing"
    );
}

#[test]
fn a_daemon_is_found_or_it_is_said_how_to_start_one() {
    let folder = tempfile::tempdir().unwrap();
    let call = |arguments: &[&str]| sentence(said(inkdwell_in(folder.path()).args(arguments)));
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
    let mut daemon = local();
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
    let mut daemon = local();
    daemon.signal("-TERM");
    assert!(daemon.process.wait().unwrap().success());
    assert_eq!(daemon.refused(&["holds"]), idle);
}

#[test]
fn another_machine_shows_the_token_to_change_something() {
    let daemon = local();
    let data = daemon.folder.path().join("data");
    let url = fs::read_to_string(data.join("api.address")).unwrap();
    let url = url.trim();
    let elsewhere = |arguments: &[&str]| {
        let mut command = inkdwell_in(daemon.folder.path());
        said(command.args(arguments).args(["--address", url]))
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
    let refused = refused_without_data(&daemon, &open);
    assert!(
        refused.ends_with("name the copy with --token-file"),
        "{refused}"
    );
    fs::write(daemon.folder.path().join("wrong"), "0".repeat(64)).unwrap();
    open.insert(1, "--token-file");
    open.insert(2, "wrong");
    let refused = refused_without_data(&daemon, &open);
    assert!(refused.contains("does not know this token"), "{refused}");
    open[2] = "absent";
    let refused = refused_without_data(&daemon, &open);
    assert!(
        refused.starts_with("absent: the token cannot be read"),
        "{refused}"
    );
    open[2] = "data/api.token";
    let (code, out, err) = said(inkdwell_in(daemon.folder.path()).args(&open));
    assert_eq!((code, err.as_str()), (0, ""));
    assert_eq!(out, "Batch 1 is open at belt-1.\n");
}

/// A certificate that no authority has signed is trusted by whoever may read the data folder, and by nobody else.
#[test]
fn a_daemon_behind_tls_is_asked_like_any_other() {
    let daemon = start(|folder| {
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
    let refused = refused_without_data(&daemon, &stranger);
    assert!(refused.contains("does not answer"), "{refused}");
    let mut friend = stranger.to_vec();
    friend.extend(["--certificate", "board.pem"]);
    let (code, out, _) = said(inkdwell_in(daemon.folder.path()).args(&friend));
    assert_eq!((code, out.as_str()), (0, "No hold is open.\n"));
    friend[6] = "board.key";
    let refused = refused_without_data(&daemon, &friend);
    assert!(
        refused.starts_with("board.key: no certificate can be read from it"),
        "{refused}"
    );
}
