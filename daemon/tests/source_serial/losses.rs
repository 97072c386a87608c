//! Adapters that are pulled out and come back.

use std::sync::atomic::Ordering;
use std::time::Duration;

use inkdwell_config::shop::Port;
use tokio::io::AsyncWriteExt;

use crate::imagined::machine;
use crate::running::{Running, pairs, settings};
use crate::terminal::{Counted, Device};

fn usb() -> Port {
    Port::Usb {
        vendor: 0x0403,
        product: 0x6001,
        serial: None,
    }
}

/// Pulled out three times, each time it comes back under another path. Nothing spins meanwhile: what is
/// asked of the system stays within a few times for each loss.
#[tokio::test]
async fn an_adapter_that_comes_back_under_another_path_is_found_by_its_identity() {
    let ports = Counted::new();
    let mut device = Device::new();
    ports.plug(Some(&device));
    let mut running = Running::start(ports.clone(), settings(usb(), pairs()), 64);
    for round in 1..=3_u64 {
        ports.listening(round).await;
        device.begin();
        device.say(format!("film=16{round}\n").as_bytes());
        running.up().await;
        assert_eq!(running.readings().await, format!("film 16{round}"));
        let next = Device::new();
        let before = device.path.clone();
        drop(device);
        ports.plug(None);
        let why = running.down().await;
        assert!(why.contains("the USB adapter 0403:6001 is lost ("), "{why}");
        assert_ne!(next.path, before);
        device = next;
        ports.plug(Some(&device));
    }
    ports.listening(4).await;
    assert_eq!(running.health.counts().losses, 3);
    assert!(ports.polls() < 60, "{}", ports.polls());
    let opens = ports.opens.load(Ordering::Relaxed);
    assert!((4..20).contains(&opens), "{opens}");
    let finds = ports.finds.load(Ordering::Relaxed);
    assert!(finds < 60, "{finds}");
    running.end().await;
}

/// Nothing at all is read from an adapter whose driver keeps still. It is missed within four seconds, and
/// heard again within two once it is back, by whatever number.
#[tokio::test(start_paused = true)]
async fn an_adapter_that_goes_without_a_word_is_missed_within_seconds() {
    let (machine, mut opened) = machine();
    let mut running = Running::start(machine.clone(), settings(usb(), pairs()), 64);
    let mut far = opened.recv().await.unwrap();
    far.write_all(b"\nfilm=160\n").await.unwrap();
    running.up().await;
    machine.plug(None);
    let pulled = tokio::time::Instant::now();
    let why = running.down().await;
    assert!(why.contains("the adapter is not plugged in"), "{why}");
    assert!(
        pulled.elapsed() <= Duration::from_secs(4),
        "{:?}",
        pulled.elapsed()
    );

    tokio::time::sleep(Duration::from_secs(7200)).await;
    let finds = machine.finds.load(Ordering::Relaxed);
    // Once a second, and once at each try, at the most.
    assert!(finds <= 2 * 7200, "{finds}");
    assert_eq!(machine.opens(), 1);
    machine.plug(Some(2));
    let back = tokio::time::Instant::now();
    let mut far = opened.recv().await.unwrap();
    assert!(
        back.elapsed() <= Duration::from_secs(2),
        "{:?}",
        back.elapsed()
    );
    far.write_all(b"\nfilm=161\n").await.unwrap();
    running.up().await;
    assert_eq!(running.readings().await, "film 161");

    // Another device node in its place is another adapter.
    machine.plug(Some(3));
    let why = running.down().await;
    assert!(why.contains("another device stands in its place"), "{why}");
    let mut far = opened.recv().await.unwrap();
    far.write_all(b"\nfilm=162\n").await.unwrap();
    assert_eq!(running.readings().await, "film 162");
    running.end().await;
}

/// A port that opens and hangs up at once is tried with waits that grow to 15 s, a quarter more or less:
/// in an hour at least 3600 / 18.75 and at most 3600 / 11.25 times, and some more in the beginning.
#[tokio::test(start_paused = true)]
async fn a_port_that_hangs_up_at_once_is_not_opened_without_end() {
    let (machine, opened) = machine();
    drop(opened);
    let mut running = Running::start(machine.clone(), settings(usb(), pairs()), 64);
    assert!(running.down().await.contains("it hung up"));
    tokio::time::sleep(Duration::from_secs(3600)).await;
    assert!(
        (192..=330).contains(&machine.opens()),
        "{}",
        machine.opens()
    );
    // The same trouble is told once.
    assert_eq!(running.health.counts().losses, 1);
    running.end().await;
}
