//! A serial adapter that is pulled out in the middle of a print, and comes back as another device.

use std::time::Duration;

use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::shift;
use tokio::time::sleep;

use crate::common::{
    FASTER, film, happened, health, judged, open, options, passes, ride, shop, stop, until,
};
use crate::device::{Device, keys};

/// One print before, one during which the adapter is out while the film is at its hottest, one after.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_adapter_that_is_pulled_out_and_put_back_costs_one_print() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("adapter");
    let mut device = Device::plug(&name);
    let shop = shop(&[("line", keys(&name))]);
    let data = folder.path().join("data");
    let shift = shift::start(options(shop, &data, FASTER)).await.unwrap();
    open(&shift).await;
    let readers = shift.readers().clone();
    let heard = |count: usize| {
        let readers = readers.clone();
        move || film(&readers, "line").len() == count
    };
    let whole = ride(172.0);
    device.greet(&health(&shift, "line")).await;
    device.ride(&whole).await;
    // Up to 161 °C, then nothing, then down from there: within U it has not been at 160 °C at all, but for
    // what happened in between, which nobody knows.
    let hot = |(_, celsius): &(f64, f64)| *celsius > 161.2;
    let up = whole.iter().position(hot).unwrap();
    let down = whole.iter().rposition(hot).unwrap() + 1;
    device.ride(&whole[..up]).await;
    device.pull(&name, heard(whole.len() + up)).await;
    until("the loss", || {
        let mut all = happened(&readers).into_iter();
        all.find(|(_, what)| matches!(what, Occurrence::SourceDown { .. }))
    })
    .await;
    // Twice as long as samples may be apart.
    sleep(Duration::from_secs_f64(80.0 / FASTER)).await;
    let mut device = Device::plug(&name);
    device.greet(&health(&shift, "line")).await;
    device.ride(&whole[down..]).await;
    device.ride(&whole).await;
    let said = 2 * whole.len() + up + (whole.len() - down);
    until("all readings", || heard(said)().then_some(())).await;
    let readers = stop(shift).await;

    let heard: Vec<f64> = film(&readers, "line")
        .into_iter()
        .map(|reading| reading.1)
        .collect();
    let parts = [&whole[..], &whole[..up], &whole[down..], &whole[..]];
    let expected: Vec<f64> = parts.concat().into_iter().map(|point| point.1).collect();
    assert_eq!(heard, expected);
    let passes = passes(&readers);
    assert_eq!(passes.len(), 3, "{passes:#?}");
    for whole in [&passes[0], &passes[2]] {
        let judged = judged(whole);
        assert_eq!(
            (judged.verdict.as_str(), judged.gaps),
            ("cured", 0),
            "{judged:?}"
        );
    }
    let torn = judged(&passes[1]);
    assert_eq!(
        (torn.verdict.as_str(), torn.gaps),
        ("unproven", 1),
        "{torn:?}"
    );
    let ups = happened(&readers).into_iter();
    let ups = ups.filter(|(_, what)| matches!(what, Occurrence::SourceUp { .. }));
    assert_eq!(ups.count(), 2);
}
