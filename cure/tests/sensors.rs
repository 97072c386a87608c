//! Sensors against published tables and standards.

mod common;

use common::assert_close;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_cure::sensor::ThermocoupleType::{B, E, J, K, N, R, S, T};
use inkdwell_cure::sensor::ToleranceClass::{One, Three, Two};
use inkdwell_cure::sensor::infrared::USUAL_BAND;
use inkdwell_cure::sensor::tolerance::{expanded_uncertainty, tolerance};
use inkdwell_cure::sensor::{Infrared, Thermocouple, ThermocoupleType, Uncertainty};
use proptest::prelude::*;

/// NIST Monograph 175 (1993), tables of thermoelectric voltage in mV against a junction at 0 °C, as
/// printed to the microvolt; the same as the tables of IEC 60584-1.
const TABLES: [(ThermocoupleType, &[(f64, f64)]); 8] = [
    (
        K,
        &[
            (-200.0, -5.891),
            (-100.0, -3.554),
            (-50.0, -1.889),
            (-40.0, -1.527),
            (0.0, 0.0),
            (25.0, 1.000),
            (50.0, 2.023),
            (100.0, 4.096),
            (150.0, 6.138),
            (200.0, 8.138),
            (250.0, 10.153),
            (300.0, 12.209),
            (400.0, 16.397),
            (500.0, 20.644),
            (600.0, 24.905),
            (1000.0, 41.276),
            (1200.0, 48.838),
        ],
    ),
    (
        J,
        &[
            (-200.0, -7.890),
            (-100.0, -4.633),
            (-50.0, -2.431),
            (-40.0, -1.961),
            (0.0, 0.0),
            (25.0, 1.277),
            (50.0, 2.585),
            (100.0, 5.269),
            (150.0, 8.010),
            (200.0, 10.779),
            (300.0, 16.327),
            (400.0, 21.848),
            (500.0, 27.393),
            (600.0, 33.102),
            (1000.0, 57.953),
        ],
    ),
    (
        T,
        &[
            (-200.0, -5.603),
            (-100.0, -3.379),
            (-50.0, -1.819),
            (-40.0, -1.475),
            (0.0, 0.0),
            (25.0, 0.992),
            (50.0, 2.036),
            (100.0, 4.279),
            (150.0, 6.704),
            (200.0, 9.288),
            (250.0, 12.013),
            (300.0, 14.862),
            (400.0, 20.872),
        ],
    ),
    (
        N,
        &[
            (-200.0, -3.990),
            (-100.0, -2.407),
            (-50.0, -1.269),
            (0.0, 0.0),
            (25.0, 0.659),
            (50.0, 1.340),
            (100.0, 2.774),
            (150.0, 4.302),
            (200.0, 5.913),
            (300.0, 9.341),
            (400.0, 12.974),
            (500.0, 16.748),
            (600.0, 20.613),
            (1000.0, 36.256),
        ],
    ),
    (
        E,
        &[
            (-200.0, -8.825),
            (-100.0, -5.237),
            (-50.0, -2.787),
            (0.0, 0.0),
            (25.0, 1.495),
            (50.0, 3.048),
            (100.0, 6.319),
            (150.0, 9.789),
            (200.0, 13.421),
            (300.0, 21.036),
            (400.0, 28.946),
            (500.0, 37.005),
            (600.0, 45.093),
            (1000.0, 76.373),
        ],
    ),
    (
        R,
        &[
            (-50.0, -0.226),
            (0.0, 0.0),
            (25.0, 0.141),
            (50.0, 0.296),
            (100.0, 0.647),
            (150.0, 1.041),
            (200.0, 1.469),
            (300.0, 2.401),
            (400.0, 3.408),
            (500.0, 4.471),
            (600.0, 5.583),
            (1000.0, 10.506),
        ],
    ),
    (
        S,
        &[
            (-50.0, -0.236),
            (0.0, 0.0),
            (25.0, 0.143),
            (50.0, 0.299),
            (100.0, 0.646),
            (150.0, 1.029),
            (200.0, 1.441),
            (300.0, 2.323),
            (400.0, 3.259),
            (500.0, 4.233),
            (600.0, 5.239),
            (1000.0, 9.587),
        ],
    ),
    (
        B,
        &[
            (0.0, 0.0),
            (25.0, -0.002),
            (50.0, 0.002),
            (100.0, 0.033),
            (150.0, 0.092),
            (200.0, 0.178),
            (250.0, 0.291),
            (300.0, 0.431),
            (400.0, 0.787),
            (500.0, 1.242),
            (600.0, 1.792),
            (1000.0, 4.834),
        ],
    ),
];

