//! Points, against a server that misbehaves as its own documentation says that it may.

use std::collections::BTreeSet;
use std::io::Read;

use flate2::read::GzDecoder;

use crate::authority::{authority, in_front_of};
use crate::server::{Answer, Posted, Server};
use crate::shop::{blocked, fill, identities, parsed, start, text, until, verdict_of};

fn sink(port: u16, more: &str) -> String {
    format!(
        "[[sink]]\nid = \"history\"\nkind = \"influxdb\"\nurl = \"http://127.0.0.1:{port}\"\n\
         org = \"yard & sons\"\nbucket = \"dryer/1\"\n{more}"
    )
}

/// The lines of a post, unpacked where it is packed.
fn lines(posted: &Posted) -> Vec<String> {
    let text = match posted.header("content-encoding") {
        "gzip" => {
            let mut text = String::new();
            GzDecoder::new(&posted.body[..])
                .read_to_string(&mut text)
                .unwrap();
            text
        }
        _ => String::from_utf8(posted.body.to_vec()).unwrap(),
    };
    text.lines().map(str::to_owned).collect()
}

/// All verdicts that were taken, in the order in which they came.
fn verdicts(posted: &[Posted]) -> Vec<String> {
    let lines = posted.iter().flat_map(lines);
    lines
        .filter(|line| line.starts_with("inkdwell_verdict,"))
        .collect()
}

fn field<'a>(line: &'a str, name: &str) -> Option<&'a str> {
    let (_, rest) = line.split_once(&format!("{name}="))?;
    rest.split([',', ' ']).next()
}

