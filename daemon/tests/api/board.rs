//! The board's pages: who may change something from them, what they may run, and how they are kept up to date for
//! many who look.

use std::net::SocketAddr;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::json;
use sha2::{Digest, Sha256};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

use crate::client::PATIENCE;
use crate::served::{PEAKS, Served, generous, shop, trace};

pub const FORM: &str = "Content-Type: application/x-www-form-urlencoded";
const BATCH: &str =
    "station=belt-1&job=Harbour+run&ink=plastisol-standard&fabric=cotton-jersey&by=Mara";

async fn served() -> (tempfile::TempDir, Served) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let data = folder.path().join("data");
    let served = Served::start(shop(&file, None), &data, generous()).await;
    (folder, served)
}

/// An answer as it came: its status, its head and its text.
pub struct Page {
    pub status: u16,
    pub head: String,
    pub text: String,
}

/// Sends a request with these header lines, and reads all that comes back.
pub async fn ask(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[&str],
    body: Option<&str>,
) -> Page {
    ask_for(&address.to_string(), address, (method, path), headers, body).await
}

/// The same under another name than the address.
async fn ask_for(
    host: &str,
    address: SocketAddr,
    (method, path): (&str, &str),
    headers: &[&str],
    body: Option<&str>,
) -> Page {
    let mut request = format!("{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n");
    for header in headers {
        request += &format!("{header}\r\n");
    }
    if let Some(body) = body {
        request += &format!("Content-Length: {}\r\n", body.len());
    }
    request += "\r\n";
    request += body.unwrap_or_default();
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut bytes = Vec::new();
    let read = timeout(PATIENCE, stream.read_to_end(&mut bytes)).await;
    read.expect("an answer").unwrap();
    let text = String::from_utf8_lossy(&bytes);
    let (head, body) = text.split_once("\r\n\r\n").unwrap();
    Page {
        status: head.split(' ').nth(1).unwrap().parse().unwrap(),
        head: head.to_lowercase(),
        text: body.to_owned(),
    }
}

pub async fn page(address: SocketAddr, path: &str) -> Page {
    ask(address, "GET", path, &[], None).await
}

