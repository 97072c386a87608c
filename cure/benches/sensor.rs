//! How fast signals become temperatures: thermocouple voltages, infrared readings, and the uncertainty
//! of every sample.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_cure::sensor::infrared::USUAL_BAND;
use inkdwell_cure::sensor::tolerance::expanded_uncertainty;
use inkdwell_cure::sensor::{Infrared, Thermocouple, ThermocoupleType, ToleranceClass};

/// Samples of one bench.
const SAMPLES: u32 = 10_000;

/// A dryer's temperatures in °C in an order that no branch predictor learns: the golden ratio's
/// multiples, wrapped, spread evenly over 20 to 220.
fn temperatures() -> Vec<f64> {
    (0..SAMPLES)
        .map(|sample| 20.0 + 200.0 * (f64::from(sample) * 0.618_033_988_75).fract())
        .collect()
}

fn inverse(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("millivolts to temperature");
    group.throughput(Throughput::Elements(u64::from(SAMPLES)));
    let kinds = ThermocoupleType::ALL.into_iter();
    for kind in kinds.filter(|kind| *kind != ThermocoupleType::B) {
        let thermocouple = Thermocouple::new(kind);
        let millivolts: Vec<f64> = temperatures()
            .into_iter()
            .filter_map(|celsius| kind.millivolts(Celsius(celsius)).ok())
            .collect();
        group.bench_function(format!("type {kind:?}"), |bencher| {
            bencher.iter(|| {
                let converted = millivolts.iter().map(|mv| thermocouple.temperature(*mv));
                converted.flatten().map(|celsius| celsius.0).sum::<f64>()
            });
        });
    }
    let thermocouple = Thermocouple::new(ThermocoupleType::K);
    let millivolts: Vec<f64> = temperatures()
        .into_iter()
        .filter_map(|celsius| ThermocoupleType::K.millivolts(Celsius(celsius)).ok())
        .collect();
    group.bench_function("type K with its junction", |bencher| {
        bencher.iter(|| {
            let converted = millivolts
                .iter()
                .map(|mv| thermocouple.compensated(*mv, Celsius(black_box(25.0))));
            converted.flatten().map(|celsius| celsius.0).sum::<f64>()
        });
    });
    group.finish();
}

fn infrared(criterion: &mut Criterion) {
    let probe = Infrared {
        set_emissivity: 0.95,
        emissivity: 0.90,
        emissivity_uncertainty: 0.02,
        reflected: Celsius(60.0),
        band: USUAL_BAND,
    };
    criterion.bench_function("infrared reading to temperature", |bencher| {
        bencher.iter(|| probe.corrected(Celsius(black_box(160.0))));
    });
}

fn uncertainty(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("uncertainty");
    group.throughput(Throughput::Elements(u64::from(SAMPLES)));
    let temperatures = temperatures();
    // Class 1 of type T grows above 125 °C: half of the samples lie on either side.
    let grows = expanded_uncertainty(ThermocoupleType::T, ToleranceClass::One);
    if let Some(grows) = grows.map(|u| u.combined(CelsiusDifference(0.5))) {
        let mut shifted = vec![0.0; temperatures.len()];
        group.bench_function("of every sample", |bencher| {
            bencher.iter(|| {
                for (high, celsius) in shifted.iter_mut().zip(&temperatures) {
                    *high = celsius + grows.at(*celsius);
                }
                black_box(&shifted);
            });
        });
    }
    group.finish();
}

criterion_group!(benches, inverse, infrared, uncertainty);
criterion_main!(benches);
