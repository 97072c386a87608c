//! Figures for whoever watches many of these, and how ways out are shown.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use inkdwell_daemon::api;
use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio_util::sync::CancellationToken;

use crate::free_port::free_port;
use crate::server::{Answer, Server};
use crate::shop::{blocked, fill, parsed, start, text, until};

/// What an address answers: its head and its body.
pub async fn get(port: u16, path: &str) -> (String, String) {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    let request = format!("GET {path} HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head.to_owned(), body.to_owned())
}

/// The same of something that is done, with the token of the data folder.
pub async fn post(port: u16, path: &str, token: &str, body: &str) -> (String, String) {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    let request = format!(
        "POST {path} HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {token}\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head.to_owned(), body.to_owned())
}

/// What the parser of the Python package prometheus_client makes of it: a line `NAME LABELS VALUE` for each sample.
fn parsed_by_python(text: &str) -> Option<Vec<String>> {
    let script = "\
import sys
try:
    from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse
except ImportError:
    sys.exit(77)
for family in parse(sys.stdin.read()):
    for sample in family.samples:
        labels = ','.join(f'{name}={value}' for name, value in sorted(sample.labels.items()))
        print(sample.name, labels or '-', float(sample.value))
";
    // Debian's packages are for Debian's Python, which need not be the first.
    let debian = Path::new("/usr/bin/python3");
    let python = if debian.exists() {
        debian
    } else {
        Path::new("python3")
    };
    let child = Command::new(python)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let Ok(mut child) = child else {
        eprintln!(
            "SKIPPED: figures read by prometheus_client (packages python3, python3-prometheus-client)"
        );
        return None;
    };
    use std::io::Write;
    child
        .stdin
        .take()
        .unwrap()
        .write_all(text.as_bytes())
        .unwrap();
    let output = child.wait_with_output().unwrap();
    if output.status.code() == Some(77) {
        eprintln!("SKIPPED: figures read by prometheus_client (package python3-prometheus-client)");
        return None;
    }
    assert!(output.status.success(), "no OpenMetrics:\n{text}");
    let said = String::from_utf8(output.stdout).unwrap();
    Some(said.lines().map(str::to_owned).collect())
}

/// The rules of OpenMetrics 1.0 that a reader leans on: every sample after its family's TYPE, names of counters
/// ending in _total, no family twice, and an end that is marked.
fn keeps_the_rules(text: &str) {
    assert!(text.ends_with("# EOF\n"));
    let mut families: Vec<(&str, &str)> = Vec::new();
    for line in text.lines() {
        if let Some(typed) = line.strip_prefix("# TYPE ") {
            let (name, kind) = typed.split_once(' ').unwrap();
            assert!(families.iter().all(|(own, _)| *own != name), "{name} twice");
            families.push((name, kind));
        }
        if line.starts_with('#') {
            continue;
        }
        let name = line.split(['{', ' ']).next().unwrap();
        let (family, kind) = families.last().unwrap();
        let rest = name
            .strip_prefix(family)
            .unwrap_or_else(|| panic!("{line}"));
        let fits: &[&str] = match *kind {
            "counter" => &["_total", "_created"],
            "gauge" => &[""],
            "info" => &["_info"],
            "histogram" => &["_bucket", "_count", "_sum", "_created"],
            other => panic!("{other}"),
        };
        assert!(fits.contains(&rest), "{line}");
        line.rsplit(' ').next().unwrap().parse::<f64>().unwrap();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_to_be_watched_can_be_read_and_so_can_what_was_set_aside() {
    let folder = tempfile::tempdir().unwrap();
    fill(
        folder.path(),
        &[("hook", "webhook"), ("gone", "webhook")],
        10,
    );
    let server = Server::that(|posted| match posted.json()["pass"].as_u64() {
        Some(3) => Answer::Status(400),
        _ => Answer::Status(200),
    })
    .await;
    let sink = |id: &str, port: u16| {
        format!("[[sink]]\nid = {id:?}\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{port}\"\n")
    };
    let sinks = sink("hook", server.port) + &sink("gone", free_port());
    let shop = parsed(&text("Lantern Yard", &sinks));
    let board = shop.board.clone();
    let shift = Arc::new(start(shop, folder.path()).await);
    let leave = CancellationToken::new();
    let serving = api::serve(Arc::clone(&shift), &board, folder.path(), leave.clone());
    let serving = serving.await.unwrap();
    let port = serving.address.port();
    until("all of it", || (server.posted().len() >= 10).then_some(())).await;
    blocked(&shift, "gone").await;

    let told = loop {
        let (_, body) = get(port, "/api/sinks").await;
        let told: Value = serde_json::from_str(&body).unwrap();
        // The record that the daemon began is passed over a moment later.
        if told["sinks"][0]["waiting"] == 0 && told["sinks"][0]["set_aside"] == 1 {
            break told;
        }
    };
    let (hook, gone) = (&told["sinks"][0], &told["sinks"][1]);
    assert_eq!((&hook["state"], &hook["sent"]), (&"open".into(), &9.into()));
    assert_eq!(hook["newest_aside"][0]["record"], 4);
    assert_eq!(
        (&gone["state"], &gone["waiting"]),
        (&"blocked".into(), &12.into())
    );
    assert!(
        gone["why"]
            .as_str()
            .unwrap()
            .starts_with("nothing listens at")
    );

    let (head, text) = get(port, "/metrics").await;
    assert!(head.contains("application/openmetrics-text; version=1.0.0"));
    keeps_the_rules(&text);
    if let Some(samples) = parsed_by_python(&text) {
        let has = |sample: &str| samples.iter().any(|own| own.starts_with(sample));
        for sample in [
            "inkdwell_sink_sent_total kind=webhook,sink=hook 9.0",
            "inkdwell_sink_set_aside_total kind=webhook,sink=hook 1.0",
            "inkdwell_sink_up kind=webhook,sink=hook 1.0",
            "inkdwell_sink_up kind=webhook,sink=gone 0.0",
            "inkdwell_sink_waiting_records kind=webhook,sink=gone 12.0",
            "inkdwell_records_total kind=occurred 1.0",
            "inkdwell_disk_full - 0.0",
            "inkdwell_build_info version=",
            "inkdwell_commit_seconds_bucket le=0.15 ",
        ] {
            assert!(has(sample), "{sample} is not in\n{samples:#?}");
        }
    }
    leave.cancel();
    serving.ended().await;
    Arc::into_inner(shift).unwrap().stop().await.unwrap();
}
