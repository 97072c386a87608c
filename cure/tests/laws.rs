//! Doses against published values, closed-form integrals and a general-purpose quadrature library.

mod common;

use common::{assert_close, equivalents, hold};
use gauss_quad::GaussLegendre;
use inkdwell_config::law::Law;
use inkdwell_config::quantity::{Celsius, Seconds};
use inkdwell_cure::law::{Counts, Rate};

fn along(rate: &Rate, from: f64, to: f64, seconds: f64) -> f64 {
    rate.along(Celsius(from), Celsius(to), Seconds(seconds))
}

/// Lethal rate with z = 10 K against 121.11 °C: 0.077 at 110 °C (C. R. Stumbo, Thermobacteriology in
/// Food Processing, 2nd ed. 1973, as quoted in thermal-processing texts). A law through two points of
/// that line close to 110 °C follows it; through far points it is the Arrhenius chord, and lies above.
#[test]
fn lethal_rate_at_110_celsius() {
    let minutes = |celsius: f64| 10_f64.powf((121.11 - celsius) / 10.0);
    let law = |cool: f64, hot: f64| {
        let points = [(cool, minutes(cool)), (hot, minutes(hot))];
        Rate::new(&equivalents(&points), Counts::Cure)
    };
    assert_close(law(109.0, 111.0).at(Celsius(110.0)), 0.077, 0.0006);
    assert_close(law(100.0, 121.11).at(Celsius(110.0)), 0.0828, 0.000_05);
}

/// Equivalent age, ASTM C1074, Arrhenius form: with Q = 5000 K (suggested in the standard's appendix
/// for Type I cement without admixtures; from memory) the rate at 40 °C against 20 °C is
/// exp(-Q (1/313 - 1/293)) = 2.97 with the standard's whole kelvins.
#[test]
fn equivalent_age_of_concrete() {
    let time = |celsius: f64| (5000.0 * (1.0 / (celsius + 273.0) - 1.0 / 293.0)).exp();
    let law = equivalents(&[(10.0, time(10.0)), (50.0, time(50.0))]);
    let rate = Rate::new(&law, Counts::Cure);
    assert_close(
        rate.at(Celsius(40.0)) / rate.at(Celsius(20.0)),
        2.975,
        0.005,
    );
}

#[test]
fn nothing_counts_below_the_coolest_point_and_no_more_than_the_hottest_for_cure() {
    let law = equivalents(&[(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)]);
    let (cure, harm) = (Rate::new(&law, Counts::Cure), Rate::new(&law, Counts::Harm));
    for (celsius, seconds) in [(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)] {
        assert_close(cure.at(Celsius(celsius)) * seconds, 1.0, 1e-12);
        assert_close(harm.at(Celsius(celsius)) * seconds, 1.0, 1e-12);
    }
    assert_close(cure.at(Celsius(149.999_999)), 0.0, 0.0);
    assert_close(cure.at(Celsius(250.0)), 1.0 / 50.0, 1e-15);
    assert!(harm.at(Celsius(180.0)) > 1.0 / 50.0 * 1.6);
}

/// A soak: the law's own point, held for its own time, is a dose of exactly 1.
#[test]
fn a_soak_at_a_point_for_its_time_is_one() {
    let rate = Rate::new(&equivalents(&[(150.0, 180.0), (160.0, 90.0)]), Counts::Cure);
    assert_close(along(&rate, 150.0, 150.0, 180.0), 1.0, 1e-12);
    assert_close(along(&rate, 160.0, 160.0, 90.0), 1.0, 1e-12);
    let hold = Rate::new(&hold(160.0, 5.0), Counts::Cure);
    assert_close(along(&hold, 160.0, 160.0, 5.0), 1.0, 1e-15);
}