/// The cookie of a login, as a browser sends it back.
pub async fn log_in(address: SocketAddr, token: &str) -> (Page, String) {
    let origin = format!("Origin: http://{address}");
    let body = format!("token={token}&next=%2Fholds");
    let page = ask(address, "POST", "/do/login", &[FORM, &origin], Some(&body)).await;
    let cookie = page.head.lines().find_map(|line| {
        let cookie = line.strip_prefix("set-cookie: ")?;
        Some(format!("Cookie: {}", cookie.split(';').next()?))
    });
    (page, cookie.unwrap_or_default())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_has_logged_in_changes_something_from_the_board_s_own_pages_alone() {
    let (_folder, served) = served().await;
    let (address, token) = (served.serving.address, served.client.token.clone());
    let origin = format!("Origin: http://{address}");
    let open = |headers: Vec<String>| async move {
        let headers: Vec<&str> = headers.iter().map(String::as_str).collect();
        ask(address, "POST", "/do/open-batch", &headers, Some(BATCH)).await
    };
    let sent = |more: &[&str]| -> Vec<String> {
        let lines = [FORM].into_iter().chain(more.iter().copied());
        lines.map(str::to_owned).collect()
    };

    let (wrong, cookie) = log_in(address, &"0".repeat(64)).await;
    assert_eq!((wrong.status, cookie.as_str()), (401, ""));
    assert!(wrong.text.contains("This is not the token"));
    let (right, cookie) = log_in(address, &token).await;
    assert_eq!(right.status, 303);
    assert!(right.head.contains("location: /holds"));
    assert!(
        right.head.contains("; httponly; samesite=strict"),
        "{}",
        right.head
    );

    assert_eq!(
        open(sent(&[&origin])).await.status,
        401,
        "nobody has logged in"
    );
    assert_eq!(
        open(sent(&[&cookie])).await.status,
        401,
        "from which page, nobody knows"
    );
    for foreign in ["https://example.org", "null", "http://127.0.0.1:1"] {
        let foreign = format!("Origin: {foreign}");
        assert_eq!(
            open(sent(&[&cookie, &foreign])).await.status,
            403,
            "{foreign}"
        );
    }
    let cross = "Sec-Fetch-Site: cross-site";
    assert_eq!(open(sent(&[&cookie, &origin, cross])).await.status, 403);
    let forged = format!("Cookie: inkdwell_token={}", "0".repeat(64));
    assert_eq!(open(sent(&[&forged, &origin])).await.status, 401);
    let done = open(sent(&[&cookie, &origin])).await;
    assert_eq!(done.status, 303, "{}", done.text);
    assert!(done.head.contains("location: /batches/1"));

    // A name of another site's that was made to point here (DNS rebinding) is told by what it asks for.
    let port = address.port();
    for host in [
        "rebound.example".to_owned(),
        format!("rebound.example:{port}"),
    ] {
        let rebound = format!("Origin: http://{host}");
        for (method, path, lines, body) in [
            ("GET", "/", vec![cookie.as_str()], None),
            ("GET", "/live", vec![], None),
            ("GET", "/reports", vec![], None),
            (
                "POST",
                "/do/open-batch",
                vec![FORM, cookie.as_str(), rebound.as_str()],
                Some(BATCH),
            ),
        ] {
            let refused = ask_for(&host, address, (method, path), &lines, body).await;
            assert_eq!(refused.status, 403, "{host} {path}: {}", refused.text);
        }
    }

    // A form is for the board's own: programs speak JSON.
    let lines = [FORM, cookie.as_str(), origin.as_str()];
    let api = ask(address, "POST", "/api/batches", &lines, Some(BATCH)).await;
    assert_eq!(api.status, 415);
    // Another site's page cannot log anybody in or out either.
    let foreign = [FORM, "Origin: https://example.org"];
    let body = format!("token={token}");
    assert_eq!(
        ask(address, "POST", "/do/login", &foreign, Some(&body))
            .await
            .status,
        403
    );
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_wrong_in_a_form_is_said_on_a_page() {
    let (_folder, served) = served().await;
    let (address, token) = (served.serving.address, served.client.token.clone());
    let (_, cookie) = log_in(address, &token).await;
    let origin = format!("Origin: http://{address}");
    let lines = [FORM, cookie.as_str(), origin.as_str()];
    for (path, body, status, says) in [
        (
            "/do/open-batch",
            BATCH.replace("job=Harbour+run", "job=+"),
            400,
            "job",
        ),
        (
            "/do/open-batch",
            format!("{BATCH}&quantity=many"),
            400,
            "&quot;many&quot; is no number",
        ),
        (
            "/do/open-batch",
            BATCH.replace("belt-1", "belt-9"),
            400,
            "belt-9",
        ),
        (
            "/do/close-batch",
            "batch=7&by=Mara".to_owned(),
            404,
            "there is no batch 7",
        ),
        (
            "/do/settle-hold",
            "hold=1&outcome=lost&why=x&by=y".to_owned(),
            400,
            "not understood",
        ),
        (
            "/do/assign",
            "by=Mara&batch=1".to_owned(),
            400,
            "no print is ticked",
        ),
        ("/do/tune", String::new(), 400, "0 rides are ticked"),
        (
            "/do/lock-recipe",
            "ride=1&belt=a+lot&by=Mara".to_owned(),
            400,
            "is no number",
        ),
    ] {
        let page = ask(address, "POST", path, &lines, Some(&body)).await;
        assert_eq!(page.status, status, "{path} {body}: {}", page.text);
        assert!(page.text.contains(says), "{path} {body}: {}", page.text);
        assert!(page.text.contains("role=\"alert\""));
    }
    for (path, says) in [
        ("/batches/9", "there is no batch 9"),
        ("/prints/9", "there is no print 9"),
        ("/station/%3Cb%3E", "has no station &quot;&lt;b&gt;&quot;"),
        ("/reports/yesterday", "is no day; write it as 2026-01-31"),
    ] {
        let page = page(address, path).await;
        assert_eq!(page.status, 404, "{path}");
        assert!(page.text.contains(says), "{path}: {}", page.text);
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_that_a_person_writes_runs_and_nothing_comes_from_elsewhere() {
    let (_folder, served) = served().await;
    let address = served.serving.address;
    let evil = "<script>alert(1)</script>\"'&<img src=x onerror=alert(2)>";
    let batch = json!({
        "station": "belt-1", "job": evil, "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": evil,
    });
    served.client.done("/api/batches", batch).await;
    let note = json!({ "note": evil, "by": evil });
    served.client.done("/api/batches/1/notes", note).await;
    served.played(1).await;
    let settled = json!({ "outcome": "scrapped", "why": evil, "by": evil });
    served.client.done("/api/holds/1/settle", settled).await;
    let day = served.client.good("/api/status").await;
    let day = day["now"]["at"].as_str().unwrap()[..10].to_owned();
    let report = format!("/reports/{day}");
    let mut bytes = 0;
    for path in [
        "/",
        "/station/belt-1",
        "/alarms",
        "/batches",
        "/batches/1",
        "/holds",
        "/prints/1",
        "/prints/2",
        "/recipes",
        "/tune",
        "/reports",
        &report,
        "/login",
    ] {
        let page = page(address, path).await;
        assert_eq!(page.status, 200, "{path}: {}", page.text);
        assert!(page.head.contains(
            "content-security-policy: default-src 'none'; style-src 'self'; script-src 'self'"
        ));
        assert!(
            page.head.contains("frame-ancestors 'none'")
                && page.head.contains("x-content-type-options: nosniff")
        );
        assert!(!page.head.contains("unsafe"));
        for never in [
            "<script>",
            "<img",
            " style=\"",
            "<style",
            "onerror=alert(2)>",
            "javascript:",
            "http://",
            "https://",
        ] {
            assert!(!page.text.contains(never), "{path} has {never}");
        }
        bytes = bytes.max(page.text.len());
    }
    let evil_is_there = page(address, "/batches/1").await.text;
    assert!(evil_is_there.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    // The whole report has a policy of its own: its own style, by its digest (CSP Level 3), and nothing else.
    let whole = page(address, &format!("{report}/page")).await;
    assert_eq!(whole.status, 200, "{}", whole.text);
    let style = whole.text.split_once("<style>").unwrap().1;
    let style = style.split_once("</style>").unwrap().0;
    let digest = STANDARD.encode(Sha256::digest(style)).to_lowercase();
    let policy = format!(
        "content-security-policy: default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'"
    );
    assert!(whole.head.contains(&policy), "{}", whole.head);
    for never in ["<script", "<img", " style=\"", "onerror=alert(2)>"] {
        assert!(!whole.text.contains(never), "the report has {never}");
    }
    // A whole page with all that it takes stays small.
    for path in ["/board.css", "/board.js", "/icon.svg"] {
        let page = page(address, path).await;
        assert_eq!(page.status, 200);
        bytes += page.text.len();
    }
    assert!(bytes < 100_000, "{bytes} bytes");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_day_s_report_is_there_to_read_and_to_take_along() {
    let (_folder, served) = served().await;
    let address = served.serving.address;
    let batch = json!({
        "station": "belt-1", "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": "Mara",
    });
    served.client.done("/api/batches", batch).await;
    served.played(1).await;
    let status = served.client.good("/api/status").await;
    let day = status["now"]["at"].as_str().unwrap()[..10].to_owned();
    let own = page(address, &format!("/reports/{day}")).await.text;
    let mut forms = Vec::new();
    for (form, kind) in [
        ("page", "text/html; charset=utf-8"),
        ("report.pdf", "application/pdf"),
        ("report.json", "application/json"),
    ] {
        let path = format!("/reports/{day}/{form}");
        assert!(own.contains(&format!("href=\"{path}\"")), "{own}");
        let answer = page(address, &path).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
        assert!(answer.head.contains(&format!("content-type: {kind}")));
        let is_file = form != "page";
        let saved = format!("content-disposition: attachment; filename=\"{day}-{form}\"");
        assert_eq!(answer.head.contains(&saved), is_file, "{}", answer.head);
        forms.push(answer.text);
    }
    let [whole, pdf, json] = forms.as_slice() else {
        unreachable!("there are three");
    };
    assert!(whole.contains("Harbour run"));
    assert!(pdf.starts_with("%PDF-"));
    let json: serde_json::Value = serde_json::from_str(json).unwrap();
    assert_eq!(json["schema"], "inkdwell.report/1");

    let other = page(address, "/reports?day=2026-01-31").await;
    assert_eq!(other.status, 303);
    assert!(other.head.contains("location: /reports/2026-01-31"));
    for (path, says) in [
        ("/reports?day=never", "is no day"),
        ("/reports/never/report.pdf", "is no day"),
        ("/reports/2026-01-31/report.doc", "there is no report"),
    ] {
        let refused = page(address, path).await;
        assert_eq!(refused.status, 404, "{path}");
        assert!(refused.text.contains(says), "{path}: {}", refused.text);
    }
    served.stop().await;
}

/// Somebody who looks.
struct Follower {
    stream: TcpStream,
    text: String,
}

impl Follower {
    async fn open(address: SocketAddr, header: &str) -> Follower {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let request = format!("GET /live HTTP/1.1\r\nHost: {address}\r\n{header}\r\n");
        stream.write_all(request.as_bytes()).await.unwrap();
        Follower {
            stream,
            text: String::new(),
        }
    }

    /// Reads until it was told these words.
    async fn until(&mut self, words: &str) {
        let mut piece = [0; 16_384];
        while !self.text.contains(words) {
            let read = timeout(PATIENCE, self.stream.read(&mut piece)).await;
            let count = read.expect("news").unwrap();
            assert!(
                count > 0,
                "the stream ended before {words:?}: {}",
                self.text
            );
            self.text += &String::from_utf8_lossy(&piece[..count]);
        }
    }

    /// The last id that it was told.
    fn id(&self) -> String {
        let mut ids = self
            .text
            .lines()
            .filter_map(|line| line.strip_prefix("id: "));
        ids.next_back().unwrap().to_owned()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_hundred_who_look_are_all_told_also_beside_some_who_take_nothing() {
    let (_folder, served) = served().await;
    let address = served.serving.address;
    let batch = json!({
        "station": "belt-1", "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": "Mara",
    });
    served.client.done("/api/batches", batch).await;
    let mut followers = Vec::new();
    for _ in 0..100 {
        followers.push(Follower::open(address, "").await);
    }
    // They never read what they are sent.
    let mut deaf = Vec::new();
    for _ in 0..10 {
        deaf.push(Follower::open(address, "").await);
    }
    for follower in &mut followers {
        follower.until("Harbour run").await;
    }
    served.played(1).await;
    for follower in &mut followers {
        follower.until("Pull print").await;
    }
    // Nobody's reading or not reading holds up the daemon.
    assert_eq!(
        served.client.good("/api/passes").await["passes"]
            .as_array()
            .unwrap()
            .len(),
        3
    );
    drop((followers, deaf));
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_comes_back_is_told_what_has_changed_since_and_after_a_restart_everything() {
    let (_folder, served) = served().await;
    let address = served.serving.address;
    // Somebody else goes on looking.
    let mut stays = Follower::open(address, "").await;
    served.played(1).await;
    stays.until("No batch").await;
    let mut first = Follower::open(address, "").await;
    first.until("\nid: ").await;
    let id = first.id();
    drop(first);
    let batch = json!({
        "station": "belt-1", "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": "Mara",
    });
    served.client.done("/api/batches", batch).await;
    let mut again = Follower::open(address, &format!("Last-Event-ID: {id}\r\n")).await;
    again.until("Harbour run is open").await;
    assert!(!again.text.contains("nav-holds"), "that has not changed");
    let mut elsewhere = Follower::open(address, "Last-Event-ID: 0123456789abcdef-5\r\n").await;
    elsewhere.until("nav-holds").await;
    drop((stays, again, elsewhere));
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_alarm_stands_on_the_board_until_somebody_says_that_they_saw_it() {
    let (_folder, served) = served().await;
    let (address, token) = (served.serving.address, served.client.token.clone());
    let (_, cookie) = log_in(address, &token).await;
    let origin = format!("Origin: http://{address}");
    let lines = [FORM, cookie.as_str(), origin.as_str()];
    let drill = "why=%3Cb%3Etry%3C%2Fb%3E&by=Mara";
    let raised = ask(address, "POST", "/do/drill", &lines, Some(drill)).await;
    assert_eq!(raised.status, 303, "{}", raised.text);
    let alarms = served.client.good("/api/alarms").await;
    let alarm = alarms["alarms"][0].clone();
    let name = alarm["alarm"].as_str().unwrap();
    // A page begins it with a capital.
    let title = &alarm["title"].as_str().unwrap()[1..];
    let standing = page(address, "/alarms").await.text;
    assert!(standing.contains(title) && standing.contains("nobody has said that they saw it"));
    assert!(!standing.contains("<b>try"), "{standing}");
    assert!(!standing.contains("/do/alarm"), "nobody has logged in");
    assert!(
        page(address, "/").await.text.contains(title),
        "it is among what to do"
    );
    let seen = format!("alarm={name}&deal=acknowledge&by=Mara");
    let done = ask(address, "POST", "/do/alarm", &lines, Some(&seen)).await;
    assert_eq!(done.status, 303, "{}", done.text);
    let standing = page(address, "/alarms").await.text;
    assert!(
        !standing.contains("nobody has said that they saw it"),
        "{standing}"
    );
    let odd = format!("alarm={name}&deal=forget&by=Mara");
    let refused = ask(address, "POST", "/do/alarm", &lines, Some(&odd)).await;
    assert_eq!(refused.status, 400);
    served.stop().await;
}