#[test]
fn voltages_are_those_of_the_published_tables() {
    for (kind, table) in TABLES {
        for &(celsius, millivolts) in table {
            let ours = kind.millivolts(Celsius(celsius)).unwrap();
            // The printed value is rounded to a microvolt.
            assert!(
                (ours - millivolts).abs() <= 0.000_51,
                "{kind:?} {celsius}: {ours}"
            );
        }
    }
}

#[test]
fn temperatures_are_those_of_the_published_tables() {
    for (kind, table) in TABLES {
        let thermocouple = Thermocouple::new(kind);
        // The printed ends of a range are rounded and may lie just outside it.
        let (coolest, hottest) = kind.inverse_range();
        for &(celsius, millivolts) in table
            .iter()
            .filter(|entry| entry.0 > coolest.0 && entry.0 < hottest.0)
        {
            let ours = thermocouple.temperature(millivolts).unwrap().0;
            let around = |c: f64| kind.millivolts(Celsius(c)).unwrap();
            let sensitivity = (around(celsius) - around(celsius - 1.0)).abs();
            // What half a microvolt is worth, and 0.005 °C of our own.
            let tolerance = 0.000_5 / sensitivity + 0.005;
            assert!(
                (ours - celsius).abs() <= tolerance,
                "{kind:?} {celsius}: {ours}"
            );
        }
    }
}

#[test]
fn the_reference_junction_is_compensated() {
    // NIST Monograph 175, type K: 8.138 mV at 200 °C, 1.000 mV at 25 °C.
    let thermocouple = Thermocouple::new(K);
    let hot = thermocouple
        .compensated(8.138 - 1.000, Celsius(25.0))
        .unwrap();
    assert_close(hot.0, 200.0, 0.03);
}

#[test]
fn voltages_beyond_the_function_are_refused() {
    for kind in ThermocoupleType::ALL {
        let thermocouple = Thermocouple::new(kind);
        for millivolts in [-20.0, 90.0, f64::NAN, f64::INFINITY] {
            assert!(
                thermocouple.temperature(millivolts).is_err(),
                "{kind:?} {millivolts}"
            );
        }
        assert!(kind.millivolts(Celsius(-300.0)).is_err());
        assert!(kind.millivolts(Celsius(f64::NAN)).is_err());
    }
}

/// IEC 60584-1:2013, table 12.
#[test]
fn tolerances_are_those_of_the_standard() {
    for (kind, class, celsius, expected) in [
        (K, One, 100.0, Some(1.5)),
        (K, One, 500.0, Some(2.0)),
        (K, Two, 160.0, Some(2.5)),
        (K, Two, 400.0, Some(3.0)),
        (J, Two, 200.0, Some(2.5)),
        (N, One, 375.0, Some(1.5)),
        (E, Two, 600.0, Some(4.5)),
        (T, One, 100.0, Some(0.5)),
        (T, One, 200.0, Some(0.8)),
        (T, Two, 100.0, Some(1.0)),
        (T, Two, 200.0, Some(1.5)),
        (T, Three, -100.0, Some(1.5)),
        (K, Three, -200.0, Some(3.0)),
        (R, One, 600.0, Some(1.0)),
        (S, Two, 600.0, Some(1.5)),
        (S, Two, 1000.0, Some(2.5)),
        (B, Two, 1000.0, Some(2.5)),
        (B, Three, 600.0, Some(4.0)),
        (J, Three, 0.0, None),
        (B, One, 600.0, None),
    ] {
        let ours = tolerance(kind, class, Celsius(celsius)).map(|difference| difference.0);
        match (ours, expected) {
            (Some(ours), Some(expected)) => assert_close(ours, expected, 1e-12),
            _ => assert_eq!(ours, expected, "{kind:?} {class:?}"),
        }
    }
}

