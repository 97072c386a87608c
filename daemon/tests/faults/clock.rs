//! The wall clock is set while prints are in the heat.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Instant;

use inkdwell_daemon::record::Occurrence;
use inkdwell_daemon::shift;
use inkdwell_daemon::time::Micros;
use inkdwell_daemon::wall::WallTimes;

use crate::common::{
    FASTER, film, happened, health, judged, open, options, passes, ride, shop, stop, until,
};
use crate::device::{Device, keys};

const HOUR: i64 = 3_600_000_000;
const DAY: i64 = 24 * HOUR;
/// 2026-03-02 12:00:00 UTC.
const NOON: i64 = 1_772_452_800_000_000;
/// By how much somebody has set the clock, in microseconds.
static SET: AtomicI64 = AtomicI64::new(0);

/// The clock on the wall of the shop.
fn wall() -> Micros {
    static BEGUN: OnceLock<Instant> = OnceLock::new();
    let gone = BEGUN.get_or_init(Instant::now).elapsed().as_secs_f64() * FASTER;
    Micros(NOON + SET.load(Ordering::Relaxed)).plus_seconds(gone)
}

/// Set back an hour in the middle of one print, and forward a day in the middle of the next.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_clock_that_is_set_moves_no_reading_and_no_pass() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("adapter");
    let mut device = Device::plug(&name);
    let shop = shop(&[("line", keys(&name))]);
    let data = folder.path().join("data");
    let options = options(shop, &data, FASTER);
    let shift = shift::start_by(options, wall).await.unwrap();
    open(&shift).await;
    let readers = shift.readers().clone();
    let steps = || {
        let happened = happened(&readers).into_iter();
        let steps = happened.filter_map(|(_, what)| match what {
            Occurrence::ClockStepped { ahead_us } => Some(ahead_us),
            _ => None,
        });
        steps.collect::<Vec<i64>>()
    };
    device.greet(&health(&shift, "line")).await;
    let (cured, too_cool) = (ride(172.0), ride(140.0));
    for (number, (film, set)) in [(&cured, -HOUR), (&too_cool, DAY - HOUR)]
        .iter()
        .enumerate()
    {
        let (before, after) = film.split_at(film.len() / 2);
        device.ride(before).await;
        SET.store(*set, Ordering::Relaxed);
        device.ride(after).await;
        until("the step", || (steps().len() > number).then_some(())).await;
    }
    let said = cured.len() + too_cool.len();
    until("all readings", || {
        (film(&readers, "line").len() == said).then_some(())
    })
    .await;
    let readers = stop(shift).await;

    let steps = steps();
    assert_eq!(steps.len(), 2);
    for (step, set) in steps.iter().zip([-HOUR, DAY - HOUR]) {
        assert!((step - set).abs() < 2_000_000, "{step}");
    }
    let heard = film(&readers, "line");
    let values: Vec<f64> = heard.iter().map(|reading| reading.1).collect();
    let expected: Vec<f64> = [cured, too_cool]
        .concat()
        .into_iter()
        .map(|point| point.1)
        .collect();
    assert_eq!(values, expected);
    // Their times rise, and go on as the machine's monotonic clock does: two rides of two minutes, and some.
    assert!(heard.windows(2).all(|pair| pair[0].0 < pair[1].0));
    let lasted = heard[said - 1].0.seconds_since(heard[0].0);
    assert!((230.0..1200.0).contains(&lasted), "{lasted}");

    let passes = passes(&readers);
    let told: Vec<_> = passes
        .iter()
        .map(|pass| (judged(pass).verdict.as_str(), judged(pass).gaps))
        .collect();
    assert_eq!(told, [("cured", 0), ("under-cured", 0)]);
    for pass in &passes {
        // From 45 °C up and down again: 5 s and 102 s after the beginning.
        let lasted = pass.end.seconds_since(pass.start);
        assert!((90.0..400.0).contains(&lasted), "{lasted}");
    }
    // People are shown what their clock showed: the second print ended on the next day.
    let times = WallTimes::of(&readers.reader().unwrap()).unwrap();
    let shown = times.written(passes[1].end, chrono::Utc);
    assert!(shown.starts_with("2026-03-03T11:"), "{shown}");
}