fn pass(line: &str) -> u64 {
    let pass = field(line, ",pass").unwrap().trim_end_matches('i');
    pass.parse().unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn points_are_written_in_batches_packed_and_with_the_token() {
    let folder = tempfile::tempdir().unwrap();
    let token = folder.path().join("token");
    std::fs::write(&token, "the-token\n").unwrap();
    fill(folder.path(), &[("history", "influxdb")], 700);
    let server = Server::start().await;
    let sinks = sink(server.port, &format!("token_file = {token:?}\n"));
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    let posted = until("all of it", || {
        let posted = server.posted();
        (verdicts(&posted).len() >= 700).then_some(posted)
    })
    .await;
    assert_eq!(
        posted[0].uri.to_string(),
        "/api/v2/write?org=yard%20%26%20sons&bucket=dryer%2F1&precision=ns"
    );
    assert_eq!(posted[0].header("authorization"), "Token the-token");
    assert_eq!(posted[0].header("content-encoding"), "gzip");
    assert!(posted.len() < 20, "{} posts for 700 prints", posted.len());
    let verdicts = verdicts(&posted);
    let passes: Vec<u64> = verdicts.iter().map(|line| pass(line)).collect();
    assert_eq!(passes, (1..=700).collect::<Vec<_>>());
    let identities = identities(&shift);
    for line in &verdicts {
        let pass = pass(line);
        let start = format!(
            "inkdwell_verdict,evidence=measured,fabric=cotton-jersey,ink=plastisol-standard,probe=film,\
             shop=Lantern\\ Yard,station=belt-1,verdict={} ",
            verdict_of(pass)
        );
        assert!(line.starts_with(&start), "{line}");
        let id = format!("id=\"{}\"", identities[&(pass + 1)]);
        assert!(line.contains(&id), "{line}");
        assert!(
            line.contains("job=\"Harbour run, \\\"night\\\"\""),
            "{line}"
        );
        assert!(line.contains("dye_migration_high=1.3"), "{line}");
        let peak: f64 = field(line, "peak_c").unwrap().parse().unwrap();
        assert_eq!(peak, 160.0 + pass as f64 / 16.0);
    }
    // No two points have one time and the same tags: none takes another's place.
    let times: BTreeSet<&str> = verdicts
        .iter()
        .map(|line| line.rsplit(' ').next().unwrap())
        .collect();
    assert_eq!(times.len(), 700);
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_too_large_is_split_and_what_is_at_fault_is_found_and_set_aside() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("history", "influxdb")], 300);
    // It takes no more than 37 lines, and nothing that has one of two prints in it.
    let server = Server::that(|posted| {
        let lines = lines(posted);
        let odd = |line: &String| [113, 114].contains(&pass(line));
        let verdict = |line: &&String| line.starts_with("inkdwell_verdict,");
        match () {
            () if lines.len() > 37 => Answer::Status(413),
            () if lines.iter().filter(verdict).any(odd) => Answer::Status(400),
            () => Answer::Status(204),
        }
    })
    .await;
    let shift = start(
        parsed(&text("Lantern Yard", &sink(server.port, "gzip = false\n"))),
        folder.path(),
    )
    .await;
    let taken = until("the rest", || {
        let taken = server.taken();
        (verdicts(&taken).len() >= 298).then_some(taken)
    })
    .await;
    let passes: Vec<u64> = verdicts(&taken).iter().map(|line| pass(line)).collect();
    let expected: Vec<u64> = (1..=300)
        .filter(|pass| ![113, 114].contains(pass))
        .collect();
    assert_eq!(passes, expected, "each once, in order");
    let reader = shift.readers().reader().unwrap();
    let aside = until("what was set aside", || {
        let (counts, aside) = reader.set_aside("history", 10).unwrap();
        (counts.kept == 2).then_some(aside)
    })
    .await;
    let records: Vec<u64> = aside.iter().map(|aside| aside.record.unwrap().0).collect();
    assert_eq!(records, [115, 114]);
    assert!(
        aside[0]
            .why
            .contains("refused it for good (400: as the test wants it)")
    );
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_wants_to_be_left_alone_is() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("history", "influxdb")], 300);
    let begun = std::time::Instant::now();
    let (mut asked, mut calls) = (None, 0);
    let server = Server::that(move |_| {
        calls += 1;
        let early =
            asked.is_some_and(|asked: std::time::Instant| asked.elapsed().as_secs_f64() < 2.0);
        // Whoever comes too early is told so in a way that the test sees.
        match (calls, early) {
            (2, true) => Answer::Status(400),
            (1, _) => {
                asked = Some(std::time::Instant::now());
                Answer::Later(429, 2)
            }
            _ => Answer::Status(204),
        }
    })
    .await;
    let shift = start(
        parsed(&text("Lantern Yard", &sink(server.port, ""))),
        folder.path(),
    )
    .await;
    let taken = until("all of it", || {
        let taken = server.taken();
        (verdicts(&taken).len() >= 300).then_some(taken)
    })
    .await;
    assert!(begun.elapsed().as_secs_f64() >= 2.0);
    assert_eq!(server.posted().len(), taken.len() + 1);
    let passes: Vec<u64> = verdicts(&taken).iter().map(|line| pass(line)).collect();
    assert_eq!(passes, (1..=300).collect::<Vec<_>>());
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_wrong_token_and_a_missing_bucket_are_told_and_lose_nothing() {
    for (status, sentence) in [
        (
            401,
            "does not let us write (401: as the test wants it); correct token_file",
        ),
        (
            404,
            "no such place to write to (404: as the test wants it); correct url, org and bucket",
        ),
    ] {
        let folder = tempfile::tempdir().unwrap();
        fill(folder.path(), &[("history", "influxdb")], 3);
        let server = Server::that(move |_| Answer::Status(status)).await;
        let shop = parsed(&text("Lantern Yard", &sink(server.port, "")));
        let shift = start(shop, folder.path()).await;
        let why = blocked(&shift, "history").await;
        assert!(why.contains(sentence), "{why}");
        let reader = shift.readers().reader().unwrap();
        assert_eq!(reader.set_aside("history", 1).unwrap().0.kept, 0);
        shift.stop().await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn points_go_through_tls_and_only_to_whom_is_trusted() {
    let folder = tempfile::tempdir().unwrap();
    let (own, strange) = (authority(), authority());
    let roots = folder.path().join("roots.pem");
    std::fs::write(&roots, own.pem()).unwrap();
    fill(
        folder.path(),
        &[("history", "influxdb"), ("bad", "influxdb")],
        5,
    );
    let server = Server::start().await;
    let https = |port| {
        let roots = format!("tls_roots = {roots:?}\n");
        sink(port, &roots).replace("http://", "https://")
    };
    let (good, bad) = (
        in_front_of(server.port, &own, &["127.0.0.1"]).await,
        in_front_of(server.port, &strange, &["127.0.0.1"]).await,
    );
    let sinks = https(good) + &https(bad).replace("id = \"history\"", "id = \"bad\"");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    until("all of it", || {
        (verdicts(&server.posted()).len() >= 5).then_some(())
    })
    .await;
    let why = blocked(&shift, "bad").await;
    assert!(why.contains("TLS with https://127.0.0.1"), "{why}");
    assert_eq!(
        verdicts(&server.posted()).len(),
        5,
        "nothing went to whom nobody trusts"
    );
    shift.stop().await.unwrap();
}
