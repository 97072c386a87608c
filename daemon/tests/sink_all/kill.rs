//! The daemon is killed while it sends, again and again.

use std::collections::{HashMap, HashSet};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::mosquitto::Mosquitto;
use crate::server::{Answer, Server};
use crate::shop::{fill, text, until};
use crate::subscriber::Subscriber;

const PASSES: u64 = 1500;

pub struct Daemon(Child);

impl Daemon {
    pub fn start(shop: &Path, data: &Path) -> Daemon {
        let child = Command::new(env!("CARGO_BIN_EXE_inkdwelld"))
            .args(["--log-level", "error", "--shop"])
            .arg(shop)
            .arg("--data")
            .arg(data)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        Daemon(child)
    }

    pub fn kill(mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }

    /// What it holds in memory, in kilobytes.
    fn memory(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.0.id())).unwrap();
        let line = status
            .lines()
            .find(|line| line.starts_with("VmRSS:"))
            .unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_daemon_that_is_killed_again_and_again_loses_and_doubles_nothing() {
    let Some(broker) = Mosquitto::start("") else {
        return;
    };
    let (folder, shop) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let sinks = [
        ("hook", "webhook"),
        ("office", "mqtt"),
        ("history", "influxdb"),
    ];
    fill(folder.path(), &sinks, PASSES);
    let subscriber = Subscriber::start(broker.port, "always").await;
    let mut count = 0_u64;
    let hook = Server::that(move |_| {
        count += 1;
        // Now and then the server is not well.
        match count % 97 {
            0 => Answer::Status(503),
            _ => Answer::Status(200),
        }
    })
    .await;
    let history = Server::start().await;
    let file = shop.path().join("shop.toml");
    let sinks = format!(
        "[[sink]]\nid = \"hook\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{}\"\n\
         send = [\"verdicts\"]\n\
         [[sink]]\nid = \"office\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {}\nsend = [\"verdicts\"]\n\
         [[sink]]\nid = \"history\"\nkind = \"influxdb\"\nurl = \"http://127.0.0.1:{}\"\norg = \"o\"\n\
         bucket = \"b\"\nsend = [\"verdicts\"]\ngzip = false\n",
        hook.port, broker.port, history.port
    );
    std::fs::write(&file, text("Lantern Yard", &sinks)).unwrap();
    let passes = |records: &[u64]| records.iter().copied().collect::<HashSet<_>>().len() as u64;
    let hooked = || -> Vec<(u64, String)> {
        let taken = hook.taken();
        let each = taken.iter().map(|posted| {
            let json = posted.json();
            let id = json["id"].as_str().unwrap().to_owned();
            (json["pass"].as_u64().unwrap(), id)
        });
        each.collect()
    };
    let numbers =
        |hooked: &[(u64, String)]| hooked.iter().map(|(pass, _)| *pass).collect::<Vec<_>>();
    let mut kills = 0;
    loop {
        let before = passes(&numbers(&hooked()));
        if before >= PASSES {
            break;
        }
        let daemon = Daemon::start(&file, folder.path());
        let wanted = (before + 220).min(PASSES);
        until("more", || {
            (passes(&numbers(&hooked())) >= wanted).then_some(())
        })
        .await;
        if wanted == PASSES {
            // The last one goes on until everything is everywhere.
            until("all at the broker", || {
                let heard = subscriber.on("/verdict");
                let heard: Vec<u64> = heard
                    .iter()
                    .map(|heard| heard.json["pass"].as_u64().unwrap())
                    .collect();
                (passes(&heard) >= PASSES).then_some(())
            })
            .await;
            until("all at the store", || {
                (points(&history).len() as u64 >= PASSES).then_some(())
            })
            .await;
        }
        daemon.kill();
        kills += 1;
    }
    assert!(kills >= 5);
    // The daemon died without a word: those who are there hear its last will.
    until("the last will", || {
        let status = subscriber.on("/@monitor/status");
        status
            .last()
            .is_some_and(|status| status.json["state"] == "lost")
            .then_some(())
    })
    .await;
    let heard = subscriber.on("/verdict").into_iter().map(|heard| {
        let id = heard.json["id"].as_str().unwrap().to_owned();
        (heard.json["pass"].as_u64().unwrap(), id)
    });
    for sent in [hooked(), heard.collect()] {
        // By its identity each is known: the first time it comes, all come in order, and none is missing.
        let mut ids: HashMap<String, u64> = HashMap::new();
        let mut order = Vec::new();
        for (pass, id) in sent {
            match ids.insert(id, pass) {
                None => order.push(pass),
                Some(before) => assert_eq!(before, pass, "one identity for two prints"),
            }
        }
        assert_eq!(order, (1..=PASSES).collect::<Vec<_>>());
    }
    // Points are the same to the letter, or other points.
    assert_eq!(points(&history).len() as u64, PASSES);
}

/// The different lines of verdicts that a server has taken.
fn points(history: &Server) -> HashSet<String> {
    let taken = history.taken();
    let texts = taken
        .iter()
        .map(|posted| String::from_utf8(posted.body.to_vec()).unwrap());
    let lines = texts.flat_map(|text| text.lines().map(str::to_owned).collect::<Vec<_>>());
    lines
        .filter(|line| line.starts_with("inkdwell_verdict"))
        .collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_outbox_takes_no_memory() {
    let mut held = Vec::new();
    for passes in [100, 20_000] {
        let (folder, shop) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let kinds = [("hook", "webhook"), ("history", "influxdb")];
        fill(folder.path(), &kinds, passes);
        let hook = Server::that(|_| Answer::Later(503, 600)).await;
        let sinks = format!(
            "[[sink]]\nid = \"hook\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{0}\"\n\
             [[sink]]\nid = \"history\"\nkind = \"influxdb\"\nurl = \"http://127.0.0.1:{0}\"\norg = \"o\"\n\
             bucket = \"b\"\n",
            hook.port
        );
        let file = shop.path().join("shop.toml");
        std::fs::write(&file, text("Lantern Yard", &sinks)).unwrap();
        let daemon = Daemon::start(&file, folder.path());
        until("both at work", || (hook.posted().len() >= 2).then_some(())).await;
        // What it held to begin with is given back.
        tokio::time::sleep(Duration::from_millis(500)).await;
        held.push(daemon.memory());
    }
    println!(
        "a daemon with 100 records waiting holds {} kB, with 20 000 {} kB",
        held[0], held[1]
    );
    assert!(held[1] < held[0] + 16 * 1024, "{held:?} kB");
}
