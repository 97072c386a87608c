//! Who is let in: token, host, origin, size, number and patience; TLS; and where the daemon is found.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::shop::{Board, Tls};
use inkdwell_daemon::api::{self, Limits, address};
use rustls::pki_types::ServerName;
use rustls::{ClientConfig, RootCertStore};
use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout};
use tokio_rustls::TlsConnector;
use tokio_util::sync::CancellationToken;

use crate::client::{PATIENCE, Request, answer};
use crate::served::{PEAKS, Served, generous, loopback, shop, trace};

async fn served(limits: Limits) -> (tempfile::TempDir, Served) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let data = folder.path().join("data");
    let served = Served::start(shop(&file, None), &data, limits).await;
    (folder, served)
}

/// A request whose header of this name has another value, or none.
fn with(request: &Request, name: &str, value: Option<&str>) -> Request {
    let mut request = request.clone();
    request.headers.retain(|(own, _)| own != name);
    let value = value.map(|value| (name.to_owned(), value.to_owned()));
    request.headers.extend(value);
    request
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_change_needs_the_token_and_every_request_its_own_host_and_origin() {
    let (_folder, served) = served(generous()).await;
    let client = &served.client;
    let batch = json!({
        "station": "belt-1", "job": "Harbour run", "ink": "plastisol-standard",
        "fabric": "cotton-jersey", "by": "Mara",
    });
    let change = client.request("POST", "/api/batches", Some(&batch));
    let look = client.request("GET", "/api/status", None);
    let token = client.token.clone();
    let (bearer, basic) = (format!("Bearer {token}"), format!("Basic {token}"));
    let nearly = format!("Bearer {}0", &token[..63]);
    let longer = format!("Bearer {token}0");
    for (value, status) in [
        (None, 401),
        (Some(""), 401),
        (Some("Bearer"), 401),
        (Some("Bearer wrong"), 401),
        (
            Some(nearly.as_str()),
            if token.ends_with('0') { 201 } else { 401 },
        ),
        (Some(longer.as_str()), 401),
        (Some(basic.as_str()), 401),
        (Some(bearer.as_str()), 201),
    ] {
        let answer = client.send(&with(&change, "Authorization", value)).await;
        assert_eq!(answer.status, status, "{value:?}: {answer:?}");
        if status == 401 {
            assert!(answer.head.contains("www-authenticate: bearer"));
            assert!(answer.error().contains("api.token in the data folder"));
            assert!(!answer.error().contains(&token));
        }
    }
    let port = client.address.port();
    for (host, status) in [
        (Some(format!("localhost:{port}")), 200),
        (Some(format!("rebound.example:{port}")), 403),
        (Some("127.0.0.1".to_owned()), 403),
        (Some(String::new()), 403),
        (None, 400),
    ] {
        let answer = client.send(&with(&look, "Host", host.as_deref())).await;
        assert_eq!(answer.status, status, "{host:?}: {answer:?}");
    }
    let mut twice = look.clone();
    twice
        .headers
        .push(("Host".to_owned(), "rebound.example".to_owned()));
    assert_eq!(client.send(&twice).await.status, 400);
    for (origin, status) in [
        (format!("http://localhost:{port}"), 200),
        (format!("http://127.0.0.1:{port}"), 200),
        ("https://example.org".to_owned(), 403),
        ("null".to_owned(), 403),
    ] {
        let answer = client.send(&with(&look, "Origin", Some(&origin))).await;
        assert_eq!(answer.status, status, "{origin}: {answer:?}");
        let answer = client.send(&with(&change, "Origin", Some(&origin))).await;
        let expected = if status == 200 { 201 } else { 403 };
        assert_eq!(answer.status, expected, "{origin}: {answer:?}");
    }
    let cross = with(&change, "Sec-Fetch-Site", Some("cross-site"));
    assert_eq!(client.send(&cross).await.status, 403);
    // A form of another page can send only what is no JSON.
    let form = with(&change, "Content-Type", Some("text/plain"));
    assert_eq!(client.send(&form).await.status, 415);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_too_large_or_no_json_is_refused() {
    let (_folder, served) = served(generous()).await;
    let client = &served.client;
    let note = |length: usize| {
        let mut body = json!({ "note": "", "by": "Mara" }).to_string().into_bytes();
        body.resize(length, b' ');
        let mut request = client.request("POST", "/api/batches/1/notes", Some(&json!({})));
        request.body = Some(body);
        request
    };
    let limit = Limits::default().body_bytes;
    assert_eq!(limit, 65_536);
    assert_eq!(
        client.send(&note(limit)).await.status,
        404,
        "there is no batch 1"
    );
    for length in [limit + 1, 10 * limit] {
        let refused = client.send(&note(length)).await;
        assert_eq!(refused.status, 413, "{refused:?}");
        assert!(
            refused
                .error()
                .starts_with("the body is larger than 65536 bytes")
        );
    }
    // In pieces, so that nobody knows beforehand how much comes.
    let mut request = note(10);
    request.body = None;
    request
        .headers
        .push(("Transfer-Encoding".to_owned(), "chunked".to_owned()));
    let mut stream = TcpStream::connect(client.address).await.unwrap();
    let mut text = "POST /api/batches/1/notes HTTP/1.1\r\n".to_owned();
    for (name, value) in &request.headers {
        text += &format!("{name}: {value}\r\n");
    }
    text += "\r\n";
    for _ in 0..20 {
        text += &format!("1000\r\n{}\r\n", " ".repeat(0x1000));
    }
    text += "0\r\n\r\n";
    let _ = stream.write_all(text.as_bytes()).await;
    assert_eq!(answer(&mut stream).await.status, 413);

    for body in ["", "{", "[]", "{\"note\": 1, \"by\": \"Mara\"}", "\u{0}"] {
        let mut request = client.request("POST", "/api/batches/1/notes", Some(&json!({})));
        request.body = Some(body.as_bytes().to_vec());
        let refused = client.send(&request).await;
        assert_eq!(refused.status, 400, "{body:?}: {refused:?}");
        assert!(
            refused
                .error()
                .starts_with("the body is not what is asked for")
        );
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn too_many_requests_are_told_to_wait_and_changes_sooner() {
    let limits = Limits {
        rate: (20, 1),
        changes: (3, 1),
        ..Limits::default()
    };
    let (_folder, served) = served(limits).await;
    let client = &served.client;
    client.document().await;
    let begun = Instant::now();
    let mut statuses = Vec::new();
    for _ in 0..5 {
        statuses.push(
            client
                .post("/api/batches/1/close", json!({ "by": "Mara" }))
                .await
                .status,
        );
    }
    // Three at once, and no more than one for each second that it took.
    let allowed = statuses.iter().filter(|status| **status == 404).count();
    assert!(
        allowed >= 3 && allowed as u64 <= 4 + begun.elapsed().as_secs(),
        "{statuses:?}"
    );
    assert_eq!(statuses[..3], [404; 3]);
    let mut looked = Vec::new();
    for _ in 0..40 {
        looked.push(client.get("/api/events").await.status);
    }
    assert_eq!(looked[0], 200);
    assert!(looked.contains(&429), "{looked:?}");
    assert!(
        looked.iter().all(|status| matches!(status, 200 | 429)),
        "{looked:?}"
    );
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn connections_are_counted_and_none_is_held_for_good() {
    let limits = Limits {
        connections: 4,
        head: Duration::from_millis(700),
        body: Duration::from_millis(700),
        ..generous()
    };
    let (_folder, served) = served(limits).await;
    let client = &served.client;
    client.document().await;
    let mut idle = Vec::new();
    for _ in 0..4 {
        idle.push(TcpStream::connect(client.address).await.unwrap());
    }
    // They are accepted in the order in which they came.
    let mut one_more = TcpStream::connect(client.address).await.unwrap();
    let refused = answer(&mut one_more).await;
    assert_eq!(refused.status, 503);
    assert!(
        refused
            .error()
            .starts_with("there are too many connections")
    );
    // Those who say nothing, or only half of it, are dropped.
    idle[1]
        .write_all(b"GET /api/status HTTP/1.1\r\nHo")
        .await
        .unwrap();
    for stream in &mut idle {
        let mut rest = Vec::new();
        let ended = timeout(PATIENCE, stream.read_to_end(&mut rest)).await;
        assert!(ended.is_ok(), "an idle connection is still open");
    }
    assert_eq!(client.get("/api/status").await.status, 200);
    // One that is kept open and idle after an answer too.
    let mut kept = TcpStream::connect(client.address).await.unwrap();
    let request = format!(
        "GET /api/events HTTP/1.1\r\nHost: {}\r\n\r\n",
        client.address
    );
    kept.write_all(request.as_bytes()).await.unwrap();
    let mut all = Vec::new();
    let ended = timeout(PATIENCE, kept.read_to_end(&mut all)).await;
    assert!(ended.is_ok() && all.starts_with(b"HTTP/1.1 200"));
    // And whoever announces a body and does not send it.
    let mut slow = TcpStream::connect(client.address).await.unwrap();
    let mut text = "POST /api/batches HTTP/1.1\r\nContent-Length: 10\r\n".to_owned();
    for (name, value) in client.request("POST", "", Some(&json!({}))).headers {
        text += &format!("{name}: {value}\r\n");
    }
    slow.write_all(format!("{text}\r\n{{").as_bytes())
        .await
        .unwrap();
    assert_eq!(answer(&mut slow).await.status, 408);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn it_is_found_by_its_data_folder_while_it_serves() {
    let (folder, served) = served(generous()).await;
    let data = folder.path().join("data");
    let found = address::read(&data).unwrap().unwrap();
    assert_eq!(found.url, format!("http://{}", served.client.address));
    assert_eq!(found.certificate, None);
    // Another on the same address is told what to do.
    let taken = Board {
        listen: served.client.address,
        ..Board::default()
    };
    let stop = CancellationToken::new();
    let refused = api::serve(Arc::clone(&served.shift), &taken, &data, stop.clone()).await;
    let refused = refused.unwrap_err().to_string();
    assert!(refused.contains("cannot be listened on"), "{refused}");
    let wide = Board {
        listen: "0.0.0.0:0".parse().unwrap(),
        ..Board::default()
    };
    let refused = api::serve(Arc::clone(&served.shift), &wide, &data, stop).await;
    let refused = refused.unwrap_err().to_string();
    assert!(
        refused.contains("nothing goes there in the clear"),
        "{refused}"
    );
    assert!(
        address::read(&data).unwrap().is_some(),
        "the first still serves"
    );
    // An open stream of news does not hold up the end.
    let mut stream = TcpStream::connect(served.client.address).await.unwrap();
    let request = format!(
        "GET /api/stream HTTP/1.1\r\nHost: {}\r\n\r\n",
        served.client.address
    );
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut first = [0; 12];
    stream.read_exact(&mut first).await.unwrap();
    assert_eq!(&first, b"HTTP/1.1 200");
    served.stop().await;
    assert_eq!(address::read(&data).unwrap(), None);
    assert!(data.join(api::token::FILE).exists());
}

/// A certificate for a name, and its key, in files.
fn certificate(
    folder: &std::path::Path,
    name: &str,
) -> (Tls, rustls::pki_types::CertificateDer<'static>) {
    let made = rcgen::generate_simple_self_signed(vec![name.to_owned()]).unwrap();
    let tls = Tls {
        certificate: folder.join("board.pem"),
        key: folder.join("board.key"),
    };
    std::fs::write(&tls.certificate, made.cert.pem()).unwrap();
    std::fs::write(&tls.key, made.signing_key.serialize_pem()).unwrap();
    (tls, made.cert.der().clone())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn beyond_loopback_everything_needs_tls_and_the_token() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let data = folder.path().join("data");
    let shift = Served::shift(shop(&file, None), &data).await;
    let (tls, der) = certificate(folder.path(), "dryer.example");
    let board = Board {
        listen: "0.0.0.0:0".parse().unwrap(),
        hosts: vec!["dryer.example".to_owned()],
        tls: Some(tls.clone()),
    };
    let stop = CancellationToken::new();
    let serving = api::serve(Arc::clone(&shift), &board, &data, stop.clone())
        .await
        .unwrap();
    let port = serving.address.port();
    let found = address::read(&data).unwrap().unwrap();
    assert_eq!(found.url, format!("https://dryer.example:{port}"));
    assert_eq!(found.certificate, Some(tls.certificate));

    let mut roots = RootCertStore::empty();
    roots.add(der).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let connector = TlsConnector::from(Arc::new(config));
    let token = std::fs::read_to_string(data.join(api::token::FILE)).unwrap();
    let send = async |line: &str, header: String, body: &str| {
        let stream = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
        let name = ServerName::try_from("dryer.example").unwrap();
        let mut stream = connector.connect(name, stream).await.unwrap();
        let request = format!(
            "{line} HTTP/1.1\r\nHost: dryer.example\r\nConnection: close\r\nContent-Length: {}\r\n{header}\r\n{body}",
            body.len()
        );
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut text = Vec::new();
        // Whether the other side says goodbye in TLS's own way is its affair.
        let _ = timeout(PATIENCE, stream.read_to_end(&mut text))
            .await
            .unwrap();
        String::from_utf8(text).unwrap()
    };
    let ask =
        async |path: &str, header: &str| send(&format!("GET {path}"), header.to_owned(), "").await;
    let token = token.trim();
    assert!(ask("/api/status", "").await.starts_with("HTTP/1.1 401"));
    let bearer = format!("Authorization: Bearer {token}\r\n");
    assert!(
        ask("/api/status", &bearer)
            .await
            .starts_with("HTTP/1.1 200")
    );
    // A person who opens a board is asked to log in; a board's own requests are refused.
    let board = ask("/holds", "").await;
    assert!(board.starts_with("HTTP/1.1 303"), "{board}");
    assert!(board.contains("location: /login?next=/holds"), "{board}");
    assert!(ask("/live", "").await.starts_with("HTTP/1.1 401"));
    assert!(
        ask("/reports/2026-03-02/report.json", "")
            .await
            .starts_with("HTTP/1.1 303")
    );
    let form =
        "Origin: https://dryer.example\r\nContent-Type: application/x-www-form-urlencoded\r\n";
    let body = format!("token={token}&next=%2Fholds");
    let entered = send("POST /do/login", form.to_owned(), &body).await;
    assert!(entered.starts_with("HTTP/1.1 303"), "{entered}");
    let cookie = entered
        .lines()
        .find_map(|line| line.strip_prefix("set-cookie: "));
    let cookie = cookie.unwrap();
    assert!(
        cookie.ends_with("; HttpOnly; SameSite=Strict; Secure"),
        "{cookie}"
    );
    let cookie = format!("Cookie: {}\r\n", cookie.split(';').next().unwrap());
    assert!(ask("/holds", &cookie).await.starts_with("HTTP/1.1 200"));
    // In the clear nothing is said.
    let mut clear = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    clear
        .write_all(b"GET /api/status HTTP/1.1\r\nHost: dryer.example\r\n\r\n")
        .await
        .unwrap();
    let mut text = Vec::new();
    let _ = timeout(PATIENCE, clear.read_to_end(&mut text))
        .await
        .unwrap();
    assert!(!String::from_utf8_lossy(&text).contains("HTTP"));

    stop.cancel();
    serving.ended().await;
    Arc::into_inner(shift).unwrap().stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_unfit_certificate_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trace.csv");
    std::fs::write(&file, trace(PEAKS)).unwrap();
    let shift = Served::shift(shop(&file, None), &folder.path().join("data")).await;
    let (sound, _) = certificate(folder.path(), "dryer.example");
    let elsewhere = tempfile::tempdir().unwrap();
    let (other, _) = certificate(elsewhere.path(), "dryer.example");
    let empty = folder.path().join("empty.pem");
    std::fs::write(&empty, "").unwrap();
    let absent = PathBuf::from("/nowhere/board.pem");
    for (certificate, key, words) in [
        (
            &absent,
            &sound.key,
            "/nowhere/board.pem: no certificate can be read",
        ),
        (&empty, &sound.key, "empty.pem: it holds no certificate"),
        (
            &sound.certificate,
            &absent,
            "/nowhere/board.pem: no private key can be read",
        ),
        (
            &sound.certificate,
            &other.key,
            "board.pem: it cannot be used with its key",
        ),
    ] {
        let board = Board {
            tls: Some(Tls {
                certificate: certificate.clone(),
                key: key.clone(),
            }),
            ..loopback()
        };
        let stop = CancellationToken::new();
        let refused = api::serve(Arc::clone(&shift), &board, folder.path(), stop).await;
        let refused = refused.unwrap_err().to_string();
        assert!(refused.contains(words), "{words}\n{refused}");
    }
    Arc::into_inner(shift).unwrap().stop().await.unwrap();
}
