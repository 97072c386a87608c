//! Webhooks.

use std::collections::HashSet;
use std::time::{Duration, Instant};

use inkdwell_daemon::keeper::Command;
use inkdwell_daemon::record::Calibrated;
use serde_json::Value;
use sha2::{Digest, Sha256};

use crate::authority::{authority, in_front_of};
use crate::free_port::free_port;
use crate::server::{Answer, Posted, Server};
use crate::shop::{blocked, fill, identities, parsed, start, text, until};

fn hook(port: u16, more: &str) -> String {
    format!(
        "[[sink]]\nid = \"hook\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{port}/prints?to=office\"\n\
         send = [\"verdicts\", \"alarms\", \"events\"]\n{more}"
    )
}

/// The numbers of the records, in the order in which they came, a repetition left out.
fn records(posted: &[Posted]) -> Vec<u64> {
    let mut known = HashSet::new();
    let new = posted
        .iter()
        .filter(|posted| known.insert(posted.header("inkdwell-message").to_owned()));
    new.map(|posted| posted.json()["record"].as_u64().unwrap())
        .collect()
}

/// RFC 2104, section 2, written out: H(K XOR opad, H(K XOR ipad, text)) with blocks of 64 bytes.
fn hmac(key: &[u8], text: &[u8]) -> String {
    let padded = |pad: u8| -> Vec<u8> {
        let key = key.iter().copied().chain(std::iter::repeat(0)).take(64);
        key.map(|byte| byte ^ pad).collect()
    };
    let inner = Sha256::digest([&padded(0x36), text].concat());
    let outer = Sha256::digest([&padded(0x5c)[..], &inner[..]].concat());
    outer.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The records up to the last, but for the shop file's text, which no sink is told.
fn all_but_the_shop_file(shop_file: u64, last: u64) -> Vec<u64> {
    (1..=last).filter(|record| *record != shop_file).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn everything_arrives_once_in_order_signed_and_as_the_schemas_say() {
    let folder = tempfile::tempdir().unwrap();
    let key = folder.path().join("key");
    std::fs::write(&key, "a key of the shop's own\n").unwrap();
    fill(folder.path(), &[("hook", "webhook")], 300);
    let server = Server::start().await;
    let sinks = hook(server.port, &format!("secret_file = {key:?}\n"));
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    // The batch, the passes, and that the daemon began.
    let posted = until("all of it", || {
        let posted = server.posted();
        (posted.len() >= 302).then_some(posted)
    })
    .await;
    assert_eq!(records(&posted), (1..=302).collect::<Vec<_>>());
    let identities = identities(&shift);
    let schemas = inkdwell_daemon::sink::message::schemas();
    for posted in &posted {
        assert_eq!(posted.uri.to_string(), "/prints?to=office");
        assert_eq!(posted.header("content-type"), "application/json");
        let (json, id) = (posted.json(), posted.header("inkdwell-message"));
        assert_eq!(json["id"], id);
        assert_eq!(identities[&json["record"].as_u64().unwrap()], id);
        let signed = format!("{}\n{id}\n", posted.header("inkdwell-sent"));
        let signature = hmac(
            b"a key of the shop's own",
            &[signed.as_bytes(), &posted.body].concat(),
        );
        assert_eq!(posted.header("inkdwell-signature"), signature);
        let name = json["schema"].as_str().unwrap();
        let (_, schema) = schemas.iter().find(|(own, _)| *own == name).unwrap();
        jsonschema::validate(schema.as_value(), &json).unwrap();
    }
    let seventh = posted[7].json();
    let of = |name: &str| seventh[name].clone();
    assert_eq!(
        (of("pass"), of("verdict")),
        (7.into(), "under-cured".into())
    );
    assert_eq!(
        (of("job"), of("print")),
        ("Harbour run, \"night\"".into(), 7.into())
    );
    assert_eq!(
        (of("shop"), of("station")),
        ("Lantern Yard".into(), "belt-1".into())
    );
    assert_eq!(of("cure")["low"], 0.9);
    assert!(of("caution").as_str().unwrap().contains("no safety device"));
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_sent_before_a_restart_is_not_sent_after_it() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("hook", "webhook")], 40);
    let server = Server::start().await;
    let shop = || parsed(&text("Lantern Yard", &hook(server.port, "")));
    let shift = start(shop(), folder.path()).await;
    until("all of it", || (server.posted().len() >= 42).then_some(())).await;
    shift.stop().await.unwrap();
    let before = server.posted().len();
    // That it ended, and that it began again, are all that is new.
    let shift = start(shop(), folder.path()).await;
    let posted = until("the rest", || {
        let posted = server.posted();
        (records(&posted).len() >= 44).then_some(posted)
    })
    .await;
    assert_eq!(posted.len(), before + 2);
    assert_eq!(records(&posted), all_but_the_shop_file(43, 45));
    let kinds: Vec<Value> = posted[before..]
        .iter()
        .map(|posted| posted.json()["kind"].clone())
        .collect();
    assert_eq!(kinds, ["stopped", "started"]);
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn while_nobody_listens_everything_waits_and_comes_in_order_afterwards() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("hook", "webhook")], 500);
    let port = free_port();
    let shift = start(
        parsed(&text("Lantern Yard", &hook(port, ""))),
        folder.path(),
    )
    .await;
    let why = blocked(&shift, "hook").await;
    assert!(why.starts_with(&format!(
        "nothing listens at http://127.0.0.1:{port}/prints"
    )));
    assert!(
        !why.contains("to=office"),
        "what may be secret is told: {why}"
    );
    let waiting = shift.sinks()[0].2.counts(501).waiting;
    assert_eq!(waiting, 501);
    // Every third post fails, each in another way.
    let mut count = 0;
    let server = Server::at(port, move |_| {
        count += 1;
        match count % 9 {
            3 => Answer::Status(500),
            6 => Answer::Later(503, 0),
            0 => Answer::Later(429, 0),
            _ => Answer::Status(200),
        }
    })
    .await;
    let taken = until("all of it", || {
        let taken = server.taken();
        (taken.len() >= 20).then_some(taken)
    })
    .await;
    let numbers = records(&taken);
    assert_eq!(numbers, (1..=numbers.len() as u64).collect::<Vec<_>>());
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_refused_for_good_is_set_aside_with_its_reason_and_the_rest_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("hook", "webhook")], 60);
    let server = Server::that(|posted| match posted.json()["pass"].as_u64() {
        Some(13) => Answer::Status(422),
        Some(40) => Answer::Status(413),
        _ => Answer::Status(202),
    })
    .await;
    let shift = start(
        parsed(&text("Lantern Yard", &hook(server.port, ""))),
        folder.path(),
    )
    .await;
    let taken = until("the rest", || {
        let taken = server.taken();
        (taken.len() >= 60).then_some(taken)
    })
    .await;
    // A pass is the record after the batch's.
    let expected: Vec<u64> = (1..=62)
        .filter(|record| ![14, 41].contains(record))
        .collect();
    assert_eq!(records(&taken), expected);
    let reader = shift.readers().reader().unwrap();
    let (counts, aside) = reader.set_aside("hook", 10).unwrap();
    assert_eq!(counts.kept, 2);
    assert_eq!(aside[0].record.unwrap().0, 41);
    assert!(
        aside[1]
            .why
            .contains("refused it for good (422: as the test wants it)")
    );
    assert_eq!(
        server.posted().len(),
        62,
        "what is refused is not tried again"
    );
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_hangs_holds_up_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    fill(
        folder.path(),
        &[("hook", "webhook"), ("other", "webhook")],
        100,
    );
    let mut first = true;
    let hanging = Server::that(move |_| match std::mem::take(&mut first) {
        true => Answer::Never,
        false => Answer::Status(200),
    })
    .await;
    let other = Server::start().await;
    let sinks =
        hook(hanging.port, "") + &hook(other.port, "").replace("id = \"hook\"", "id = \"other\"");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    until("the hanging post", || {
        (!hanging.posted().is_empty()).then_some(())
    })
    .await;
    until("all at the other", || {
        (other.posted().len() >= 102).then_some(())
    })
    .await;
    // The journal takes more meanwhile, and the other server hears of it.
    let calibrated = Calibrated {
        probe: "film".to_owned(),
        points_c: vec![(0.0, 0.1), (100.0, 100.4)],
        uncertainty_c: Some(0.3),
        date: "2026-01-31".to_owned(),
        due: None,
        by: "Mara".to_owned(),
    };
    shift.ask(Command::Calibrate(calibrated)).await.unwrap();
    until("the news", || {
        let posted = other.posted();
        let mut kinds = posted.iter().map(|posted| posted.json()["kind"].clone());
        kinds.any(|kind| kind == "calibrated").then_some(())
    })
    .await;
    assert_eq!(hanging.posted().len(), 1, "one post at a time");
    // It is given up after twenty seconds, and sent again under the same id.
    let begun = Instant::now();
    let posted = until("all of it", || {
        let posted = hanging.posted();
        (posted.len() >= 104).then_some(posted)
    })
    .await;
    assert!(begun.elapsed() < Duration::from_secs(60));
    assert_eq!(records(&posted), all_but_the_shop_file(103, 104));
    assert_eq!(
        posted[0].header("inkdwell-message"),
        posted[1].header("inkdwell-message")
    );
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn messages_go_through_tls_and_only_to_whom_is_trusted() {
    let folder = tempfile::tempdir().unwrap();
    let (own, strange) = (authority(), authority());
    let roots = folder.path().join("roots.pem");
    std::fs::write(&roots, own.pem()).unwrap();
    fill(folder.path(), &[("hook", "webhook"), ("bad", "webhook")], 5);
    let server = Server::start().await;
    let (good, bad) = (
        in_front_of(server.port, &own, &["127.0.0.1"]).await,
        in_front_of(server.port, &strange, &["127.0.0.1"]).await,
    );
    let roots = format!("tls_roots = {roots:?}\n");
    let https = |port| hook(port, &roots).replace("http://", "https://");
    let sinks = https(good) + &https(bad).replace("id = \"hook\"", "id = \"bad\"");
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    until("all of it", || (server.posted().len() >= 7).then_some(())).await;
    let why = blocked(&shift, "bad").await;
    assert!(why.contains("TLS with https://127.0.0.1"), "{why}");
    assert!(why.contains("tls_roots"), "{why}");
    assert_eq!(records(&server.posted()), (1..=7).collect::<Vec<_>>());
    assert_eq!(
        server.posted().len(),
        7,
        "nothing went to whom nobody trusts"
    );
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_somebody_has_to_mend_is_told_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let key = folder.path().join("key");
    fill(
        folder.path(),
        &[
            ("elsewhere", "webhook"),
            ("closed", "webhook"),
            ("keyless", "webhook"),
        ],
        3,
    );
    let elsewhere = Server::that(|_| Answer::Status(301)).await;
    let closed = Server::that(|_| Answer::Status(403)).await;
    let named = |server: &Server, id: &str, more: &str| {
        hook(server.port, more).replace("id = \"hook\"", &format!("id = {id:?}"))
    };
    let sinks = named(&elsewhere, "elsewhere", "")
        + &named(&closed, "closed", "")
        + &named(&closed, "keyless", &format!("secret_file = {key:?}\n"));
    let shift = start(parsed(&text("Lantern Yard", &sinks)), folder.path()).await;
    for (sink, sentence) in [
        ("elsewhere", "sends us elsewhere (301"),
        ("closed", "does not let us in (403"),
        (
            "keyless",
            "cannot be read (entity not found); correct secret_file",
        ),
    ] {
        let why = blocked(&shift, sink).await;
        assert!(why.contains(sentence), "{why}");
        assert!(
            why.ends_with("(tried again every minute; nothing is lost)"),
            "{why}"
        );
    }
    let reader = shift.readers().reader().unwrap();
    for sink in ["elsewhere", "closed", "keyless"] {
        assert_eq!(reader.set_aside(sink, 1).unwrap().0.kept, 0);
    }
    shift.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn another_shop_file_changes_the_way_and_not_the_place() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("hook", "webhook")], 40);
    let (before, after) = (Server::start().await, Server::start().await);
    let shop = |server: &Server| parsed(&text("Lantern Yard", &hook(server.port, "")));
    let shift = start(shop(&before), folder.path()).await;
    until("all of it", || (before.posted().len() >= 42).then_some(())).await;
    shift
        .reload(shop(&after), "another".to_owned())
        .await
        .unwrap();
    let posted = until("the rest", || {
        let posted = after.posted();
        (!posted.is_empty()).then_some(posted)
    })
    .await;
    assert_eq!(posted[0].json()["kind"], "shop-loaded");
    assert_eq!(
        records(&[before.posted(), after.posted()].concat()),
        all_but_the_shop_file(43, 44)
    );
    assert_eq!(before.posted().len(), 42);
    shift.stop().await.unwrap();
}
