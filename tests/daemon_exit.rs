//! Inferred evidence from the first ride to the last print, through the real programs: a ride past the exit
//! probes is recorded, a recipe locked from it, and the run that follows is judged print by print while it
//! goes on; what is said of each is what `inkdwell judge --place exit` says of the recordings.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;

use inkdwell_tests::daemon::{Daemon, until};
use inkdwell_tests::{root, run_in};
use serde_json::Value;

fn samples() -> PathBuf {
    root().join("simulated-traces/samples")
}

/// The samples' shop with a source that plays a file: the ride's has a probe in the ink.
fn shop(id: &str, played: Option<&str>, ridden: bool) -> String {
    let text = fs::read_to_string(samples().join("shop.toml")).unwrap();
    let signal = |kind: &str, channel: &str| {
        format!("kind = \"{kind}\"\nsource = \"{id}\"\nchannel = \"{channel}\"")
    };
    // A replay gives degrees Celsius as they were recorded.
    let spot = format!("spot = \"30 mm\"\nsource = \"{id}\"");
    let mut text = text
        .replace("spot = \"30 mm\"", &spot)
        .replace("kind = \"belt\"", &signal("belt", "belt"))
        .replace("kind = \"count\"", &signal("count", "prints"));
    let file = played.map_or_else(String::new, |played| {
        let file = samples().canonicalize().unwrap().join(played);
        format!("file = {file:?}\nfaster = 120\n")
    });
    text += &format!("\n[[source]]\nid = \"{id}\"\nkind = \"replay\"\n{file}");
    if ridden {
        for (probe, place) in [("film", "ride"), ("cloth", "cloth")] {
            text += &format!(
                "\n[[probe]]\nid = \"{probe}\"\nstation = \"belt-1\"\nplace = \"{place}\"\nsource = \"{id}\"\n\
                 uncertainty = \"1.5 C\"\n"
            );
        }
    }
    text + "\n[board]\nlisten = \"127.0.0.1:0\"\n"
}

/// Gives it another shop file.
fn reload(daemon: &Daemon, shop: &str) {
    fs::write(daemon.folder.path().join("shop.toml"), shop).unwrap();
    daemon.signal("-HUP");
}

fn open(daemon: &Daemon, job: &str, recipe: &[&str]) {
    let mut call = vec!["batch", "open", "--station", "belt-1", "--job", job];
    call.extend(["--ink", "plastisol-standard", "--fabric", "cotton-jersey"]);
    call.extend(recipe);
    daemon.json(&call);
}

/// Asks the daemon's interface for programs.
fn get(daemon: &Daemon, path: &str) -> Value {
    let address = fs::read_to_string(daemon.folder.path().join("data/api.address")).unwrap();
    let address = address.trim().trim_start_matches("http://").to_owned();
    let mut stream = TcpStream::connect(&address).unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    assert!(head.starts_with("HTTP/1.1 200"), "{answer}");
    serde_json::from_str(body).unwrap()
}

/// The prints of a batch, in order.
fn prints(daemon: &Daemon, batch: u64) -> Vec<Value> {
    let told = get(daemon, &format!("/api/passes?batch={batch}&newest=200"));
    let mut prints = told["passes"].as_array().cloned().unwrap();
    prints.sort_by_key(|print| print["print"].as_u64());
    prints
}

/// What `inkdwell judge` says of the recordings.
fn offline() -> Vec<Value> {
    let call = "judge exit-run.csv --place exit --reference exit-reference.csv --shop shop.toml --station belt-1 --json";
    let output = run_in(&samples(), &call.split(' ').collect::<Vec<_>>());
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    report["passes"].as_array().unwrap().clone()
}

#[test]
fn prints_under_a_recipe_are_judged_as_their_recordings_are() {
    let daemon = Daemon::with(&[("shop.toml", &shop("first", None, true))]);
    open(&daemon, "Test ride", &[]);
    reload(&daemon, &shop("first", Some("exit-reference.csv"), true));
    until("the ride", || (prints(&daemon, 1).len() == 1).then_some(()));
    let ride = prints(&daemon, 1).remove(0);
    assert_eq!(ride["judged"]["verdict"], "cured", "{ride}");

    let pass = ride["pass"].to_string();
    let recipe = daemon.json(&["recipe", "lock", &pass]);
    assert_eq!(
        recipe["inferred_by"],
        serde_json::json!(["exit", "exit2"]),
        "{recipe}"
    );
    // It says how many of the good prints that follow will be proved, and nothing else is odd.
    let remarks = recipe["remarks"].as_array().unwrap();
    assert_eq!(remarks.len(), 1, "{remarks:?}");
    let promise = remarks[0].as_str().unwrap();
    assert!(promise.starts_with("Of good prints"), "{promise}");

    open(&daemon, "Harbour run", &["--recipe", "1"]);
    reload(&daemon, &shop("second", Some("exit-run.csv"), false));
    let offline = offline();
    assert_eq!(offline.len(), 40);
    // The last has only just left when the recording ends: it is told once the daemon stops.
    until("the prints", || {
        (prints(&daemon, 2).len() >= 38).then_some(())
    });
    let live = prints(&daemon, 2);
    let mut apart = String::new();
    for (print, then) in live.iter().zip(&offline) {
        let told = format!("{print}\n{then}");
        assert_eq!(print["print"], then["index"], "{told}");
        assert_eq!(print["place"], "exit", "{told}");
        let now = &print["judged"];
        assert_eq!(now["evidence"], then["evidence"], "{told}");
        assert_eq!(now["verdict"], then["verdict"], "{told}");
        let number = |of: &Value, key: &str| of[key].as_f64().unwrap();
        let off = |key: &str| number(now, key) - number(then, key);
        let (peak, doubt) = (off("peak_c"), off("uncertainty_c"));
        let (cure, before) = (number(&now["cure"], "best"), number(&then["cure"], "best"));
        let dose = (cure - before) / before.max(1.0);
        if peak.abs() > 0.5 || doubt.abs() > 0.5 || dose.abs() > 0.06 {
            apart += &format!(
                "{}: peak {peak:+.3}, U {doubt:+.3}, dose {dose:+.3}\n",
                then["index"]
            );
        }
    }
    // What is inferred is weighed among several accounts, each told from the nearest place of a lattice. Live, the
    // bare belt is read over another length of it than afterwards: a reading that is some thousandths of a degree
    // higher may take another place, which moves that print's peak by less than a degree, and its U.
    assert!(apart.lines().count() <= 2, "{apart}");
}
