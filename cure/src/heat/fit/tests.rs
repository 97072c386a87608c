//! Whatever is declared and read, a fit answers with numbers or says why not.

use proptest::prelude::*;

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, KilogramsPerSquareMetre, Metres, MetresPerSecond, Seconds, Share,
};
use inkdwell_config::station::{Station, StationKind, Zone};

use super::{FitOptions, Ride, Trip, fit};
use crate::judged::Band;
use crate::tuning::proved_window;

fn zone() -> impl Strategy<Value = Zone> {
    let air = proptest::option::of(40.0..260.0);
    let panel = proptest::option::of(150.0..700.0);
    (0.1..2.0, air, panel).prop_map(|(length, air, panel)| Zone {
        length: Metres(length),
        air: air.map(Celsius),
        panel: panel.map(Celsius),
    })
}

fn station() -> impl Strategy<Value = Station> {
    proptest::collection::vec(zone(), 1..=6).prop_map(|zones| Station {
        id: "any".into(),
        name: "any".into(),
        kind: StationKind::BeltDryer,
        heated_length: Metres(zones.iter().map(|zone| zone.length.0).sum()),
        belt: None,
        belt_slowest: None,
        belt_fastest: None,
        print_pitch: None,
        lanes: 1,
        zones,
        max_gap: None,
        wake: None,
    })
}

/// A ride of some shape: rising to a peak and falling, or standing still, with noise, coarse or fine.
fn ride() -> impl Strategy<Value = (f64, Vec<(Seconds, Celsius)>)> {
    let shape = (25.0..400.0, 0.0..1.5_f64, 0.0..8.0_f64, 0.05..4.0);
    (8.0..400.0, shape, any::<u64>()).prop_map(
        |(dwell, (peak, at, noise, every), seed): (f64, _, u64)| {
            let count = ((1.6 * dwell / every) as usize).min(3000);
            let mut state = seed | 1;
            let readings = (0..count).map(|number| {
                // Marsaglia's xorshift.
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                let time = number as f64 * every;
                let along: f64 = time / dwell;
                let rise = (1.0 - (-3.0 * along).exp())
                    * if along > at {
                        (-(along - at)).exp()
                    } else {
                        1.0
                    };
                let off = noise * ((state >> 11) as f64 / (1u64 << 53) as f64 - 0.5);
                (Seconds(time), Celsius(22.0 + (peak - 22.0) * rise + off))
            });
            (dwell, readings.collect())
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, max_shrink_iters: 20, ..ProptestConfig::default() })]

    #[test]
    fn no_station_ink_or_ride_is_too_odd(
        station in station(),
        rides in proptest::collection::vec(ride(), 1..=2),
        (ink, film, water) in (0_usize..64, 5e-6..1e-3, 0.0..0.9),
        (fabric, mass, regain) in (0_usize..64, 0.03..0.9, 0.0..0.25),
        other in 0.3..3.0,
    ) {
        let library = Library::shipped();
        let mut ink = library.inks()[ink % library.inks().len()].clone();
        ink.film = Some(Metres(film));
        ink.water = Some(Share(water));
        let mut fabric = library.fabrics()[fabric % library.fabrics().len()].clone();
        fabric.mass = KilogramsPerSquareMetre(mass);
        fabric.regain = Share(regain);
        let speed = |dwell: f64| MetresPerSecond(station.heated_length.0 / dwell);
        let rides: Vec<Ride> = rides
            .into_iter()
            .map(|(dwell, film)| Ride {
                trip: Trip::Belt(speed(dwell)),
                film,
                cloth: Vec::new(),
                room: None,
                uncertainty: CelsiusDifference(2.5),
            })
            .collect();
        let asked = match rides[0].trip {
            Trip::Belt(belt) => Trip::Belt(MetresPerSecond(belt.0 * other)),
            lamp => lamp,
        };
        let Ok(fit) = fit(&rides, &station, &ink, &fabric, FitOptions::default()) else {
            return Ok(());
        };
        let holds = |band: Band| band.low <= band.best && band.best <= band.high && band.high.is_finite();
        if let Ok(prediction) = fit.predict(asked) {
            prop_assert!(holds(prediction.peak), "{:?}", prediction.peak);
            prop_assert!(holds(prediction.cloth_peak), "{:?}", prediction.cloth_peak);
            prop_assert!(holds(prediction.time_above), "{:?}", prediction.time_above);
            prop_assert!(holds(prediction.cure), "{:?}", prediction.cure);
            for harm in &prediction.harms {
                prop_assert!(holds(harm.dose), "{harm:?}");
            }
        }
        if let Ok(Some(window)) = proved_window(&fit, &station) {
            prop_assert!(window.slow.is_none_or(|slow| slow.belt.0 <= window.fast.belt.0));
        }
    }
}
