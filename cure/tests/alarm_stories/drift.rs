//! Prints that drift toward a limit, told before one is lost and with a forecast that can be believed; and prints
//! that scatter, settle elsewhere or drift where no limit is near, of which nothing is told.

use crate::alarm_day::{BEGAN, Day};
use crate::common::{day, does_not, ride_out};
use inkdwell_cure::alarm::{Cause, Change, Kind};

/// Rides of an ink, one every 230 s, each up to its own peak and in the heat for 190 s.
fn rides(ink: &str, count: u32, peak: impl Fn(f64) -> f64) -> Day {
    let mut day = day();
    day.open("belt-1", 1.0, ink, "cotton-jersey");
    for number in 0..count {
        let n = f64::from(number);
        ride_out(&mut day, 10.0 + n * 230.0, peak(n), 190.0);
    }
    day
}

/// What garments and air do to peaks, in °C: no two alike, and going nowhere.
fn scatter(n: f64) -> f64 {
    1.5 * (n * 2.4).sin()
}

/// Low-cure water-based ink at 133 °C, which needs 122 °C for so long a stay (by its law, from the shipped library),
/// each print a little cooler than the one before; against prints that scatter as much without going anywhere.
#[test]
fn prints_that_drift_toward_a_limit() {
    let story = |drift: f64| {
        rides("water-based-low-cure", 24, |n| {
            133.0 - drift * (n - 6.0).max(0.0) + scatter(n)
        })
    };
    let drifting = story(0.6);
    let raised = drifting.raised(Kind::DriftTowardLimit);
    assert!(!raised.is_empty(), "{:?}", drifting.all_raised());
    let under = drifting.raised(Kind::PrintUnderCured);
    println!(
        "drift-toward-limit at {:?}, under-cured at {under:?}",
        raised
    );
    // That is what it is for: it comes while there is still time.
    assert!(under.first().is_none_or(|under| *under > raised[0] + 230.0));
    does_not(&story(0.0), Kind::DriftTowardLimit);
}

/// An ink that is cured by a hold of 160 °C: its dose falls off a cliff, so that its peak is what is followed. By
/// what the story is made of, the peak gets to 161 °C (the hold and the probe's doubt of 1 °C) with print 38.
#[test]
fn a_drift_s_forecast_says_when_it_gets_there() {
    let (from, each) = (6.0, 0.5);
    let day = rides("plastisol-standard", 60, |n| {
        177.0 - each * (n - from).max(0.0) + 0.4 * scatter(n)
    });
    let told = day
        .told
        .iter()
        .find(|event| event.id.kind == Kind::DriftTowardLimit && event.change == Change::Raised);
    let told = told.expect("it is told");
    let Some(Cause::PeakDrift {
        prints,
        after,
        limit,
        ..
    }) = told.cause
    else {
        panic!("{:?}", told.cause);
    };
    assert!((limit.0 - 161.0).abs() < 0.2, "{limit:?}");
    // It is told after the ride of this number is over.
    let seconds = told.at.seconds_since(BEGAN);
    let number = ((seconds - 10.0) / 230.0).floor();
    let truly = from + (177.0 - 161.0) / each - number;
    println!("told after print {number}: {prints:.1} prints to go, truly {truly}");
    assert!(truly >= 8.0, "in time: {truly}");
    assert!(
        (prints - truly).abs() <= 0.35 * truly,
        "{prints} of {truly}"
    );
    assert!((after.0 / prints - 230.0).abs() < 15.0, "{after:?}");
    let lost = [Kind::PrintUnderCured, Kind::PrintsUnproven].map(|kind| day.raised(kind));
    let lost = lost.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    assert!(seconds + 8.0 * 230.0 < lost && lost.is_finite(), "{lost}");
}

/// Somebody sets the belt a little faster: prints are cooler from then on, and stay so, well above the limit.
#[test]
fn a_step_that_stays_is_no_drift() {
    for step in [2.0, 4.0, 6.0] {
        let day = rides("plastisol-standard", 60, |n| {
            180.0 - if n < 20.0 { 0.0 } else { step } + scatter(n)
        });
        println!("a step of {step} °C: {:?}", day.all_raised());
        does_not(&day, Kind::DriftTowardLimit);
    }
}

/// A chamber that is still warming up a little: prints grow hotter, away from the limit of cure and far below what the
/// cloth can take.
#[test]
fn a_drift_with_no_limit_near_is_none() {
    let day = rides("plastisol-standard", 40, |n| {
        166.0 + 4.0 * (1.0 - (-n / 10.0).exp()) + 0.4 * scatter(n)
    });
    does_not(&day, Kind::DriftTowardLimit);
}