/// Closed form of ∫ exp(a - b/T) dT = [T exp(-b/T) - b E₁(b/T)] exp(a), with the exponential integral
/// E₁ from its continued fraction (Abramowitz and Stegun 5.1.22), evaluated here from the bottom up.
#[test]
fn a_ramp_on_one_stretch_has_its_closed_form() {
    let e1 = |x: f64| {
        let tail = (1..=200).rev().fold(0.0, |tail, k| {
            let k = f64::from(k);
            k / (1.0 + k / (x + tail))
        });
        (-x).exp() / (x + tail)
    };
    let (cool, hot, long, short) = (150.0, 170.0, 180.0_f64, 50.0_f64);
    let (t0, t1) = (cool + 273.15, hot + 273.15);
    let b = (long / short).ln() / (1.0 / t0 - 1.0 / t1);
    let primitive = |t: f64| t * (-b / t).exp() - b * e1(b / t);
    let scale = (b / t0).exp() / long;
    let expected = 30.0 * scale * (primitive(t1) - primitive(t0)) / (t1 - t0);
    let rate = Rate::new(&equivalents(&[(cool, long), (hot, short)]), Counts::Cure);
    assert_close(along(&rate, cool, hot, 30.0) / expected, 1.0, 1e-9);
    assert_close(along(&rate, hot, cool, 30.0) / expected, 1.0, 1e-9);
}

/// Ramps across a threshold: the share of the time above it is that of the temperatures above it.
#[test]
fn a_ramp_through_the_hold_temperature_counts_its_part() {
    let rate = Rate::new(&hold(160.0, 5.0), Counts::Cure);
    assert_close(along(&rate, 150.0, 175.0, 10.0), 6.0 / 5.0, 1e-12);
    assert_close(along(&rate, 175.0, 150.0, 10.0), 6.0 / 5.0, 1e-12);
    assert_close(along(&rate, 150.0, 159.999, 10.0), 0.0, 0.0);
}

/// An exponential approach to the chamber, T = 190 - 160 exp(-t/30): it crosses 160 °C at
/// t = 30 ln(160/30). Sampled finely, the time above is what is left of 100 s.
#[test]
fn an_exponential_approach_crosses_where_its_logarithm_says() {
    let rate = Rate::new(&hold(160.0, 5.0), Counts::Cure);
    let celsius = |t: f64| 190.0 - 160.0 * (-t / 30.0).exp();
    let dose: f64 = (0..100_000)
        .map(|step| (f64::from(step) * 1e-3, f64::from(step + 1) * 1e-3))
        .map(|(a, b)| along(&rate, celsius(a), celsius(b), b - a))
        .sum();
    assert_close(dose * 5.0, 100.0 - 30.0 * (160.0_f64 / 30.0).ln(), 1e-6);
}

/// Irregular traces against Gauss-Legendre quadrature of the crate `gauss-quad`, 60 nodes on each
/// piece between the law's points, of the law as the design writes it: ln t linear in 1/T.
#[test]
fn irregular_lines_agree_with_a_quadrature_library() {
    let points = [
        (150.0, 180.0),
        (158.0, 101.0),
        (160.0, 90.0),
        (170.0, 50.0),
        (190.0, 11.0),
    ];
    let quadrature = GaussLegendre::new(60.try_into().unwrap());
    let mut random = 12_345_u64;
    let mut draw = |from: f64, to: f64| {
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        from + (to - from) * (random >> 11) as f64 / (1_u64 << 53) as f64
    };
    for counts in [Counts::Cure, Counts::Harm] {
        let rate = Rate::new(&equivalents(&points), counts);
        for _ in 0..300 {
            let (from, to, seconds) = (draw(120.0, 230.0), draw(120.0, 230.0), draw(0.01, 60.0));
            let (low, high) = (from.min(to), from.max(to));
            let mut cuts = vec![low, high];
            cuts.extend(points.iter().map(|p| p.0).filter(|p| *p > low && *p < high));
            cuts.sort_by(f64::total_cmp);
            let integral: f64 = cuts
                .windows(2)
                .map(|cut| {
                    quadrature.integrate(cut[0], cut[1], |t| written_out(&points, counts, t))
                })
                .sum();
            let expected = seconds * integral / (to - from).abs();
            assert_close(
                along(&rate, from, to, seconds),
                expected,
                1e-9 + 1e-7 * expected,
            );
        }
    }
}

