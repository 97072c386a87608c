//! The news: every record once, in order, also for whoever was away.

use serde_json::{Value, json};
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;
use tokio::time::timeout;

use crate::client::{Client, PATIENCE};
use crate::served::{PEAKS, Served, generous, shop, trace};

/// One event.
#[derive(Debug, Default, Clone, PartialEq)]
struct News {
    id: Option<u64>,
    name: String,
    data: Value,
}

/// A stream of news.
struct Stream {
    lines: tokio::io::Lines<BufReader<TcpStream>>,
}

impl Stream {
    async fn open(client: &Client, path: &str, header: &str) -> Stream {
        let mut stream = TcpStream::connect(client.address).await.unwrap();
        let request = format!(
            "GET {path} HTTP/1.1\r\nHost: {}\r\n{header}\r\n",
            client.address
        );
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut lines = BufReader::new(stream).lines();
        let first = lines.next_line().await.unwrap().unwrap();
        assert_eq!(first, "HTTP/1.1 200 OK");
        let mut is_stream = false;
        while let Some(line) = lines.next_line().await.unwrap()
            && !line.is_empty()
        {
            is_stream |= line == "content-type: text/event-stream";
        }
        assert!(is_stream);
        Stream { lines }
    }

    /// The next event, the pieces of the chunked answer put together.
    async fn next(&mut self) -> News {
        let mut news = News::default();
        loop {
            let line = timeout(PATIENCE, self.lines.next_line()).await;
            let line = line.expect("news").unwrap().expect("news");
            match line.split_once(": ") {
                Some(("id", id)) => news.id = Some(id.parse().unwrap()),
                Some(("event", name)) => news.name = name.to_owned(),
                Some(("data", data)) => {
                    news.data = serde_json::from_str(data).unwrap();
                }
                _ if line.is_empty() && !news.data.is_null() => return news,
                // The sizes of the pieces, and signs of life.
                _ => {}
            }
        }
    }

    /// The records up to the first of a name.
    async fn until(&mut self, name: &str) -> Vec<News> {
        let mut all = Vec::new();
        loop {
            let news = self.next().await;
            let is_last = news.name == name;
            if news.id.is_some() {
                all.push(news);
            }
            if is_last {
                return all;
            }
        }
    }
}

fn assert_all(news: &[News], from: u64) {
    for (place, news) in news.iter().enumerate() {
        assert_eq!(news.id, Some(from + place as u64));
        assert_eq!(news.data["record"].as_u64(), news.id);
        assert_eq!(news.data["kind"], news.name);
        assert!(news.data["at"]["at"].is_string());
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_record_is_told_once_also_to_whoever_was_away() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let served = Served::start(shop(&file, None), &folder.path().join("data"), generous()).await;
    let client = &served.client;
    let mut whole = Stream::open(client, "/api/stream?after=0", "").await;
    let batch = json!({
        "station": "belt-1", "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": "Mara",
    });
    client.done("/api/batches", batch).await;
    // From the daemon's first word to the hold of the second ride, while it happens.
    let mut told = whole.until("hold-joined").await;
    assert_all(&told, 1);
    assert_eq!(told[0].data["what"]["event"], "started");
    let passes = told
        .iter()
        .filter(|news| news.name == "pass-judged")
        .count();
    assert_eq!(passes, 2);
    drop(whole);
    served.played(1).await;

    // Cut off there, and back again after the third.
    let last = told.last().unwrap().id.unwrap();
    let mut again =
        Stream::open(client, "/api/stream", &format!("Last-Event-ID: {last}\r\n")).await;
    let rest = again.until("pass-judged").await;
    assert_all(&rest, last + 1);
    told.extend(rest);
    let verdicts: Vec<&Value> = told
        .iter()
        .filter(|news| news.name == "pass-judged")
        .map(|news| &news.data["judged"]["verdict"])
        .collect();
    assert_eq!(verdicts, ["cured", "under-cured", "cured"]);

    // Who says nothing hears what comes from now on.
    let head = client.good("/api/status").await["last_record"]
        .as_u64()
        .unwrap();
    let mut fresh = Stream::open(client, "/api/stream", "").await;
    client
        .done("/api/batches/1/close", json!({ "by": "Mara" }))
        .await;
    let closed = fresh.until("batch-closed").await;
    assert_all(&closed, head + 1);

    let ahead = client.get("/api/stream?after=1000000").await;
    assert_eq!(ahead.status, 409);
    assert!(
        ahead.error().starts_with("there is no record 1000000 yet"),
        "{ahead:?}"
    );
    let mut odd = client.request("GET", "/api/stream", None);
    odd.headers
        .push(("Last-Event-ID".to_owned(), "x".to_owned()));
    assert_eq!(client.send(&odd).await.status, 400);
    drop((again, fresh));
    served.stop().await;
}

/// A print in the heat is news before it is a record.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_print_that_enters_the_heat_is_told_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let served = Served::start(shop(&file, None), &folder.path().join("data"), generous()).await;
    let mut stream = Stream::open(&served.client, "/api/stream", "").await;
    let began = loop {
        let news = stream.next().await;
        if news.name == "pass-began" {
            break news;
        }
    };
    assert_eq!(began.id, None);
    assert_eq!(
        (&began.data["station"], &began.data["probe"]),
        (&json!("belt-1"), &json!("film"))
    );
    let judged = stream.until("pass-judged").await.pop().unwrap();
    let seconds = |moment: &Value| moment["steady_s"].as_f64().unwrap();
    let start = judged.data["start"].as_i64().unwrap() as f64 / 1e6;
    assert!((seconds(&began.data["at"]) - start).abs() < 1e-3);
    drop(stream);
    served.stop().await;
}
