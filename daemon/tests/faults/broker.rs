//! A broker that is gone for minutes, while devices go on measuring and keep what they cannot send.

use std::time::Duration;

use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::shift;
use inkdwell_daemon::source::health::Line;
use inkdwell_daemon::time::Micros;
use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use tokio::sync::watch;

use crate::common::{
    film, happened, health, judged, open, options, passes, ride, shop, stop, until,
};
use crate::mosquitto::Mosquitto;

/// The first reading's time, in seconds since 1970: long ago, as if all had been kept back.
const BEGAN: f64 = 1_750_000_000.0;

/// A device that keeps what the broker has not taken: it may measure up to `allowed`, and says how much the broker
/// has acknowledged.
async fn device(
    port: u16,
    readings: Vec<(f64, f64)>,
    mut allowed: watch::Receiver<usize>,
    taken: watch::Sender<usize>,
) {
    let mut options = MqttOptions::new("film-device", "127.0.0.1", port);
    options.set_clean_session(false);
    options.set_inflight(20);
    options.set_keep_alive(Duration::from_secs(5));
    let (client, mut events) = AsyncClient::new(options, readings.len() + 1);
    let count = readings.len();
    let measuring = tokio::spawn(async move {
        for (number, (time, celsius)) in readings.into_iter().enumerate() {
            allowed.wait_for(|allowed| number < *allowed).await.unwrap();
            let payload = format!("{{\"v\":{celsius},\"t\":{},\"n\":{number}}}", BEGAN + time);
            client
                .publish("dryer/film", QoS::AtLeastOnce, false, payload)
                .await
                .unwrap();
        }
        client
    });
    while *taken.borrow() < count {
        match events.poll().await {
            Ok(Event::Incoming(Packet::PubAck(_))) => taken.send_modify(|taken| *taken += 1),
            Ok(_) => {}
            // Gone: it is tried again soon.
            Err(_) => tokio::time::sleep(Duration::from_millis(100)).await,
        }
    }
    drop(measuring.await.unwrap());
}

/// Four rides of two minutes each. The broker goes in the middle of the second and comes back when the device
/// is in the middle of the fourth: four minutes of readings lie in the device then.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_is_gone_for_minutes_costs_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let Some(mut broker) = Mosquitto::start("persistence true") else {
        return;
    };
    let port = broker.port;
    let keys = format!(
        "kind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\n[[source.topic]]\nfilter = \"dryer/+\"\n\
         channel = \"{{1}}\"\nvalue = \"/v\"\ntime = \"/t\"\nsequence = \"/n\""
    );
    let shop = shop(&[("broker", keys)]);
    let data = folder.path().join("data");
    let shift = shift::start(options(shop, &data, 1.0)).await.unwrap();
    open(&shift).await;
    let readers = shift.readers().clone();
    let line = health(&shift, "broker");
    until("the broker", || (line.line() == Line::Up).then_some(())).await;

    let peaks = [172.0, 165.0, 140.0, 180.0];
    let readings: Vec<(f64, f64)> = (0..)
        .zip(peaks)
        .flat_map(|(number, peak)| {
            let from = 120.0 * f64::from(number);
            ride(peak)
                .into_iter()
                .map(move |(time, celsius)| (from + time, celsius))
        })
        .collect();
    let (allow, allowed) = watch::channel(360);
    let (taken, mut acknowledged) = watch::channel(0);
    let publishing = tokio::spawn(device(port, readings.clone(), allowed, taken));
    acknowledged.wait_for(|taken| *taken >= 300).await.unwrap();
    broker.end();
    allow.send_replace(840);
    until("the loss", || {
        matches!(line.line(), Line::Down(_)).then_some(())
    })
    .await;
    broker.run();
    until("the broker again", || {
        (line.line() == Line::Up).then_some(())
    })
    .await;
    allow.send_replace(readings.len());
    publishing.await.unwrap();
    until("all readings", || {
        (film(&readers, "broker").len() == readings.len()).then_some(())
    })
    .await;
    let readers = stop(shift).await;

    let expected: Vec<(Micros, f64)> = readings
        .iter()
        .map(|(time, celsius)| (Micros(0).plus_seconds(BEGAN + time), *celsius))
        .collect();
    assert_eq!(film(&readers, "broker"), expected);
    let passes = passes(&readers);
    let told: Vec<_> = passes
        .iter()
        .map(|pass| {
            (
                judged(pass).verdict.as_str(),
                judged(pass).gaps,
                judged(pass).cut,
            )
        })
        .collect();
    let cured = ("cured", 0, false);
    assert_eq!(told, [cured, cured, ("under-cured", 0, false), cured]);
    let downs = happened(&readers).into_iter();
    let downs = downs.filter(|(_, what)| matches!(what, Occurrence::SourceDown { .. }));
    assert!(downs.count() >= 1);
}
