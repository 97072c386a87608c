//! `inkdwell sinks` through a running daemon: what it lists, what it has sent again, and what it refuses.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use inkdwell_tests::daemon::{Daemon, until};
use serde_json::Value;

/// A server that refuses every message for good, until it is mended.
struct Server {
    port: u16,
    mended: Arc<AtomicBool>,
    taken: Arc<AtomicUsize>,
}

impl Server {
    fn start() -> Server {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let server = Server {
            port: listener.local_addr().unwrap().port(),
            mended: Arc::default(),
            taken: Arc::default(),
        };
        let (mended, taken) = (Arc::clone(&server.mended), Arc::clone(&server.taken));
        // It ends with the test's process.
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                answer(stream, &mended, &taken);
            }
        });
        server
    }
}

/// Answers what comes on a connection, one request after another.
fn answer(mut stream: TcpStream, mended: &AtomicBool, taken: &AtomicUsize) {
    let mut reader = BufReader::new(stream.try_clone().unwrap());
    loop {
        let (mut line, mut length) = (String::new(), 0);
        while reader.read_line(&mut line).is_ok_and(|count| count > 0) && line.trim() != "" {
            let lower = line.to_ascii_lowercase();
            if let Some(value) = lower.strip_prefix("content-length:") {
                length = value.trim().parse().unwrap();
            }
            line.clear();
        }
        let mut body = vec![0; length];
        if length == 0 || reader.read_exact(&mut body).is_err() {
            return;
        }
        let said = match mended.load(Ordering::Relaxed) {
            true => {
                taken.fetch_add(1, Ordering::Relaxed);
                "HTTP/1.1 204 No Content\r\n\r\n"
            }
            false => "HTTP/1.1 400 Bad Request\r\nContent-Length: 10\r\n\r\nwrong form",
        };
        if stream.write_all(said.as_bytes()).is_err() {
            return;
        }
    }
}

fn start(sinks: &str) -> Daemon {
    let shop = format!(
        "[shop]\nname = \"Lantern Yard Print\"\ntimezone = \"Europe/Vienna\"\n\
         [[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nheated_length = \"2.4 m\"\nbelt = \"2.6 m/min\"\n\
         zones = [ {{ length = \"2.4 m\", air = \"190 C\" }} ]\n[board]\nlisten = \"127.0.0.1:0\"\n{sinks}"
    );
    Daemon::with(&[("shop.toml", &shop)])
}

#[test]
fn ways_out_are_listed_and_what_they_have_set_aside_is_sent_again() {
    let server = Server::start();
    let nobody = TcpListener::bind("127.0.0.1:0").unwrap();
    let gone = nobody.local_addr().unwrap().port();
    drop(nobody);
    let hook = |id: &str, port: u16| {
        format!(
            "[[sink]]\nid = {id:?}\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{port}\"\nsend = [\"alarms\"]\n"
        )
    };
    let daemon = start(&(hook("hook", server.port) + &hook("gone", gone)));
    let (code, _, err) = daemon.call(&["alarms", "drill", "--why", "new telephone"]);
    assert_eq!((code, err.as_str()), (0, ""));
    // The drill is refused by the one, and the other hears nothing.
    let listed = until("the refusal", || {
        let (code, listed, _) = daemon.call(&["sinks"]);
        let is_there = listed.contains("1 refusal;") && listed.contains("nothing listens at");
        (code == 1 && is_there).then_some(listed)
    });
    for words in [
        "hook (webhook): takes what is sent",
        "inkdwell sinks retry hook",
        "refused it for good (400: wrong form)",
        "gone (webhook): TAKES NOTHING",
        "nothing is lost",
    ] {
        let told = listed.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(words), "{words:?} is not in\n{listed}");
    }
    let json = |arguments: &[&str]| -> Value {
        let (_, out, err) = daemon.call(arguments);
        assert_eq!(err, "");
        serde_json::from_str(&out).unwrap()
    };
    let told = json(&["sinks", "--json"]);
    assert_eq!(told["sinks"][0]["sink"], "hook");
    assert_eq!(told["sinks"][0]["set_aside"], 1);
    assert_eq!(told["sinks"][0]["newest_aside"][0]["again"], false);
    assert_eq!(told["sinks"][1]["state"], "blocked");
    server.mended.store(true, Ordering::Relaxed);
    let (code, said, err) = daemon.call(&["sinks", "retry", "hook"]);
    assert_eq!((code, err.as_str()), (0, ""), "{said}");
    assert!(
        said.starts_with("hook sends again what it has set aside."),
        "{said}"
    );
    until("the drill", || {
        (server.taken.load(Ordering::Relaxed) > 0).then_some(())
    });
    let told = until("nothing more", || {
        let told = json(&["sinks", "list", "--json"]);
        (told["sinks"][0]["set_aside"] == 0).then_some(told)
    });
    assert!(told["sinks"][0]["last_taken"]["at"].is_string());
    let (_, listed, _) = daemon.call(&["sinks"]);
    assert!(listed.contains("last taken"), "{listed}");
    assert!(!listed.contains("refusal"), "{listed}");
    for (arguments, sentence) in [
        (
            ["sinks", "retry", "hook"],
            "hook has set nothing aside; there is nothing to be sent again",
        ),
        (
            ["sinks", "retry", "bell"],
            "the shop file declares no way out \"bell\"; known are hook, gone",
        ),
        (
            ["sinks", "retry", "a/b"],
            "\"a/b\" is no way out's id; inkdwell sinks lists them",
        ),
    ] {
        assert_eq!(daemon.refused(&arguments), sentence);
    }
}

#[test]
fn a_shop_without_ways_out_is_told_so() {
    let daemon = start("");
    let (code, said, err) = daemon.call(&["sinks"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(
        said.starts_with("The shop file declares no way out"),
        "{said}"
    );
    let (code, said, _) = daemon.call(&["sinks", "--json"]);
    let told: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &told["sinks"]), (0, &Value::Array(Vec::new())));
}
