//! Lines that fall silent though the port is there.

use std::time::Duration;

use inkdwell_config::shop::Port;
use tokio::io::{AsyncWriteExt, DuplexStream};
use tokio::time::{Instant, sleep};

use crate::imagined::machine;
use crate::running::{Running, pairs, settings};

fn port() -> Port {
    Port::Path("/dev/imagined".into())
}

async fn say(far: &mut DuplexStream, times: u32, every: Duration) {
    for _ in 0..times {
        sleep(every).await;
        far.write_all(b"film=160\n").await.unwrap();
    }
}

#[tokio::test(start_paused = true)]
async fn a_line_that_falls_out_of_its_rhythm_is_told_and_opened_anew_more_and_more_rarely() {
    let (machine, mut opened) = machine();
    let mut running = Running::start(machine.clone(), settings(port(), pairs()), 64);
    let mut far = opened.recv().await.unwrap();
    say(&mut far, 10, Duration::from_secs(1)).await;
    running.up().await;
    let silent = Instant::now();
    let why = running.down().await;
    assert!(
        why.contains("nothing comes from the serial port /dev/imagined any more"),
        "{why}"
    );
    assert!(
        silent.elapsed() <= Duration::from_secs(13),
        "{:?}",
        silent.elapsed()
    );
    // The old end is let go of before the port is opened again.
    let mut again = opened.recv().await.unwrap();
    assert!(far.write_all(b"film=160\n").await.is_err());
    sleep(Duration::from_secs(3600)).await;
    assert!((5..=15).contains(&machine.opens()), "{}", machine.opens());
    assert_eq!(running.health.counts().losses, 1);
    while let Ok(newer) = opened.try_recv() {
        again = newer;
    }
    say(&mut again, 1, Duration::from_secs(1)).await;
    running.up().await;
    running.end().await;
}

/// A line that speaks once in two minutes is not disturbed.
#[tokio::test(start_paused = true)]
async fn a_slow_line_is_let_be() {
    let (machine, mut opened) = machine();
    let mut running = Running::start(machine.clone(), settings(port(), pairs()), 64);
    let mut far = opened.recv().await.unwrap();
    let why = running.down().await;
    assert!(
        why.contains("/dev/imagined is open, but nothing comes"),
        "{why}"
    );
    say(&mut far, 20, Duration::from_secs(120)).await;
    running.up().await;
    running.counts(|counts| counts.messages == 20).await;
    assert_eq!(machine.opens(), 1);
    running.end().await;
}
