//! How many samples a second one core takes through the engine, all three doses included.
//!
//! The trace is a print that hangs at its drying plateau, climbs into the range where its law counts
//! and stays there for most of the time, sampled ten times a second with a little noise.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use inkdwell_config::fabric::{Fabric, Harm, HarmLimit};
use inkdwell_config::ink::{Family, Ink};
use inkdwell_config::law::Law;
use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, KilogramsPerSquareMetre, Seconds, Share,
};
use inkdwell_cure::engine::{Engine, Event};
use inkdwell_cure::plan::{
    ChannelPlan, DEFAULT_MAX_GAP, DEFAULT_WAKE, PrintLaws, ProbeDoubt, Watch,
};
use inkdwell_cure::sensor::Uncertainty;

fn equivalents(points: &[(f64, f64)]) -> Law {
    let points = points
        .iter()
        .map(|&(t, s)| (Celsius(t), Seconds(s)))
        .collect();
    Law::Equivalents { points }
}

fn ink(cure: Law) -> Ink {
    Ink {
        id: "bench".into(),
        name: "bench".into(),
        family: Family::Other,
        threshold: Celsius(160.0),
        cure,
        film: None,
        water: None,
        gel: None,
        pot_life: None,
        needs_exhaust: false,
        source: String::new(),
    }
}

fn fabric(harms: Vec<HarmLimit>) -> Fabric {
    Fabric {
        id: "bench".into(),
        name: "bench".into(),
        mass: KilogramsPerSquareMetre(0.18),
        regain: Share(0.08),
        layers: 2,
        harms,
        source: String::new(),
    }
}

/// Passes of 100 s each: 20 s of climb, 70 s between 150 and 182 °C, 10 s of fall.
fn trace() -> Vec<(f64, f64)> {
    let mut wobble = 1_u32;
    (0..1_000_000_u32)
        .map(|number| {
            wobble = wobble.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(wobble >> 16) / 65_536.0 - 0.5;
            let second = f64::from(number) * 0.1;
            let phase = second % 110.0;
            let celsius = match phase {
                p if p < 20.0 => 30.0 + 6.0 * p,
                p if p < 90.0 => 150.0 + (p - 20.0) * 32.0 / 70.0,
                p if p < 100.0 => 182.0 - (p - 90.0) * 15.2,
                _ => 30.0,
            };
            (second, celsius + 0.4 * noise)
        })
        .collect()
}

fn judge(ink: &Ink, fabric: &Fabric, trace: &[(f64, f64)]) -> usize {
    let mut engine = Engine::new();
    let channel = engine.add_channel(ChannelPlan {
        laws: PrintLaws::new(ink, fabric),
        watch: Watch::Ride,
        doubt: ProbeDoubt {
            uncertainty: Uncertainty::constant(CelsiusDifference(1.5)),
            assumed: None,
        },
        max_gap: DEFAULT_MAX_GAP,
        wake: DEFAULT_WAKE,
    });
    let mut events = 0;
    let mut count = |_: Event| events += 1;
    engine.feed_all(channel, trace, &mut count);
    engine.finish(&mut count);
    events
}

fn engine(criterion: &mut Criterion) {
    let trace = trace();
    let mut group = criterion.benchmark_group("engine");
    group.throughput(Throughput::Elements(trace.len() as u64));
    let hold = ink(Law::Hold {
        at: Celsius(160.0),
        duration: Seconds(5.0),
    });
    let points = [(150.0, 180.0), (160.0, 90.0), (170.0, 50.0)];
    let arrhenius = ink(equivalents(&points));
    let scorch = HarmLimit {
        harm: Harm::Scorch,
        law: equivalents(&[(190.0, 120.0), (204.0, 30.0), (220.0, 8.0)]),
    };
    let (bare, limited) = (fabric(vec![]), fabric(vec![scorch]));
    group.bench_function("hold", |b| b.iter(|| judge(&hold, &bare, &trace)));
    group.bench_function("hold, and scorch", |b| {
        b.iter(|| judge(&hold, &limited, &trace))
    });
    group.bench_function("equivalents", |b| {
        b.iter(|| judge(&arrhenius, &bare, &trace))
    });
    group.bench_function("equivalents, and scorch", |b| {
        b.iter(|| judge(&arrhenius, &limited, &trace));
    });
    group.finish();
}

criterion_group!(benches, engine);
criterion_main!(benches);
