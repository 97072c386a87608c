//! A device that talks nonsense beside one that works.

use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::shift;
use rand::{RngExt, SeedableRng, rngs::StdRng};

use crate::common::{
    FASTER, film, happened, health, open, options, ride, shop, stop, until, verdicts,
};
use crate::device::{Device, keys};

/// Noise, lines of other devices, half lines, numbers that cannot be read.
fn nonsense(random: &mut StdRng) -> Vec<u8> {
    match random.random_range(0..5) {
        0 => (0..random.random_range(1..80))
            .map(|_| random.random())
            .collect(),
        1 => b"film\n=160\n".to_vec(),
        2 => b"fil".to_vec(),
        3 => b"\r\n\x00\xff\xfe film : 160 C\n".to_vec(),
        _ => b"ERR 17 watchdog reset, boot v2.1\n".to_vec(),
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nonsense_from_one_device_does_not_reach_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let (good, bad) = (folder.path().join("good"), folder.path().join("bad"));
    let (mut device, mut garbled) = (Device::plug(&good), Device::plug(&bad));
    let shop = shop(&[("good", keys(&good)), ("bad", keys(&bad))]);
    let data = folder.path().join("data");
    let shift = shift::start(options(shop, &data, FASTER)).await.unwrap();
    open(&shift).await;
    let readers = shift.readers().clone();
    device.greet(&health(&shift, "good")).await;
    let mut random = StdRng::seed_from_u64(7);
    let (cured, too_cool) = (ride(172.0), ride(140.0));
    for film in [&cured, &too_cool] {
        for piece in film.chunks(4) {
            garbled.say(&nonsense(&mut random));
            device.ride(piece).await;
        }
    }
    let said = cured.len() + too_cool.len();
    until("all readings", || {
        (film(&readers, "good").len() == said).then_some(())
    })
    .await;
    let counts = health(&shift, "bad").counts();
    assert!(counts.garbled > 50, "{counts:?}");
    let readers = stop(shift).await;

    let expected: Vec<f64> = [cured, too_cool]
        .concat()
        .into_iter()
        .map(|point| point.1)
        .collect();
    let heard: Vec<f64> = film(&readers, "good")
        .into_iter()
        .map(|reading| reading.1)
        .collect();
    assert_eq!(heard, expected);
    assert_eq!(verdicts(&readers), ["cured", "under-cured"]);
    let told = happened(&readers)
        .into_iter()
        .find_map(|(_, what)| match what {
            Occurrence::SourceDown { source, why } if source == "bad" => Some(why),
            _ => None,
        });
    let told = told.expect("that nothing can be understood is told");
    assert!(told.contains("lines that cannot be understood"), "{told}");
}
