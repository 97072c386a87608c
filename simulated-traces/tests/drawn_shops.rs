//! Drawn shops are shops: most have a speed that works, some have none.

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_simulated_traces::channel::Value;
use inkdwell_simulated_traces::shop::draw_shop;

#[test]
fn about_a_quarter_of_the_shops_have_no_safe_speed() {
    let count = 48;
    let mut without = 0;
    for seed in 0..count {
        let shop = draw_shop(seed);
        let Some((slowest, fastest)) = shop.window() else {
            without += 1;
            continue;
        };
        // The window's own ends, by following the print there: good just inside, not good beyond.
        assert!(
            shop.truth_at(MetresPerSecond(fastest.0 * 0.999)).is_good(),
            "{seed}"
        );
        let limit = shop.station.belt_fastest.unwrap();
        if fastest.0 < 0.98 * limit.0 {
            assert!(
                !shop.truth_at(MetresPerSecond(fastest.0 * 1.02)).is_good(),
                "{seed}"
            );
        }
        assert!(slowest.0 < fastest.0 * 1.006, "{seed}");
    }
    assert!(
        (count / 8..=count * 2 / 5).contains(&without),
        "{without} of {count}"
    );
}

#[test]
fn a_ride_and_a_run_are_readings_of_the_same_shop() {
    let shop = draw_shop(4);
    let speed = shop.station.belt.unwrap();
    let ride = shop.ride(speed, 1);
    let hottest = ride
        .live()
        .filter_map(|row| match row.values[0] {
            Value::Number(celsius) => Some(celsius),
            _ => None,
        })
        .fold(0.0, f64::max);
    let records = {
        let mut live = ride.live();
        live.by_ref().for_each(drop);
        live.finish()
    };
    // The probe is of class 1: 1.5 °C, or 0.4 % above 375 °C (IEC 60584-1), with noise and lag besides.
    assert_eq!(records.len(), 1);
    assert!((hottest - records[0].truth.peak_c).abs() < 2.5, "{hottest}");
    let mut live = shop.run_of(speed, 2, 5, Vec::new()).live();
    live.by_ref().for_each(drop);
    assert_eq!(live.finish().len(), 5);
}

#[test]
fn the_scatter_of_garments_slows_the_batch() {
    let shop = (0..20)
        .map(draw_shop)
        .find(|shop| shop.fastest_safe_for(6).is_some())
        .unwrap();
    let (nominal, batch) = (
        shop.fastest_safe().unwrap(),
        shop.fastest_safe_for(6).unwrap(),
    );
    assert!(
        batch.0 <= nominal.0 * 1.06 && batch.0 > 0.5 * nominal.0,
        "{batch:?} {nominal:?}"
    );
    assert_eq!(shop.good_share(MetresPerSecond(batch.0 * 0.995), 6), 1.0);
}