/// 1/t(T), point by point as the law is declared, without anything that the crate does to be fast.
fn written_out(points: &[(f64, f64)], counts: Counts, celsius: f64) -> f64 {
    let last = points[points.len() - 1];
    if celsius < points[0].0 {
        return 0.0;
    }
    if celsius > last.0 && counts == Counts::Cure {
        return 1.0 / last.1;
    }
    let above = points
        .iter()
        .position(|point| celsius <= point.0)
        .unwrap_or(points.len() - 1);
    let (cool, hot) = (points[above.max(1) - 1], points[above.max(1)]);
    let inverse = |celsius: f64| 1.0 / (celsius + 273.15);
    let share = (inverse(celsius) - inverse(cool.0)) / (inverse(hot.0) - inverse(cool.0));
    1.0 / (cool.1.ln() + share * (hot.1.ln() - cool.1.ln())).exp()
}

/// The same exponential approach under a law of equivalents: ∫ rate(T(t)) dt by quadrature in t of the
/// law as written out, from where it crosses 150 °C on.
#[test]
fn an_exponential_approach_under_equivalents_agrees_with_quadrature() {
    let points = [(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)];
    let rate = Rate::new(&equivalents(&points), Counts::Harm);
    let celsius = |t: f64| 190.0 - 160.0 * (-t / 30.0).exp();
    let time = |celsius: f64| 30.0 * (160.0 / (190.0 - celsius)).ln();
    let quadrature = GaussLegendre::new(80.try_into().unwrap());
    let cuts = [time(150.0), time(160.0), time(170.0), 100.0];
    let expected: f64 = cuts
        .windows(2)
        .map(|cut| {
            let law = |t: f64| written_out(&points, Counts::Harm, celsius(t));
            quadrature.integrate(cut[0], cut[1], law)
        })
        .sum();
    let dose: f64 = (0..20_000)
        .map(|step| (f64::from(step) * 5e-3, f64::from(step + 1) * 5e-3))
        .map(|(a, b)| along(&rate, celsius(a), celsius(b), b - a))
        .sum();
    assert_close(dose, expected, 2e-6 * expected);
}

/// A whole irregular trace through the engine, at T - U, T and T + U, against the same library.
#[test]
fn an_irregular_trace_through_the_engine_agrees_with_quadrature() {
    let points = [(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)];
    let (u, quadrature) = (2.3, GaussLegendre::new(40.try_into().unwrap()));
    let mut random = 99_u64;
    let mut draw = || {
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (random >> 11) as f64 / (1_u64 << 53) as f64
    };
    let (mut trace, mut time) = (vec![(0.0, 30.0)], 0.0);
    while time < 150.0 {
        time += 0.05 + 2.5 * draw() * draw();
        let base = 30.0 + 140.0 * (1.0 - (-time / 25.0).exp()) - 4.0 * (time - 120.0).max(0.0);
        trace.push((time, base + 8.0 * (draw() - 0.5)));
    }
    trace.push((time + 4.0, 20.0));
    let dose = |shift: f64| -> f64 {
        let mut sum = 0.0;
        for pair in trace.windows(2) {
            let ((t0, c0), (t1, c1)) = (pair[0], pair[1]);
            let (low, high) = (c0.min(c1) + shift, c0.max(c1) + shift);
            let mut cuts = vec![low, high];
            cuts.extend(points.iter().map(|p| p.0).filter(|p| *p > low && *p < high));
            cuts.sort_by(f64::total_cmp);
            let law = |celsius: f64| written_out(&points, Counts::Cure, celsius);
            let mean: f64 = cuts
                .windows(2)
                .map(|cut| quadrature.integrate(cut[0], cut[1], law))
                .sum();
            sum += (t1 - t0) * mean / (high - low);
        }
        sum
    };
    let plan = common::plan_for(
        &common::ink(160.0, equivalents(&points)),
        &common::fabric(&[]),
        u,
    );
    let cure = common::judge_one(plan, &trace).cure.unwrap();
    for (ours, shift) in [(cure.low, -u), (cure.best, 0.0), (cure.high, u)] {
        let expected = dose(shift);
        assert_close(ours, expected, 1e-6 * expected);
    }
}

#[test]
fn a_law_of_absurd_steepness_stays_finite() {
    let law = Law::Equivalents {
        points: vec![
            (Celsius(160.0), Seconds(1e9)),
            (Celsius(160.001), Seconds(1e-3)),
        ],
    };
    let rate = Rate::new(&law, Counts::Harm);
    assert!(along(&rate, 20.0, 600.0, 100.0).is_finite());
    assert!(along(&rate, 20.0, 600.0, 100.0) > 1e6);
}