/// JCGM 100:2008, 4.3.7: a rectangular distribution of half-width a has the standard uncertainty a/√3.
#[test]
fn a_tolerance_is_rectangular() {
    let u = expanded_uncertainty(K, Two).unwrap();
    assert_close(u.at(160.0), 2.886_751_345_9, 1e-9);
    assert_close(u.at(400.0), 2.0 * 3.0 / 3_f64.sqrt(), 1e-9);
    let calibrated = Uncertainty::constant(CelsiusDifference(3.0)).combined(CelsiusDifference(4.0));
    assert_close(calibrated.at(20.0), 5.0, 1e-12);
    assert_close(
        u.combined(CelsiusDifference(2.0)).at(400.0),
        12_f64.sqrt().hypot(2.0),
        1e-9,
    );
}

fn infrared(set: f64, emissivity: f64) -> Infrared {
    Infrared {
        set_emissivity: set,
        emissivity,
        emissivity_uncertainty: 0.02,
        reflected: Celsius(25.0),
        band: USUAL_BAND,
    }
}

#[test]
fn an_infrared_probe_set_right_shows_the_surface() {
    assert_close(
        infrared(0.93, 0.93).corrected(Celsius(160.0)).unwrap().0,
        160.0,
        1e-5,
    );
    // A surface as warm as its surroundings looks black whatever its emissivity.
    assert_close(
        infrared(1.0, 0.5).corrected(Celsius(25.0)).unwrap().0,
        25.0,
        1e-5,
    );
}

#[test]
fn a_dull_surface_is_hotter_than_a_probe_set_to_one_shows() {
    let probe = infrared(1.0, 0.9);
    let surface = probe.corrected(Celsius(150.0)).unwrap();
    assert!(surface.0 > 155.0 && surface.0 < 170.0, "{surface:?}");
    assert_close(probe.shown(surface).unwrap().0, 150.0, 1e-5);
    // The uncertainty is what shifting the emissivity by its own does, to first order.
    let shifted = Infrared {
        emissivity: 0.88,
        ..probe
    }
    .corrected(Celsius(150.0))
    .unwrap();
    let u = probe.uncertainty(Celsius(150.0)).unwrap().0;
    assert_close(u, shifted.0 - surface.0, 0.05 * u);
}

#[test]
fn what_an_infrared_probe_cannot_show_is_refused() {
    let oven = Infrared {
        reflected: Celsius(300.0),
        ..infrared(1.0, 0.3)
    };
    assert!(oven.corrected(Celsius(20.0)).is_err());
    assert!(infrared(0.0, 0.9).corrected(Celsius(20.0)).is_err());
    assert!(infrared(1.0, 1.1).corrected(Celsius(20.0)).is_err());
}

proptest! {
    #[test]
    fn there_and_back_is_the_same(number in 0..8_usize, share in 0.0..1.0) {
        let kind = ThermocoupleType::ALL[number];
        let (from, to) = kind.inverse_range();
        let celsius = from.0 + share * (to.0 - from.0);
        let millivolts = kind.millivolts(Celsius(celsius)).unwrap();
        let back = Thermocouple::new(kind).temperature(millivolts).unwrap().0;
        prop_assert!((back - celsius).abs() < 1e-3, "{kind:?} {celsius} {back}");
    }
}
