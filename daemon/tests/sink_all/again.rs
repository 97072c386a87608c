//! What was set aside is sent again once somebody asks for it: once, in its order, whatever happens meanwhile.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use inkdwell_config::shop::Shop;
use inkdwell_daemon::api::{self, Serving};
use inkdwell_daemon::shift::Shift;
use tokio_util::sync::CancellationToken;

use crate::figures::{get, post};
use crate::server::{Answer, Posted, Server};
use crate::shop::{fill, parsed, start, text, until, way};

fn hook(port: u16) -> String {
    format!(
        "[[sink]]\nid = \"hook\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{port}\"\n\
         send = [\"verdicts\"]\n"
    )
}

fn passes(posted: &[Posted]) -> Vec<u64> {
    let passes = posted.iter().map(|posted| posted.json()["pass"].as_u64());
    passes.map(Option::unwrap).collect()
}

/// A shift that can be asked.
struct Asked {
    shift: Arc<Shift>,
    serving: Serving,
    leave: CancellationToken,
    token: String,
}

impl Asked {
    async fn start(shop: Shop, folder: &Path) -> Asked {
        let board = shop.board.clone();
        let shift = Arc::new(start(shop, folder).await);
        let leave = CancellationToken::new();
        let serving = api::serve(Arc::clone(&shift), &board, folder, leave.clone());
        let serving = serving.await.unwrap();
        let token = std::fs::read_to_string(folder.join("api.token")).unwrap();
        Asked {
            shift,
            serving,
            leave,
            token: token.trim().to_owned(),
        }
    }

    fn aside(&self, sink: &str) -> (u64, Vec<(Option<u64>, bool, String)>) {
        let reader = self.shift.readers().reader().unwrap();
        let (counts, aside) = reader.set_aside(sink, 100).unwrap();
        let each = aside.into_iter().map(|own| {
            let record = own.record.map(|record| record.0);
            (record, own.again, own.why)
        });
        (counts.kept, each.collect())
    }

    async fn retry(&self, sink: &str) -> (u16, serde_json::Value) {
        let path = format!("/api/sinks/{sink}/retry");
        let port = self.serving.address.port();
        let (head, body) = post(port, &path, &self.token, r#"{"by": "Mara"}"#).await;
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        (status, serde_json::from_str(&body).unwrap())
    }

    async fn stop(self) {
        self.leave.cancel();
        self.serving.ended().await;
        Arc::into_inner(self.shift).unwrap().stop().await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_set_aside_comes_once_and_what_is_refused_once_more_stays_with_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("hook", "webhook")], 12);
    // Three prints are refused until it is mended; one of them for ever.
    let mended = Arc::new(AtomicBool::new(false));
    let is_mended = Arc::clone(&mended);
    let server = Server::that(move |posted| match posted.json()["pass"].as_u64() {
        Some(7) => Answer::Status(422),
        Some(3 | 5) if !is_mended.load(Ordering::Relaxed) => Answer::Status(400),
        _ => Answer::Status(200),
    })
    .await;
    let shop = parsed(&text("Lantern Yard", &hook(server.port)));
    let asked = Asked::start(shop, folder.path()).await;
    until("what can be taken", || {
        (server.taken().len() == 9 && asked.aside("hook").0 == 3).then_some(())
    })
    .await;
    let refused: Vec<_> = server.posted().iter().map(Posted::json).collect();
    mended.store(true, Ordering::Relaxed);
    let (status, told) = asked.retry("hook").await;
    assert_eq!((status, &told["sink"]), (200, &"hook".into()));
    until("the two that can be taken now", || {
        (server.taken().len() == 11).then_some(())
    })
    .await;
    until("the one that cannot, refused once more", || {
        let (count, aside) = asked.aside("hook");
        // The two are gone, and the third waits for nothing any more.
        (count == 1 && !aside[0].1).then_some(())
    })
    .await;
    let (_, aside) = asked.aside("hook");
    assert_eq!(aside[0].0, Some(8));
    assert!(aside[0].2.contains("(422"), "{}", aside[0].2);
    let all = passes(&server.posted());
    assert_eq!(all[..12], (1..=12).collect::<Vec<_>>()[..]);
    assert_eq!(
        all[12..],
        [3, 5, 7],
        "in the order in which they were refused"
    );
    // The same messages, known by the same identities.
    for (number, again) in (12..).zip(["3", "5", "7"]) {
        let pass: usize = again.parse().unwrap();
        assert_eq!(server.posted()[number].json(), refused[pass - 1]);
    }
    // Nobody asks for it: it is not sent again.
    let (_, body) = get(asked.serving.address.port(), "/api/sinks").await;
    let told: serde_json::Value = serde_json::from_str(&body).unwrap();
    assert_eq!(told["sinks"][0]["set_aside"], 1);
    assert_eq!(told["sinks"][0]["sent"], 11);
    assert!(told["sinks"][0]["last_taken"]["at"].is_string(), "{told}");
    asked.stop().await;
    assert_eq!(server.posted().len(), 15);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_wish_to_send_again_outlives_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    fill(folder.path(), &[("hook", "webhook")], 6);
    // First it refuses two, then it is not well at all, then it takes everything.
    let (ill, mended) = (
        Arc::new(AtomicBool::new(false)),
        Arc::new(AtomicBool::new(false)),
    );
    let (is_ill, is_mended) = (Arc::clone(&ill), Arc::clone(&mended));
    let server = Server::that(move |posted| {
        let is_mended = is_mended.load(Ordering::Relaxed);
        match posted.json()["pass"].as_u64() {
            _ if is_ill.load(Ordering::Relaxed) && !is_mended => Answer::Status(503),
            Some(2 | 4) if !is_mended => Answer::Status(400),
            _ => Answer::Status(200),
        }
    })
    .await;
    let shop = parsed(&text("Lantern Yard", &hook(server.port)));
    let asked = Asked::start(shop.clone(), folder.path()).await;
    until("what can be taken", || {
        (server.taken().len() == 4 && asked.aside("hook").0 == 2).then_some(())
    })
    .await;
    ill.store(true, Ordering::Relaxed);
    assert_eq!(asked.retry("hook").await.0, 200);
    until("an attempt", || match way(&asked.shift, "hook") {
        inkdwell_daemon::sink::Way::Blocked(why) => Some(why),
        _ => None,
    })
    .await;
    let (count, aside) = asked.aside("hook");
    assert_eq!(count, 2, "nothing is settled by an attempt that failed");
    assert!(aside.iter().all(|own| own.1), "{aside:?}");
    asked.stop().await;
    mended.store(true, Ordering::Relaxed);
    let asked = Asked::start(shop, folder.path()).await;
    until("both", || (asked.aside("hook").0 == 0).then_some(())).await;
    let taken = passes(&server.taken());
    assert_eq!(taken, [1, 3, 5, 6, 2, 4]);
    // There is nothing more, and it is said so.
    let (status, told) = asked.retry("hook").await;
    assert_eq!(status, 409);
    assert_eq!(
        told["error"],
        "hook has set nothing aside; there is nothing to be sent again"
    );
    let (status, told) = asked.retry("bell").await;
    assert_eq!(status, 404);
    assert_eq!(
        told["error"],
        "the shop file declares no way out \"bell\"; known are hook"
    );
    asked.stop().await;
    assert_eq!(passes(&server.taken()), [1, 3, 5, 6, 2, 4]);
}
